"""Explain: the uncertainty budget of one frequency, from what it was made of."""

from dataclasses import dataclass
from math import hypot, sqrt

from calib.budget import Budget, Term, budget_of
from calib.correction import Correction, Part


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """A reading and its budget, in hertz.

    Attributes
    ----------
    name : str
    frequency_hz : float
    budget : Budget
        Its terms are in the unit that their source states; contributions in Hz.
    """

    name: str
    frequency_hz: float
    budget: Budget


def explain(
    name: str,
    *,
    indicated_hz: float,
    u_indicated_hz: float,
    u_center_hz: float,
    correction: Correction,
    steady: bool,
) -> Explained:
    """The budget of one reading, the same terms from which its u was combined.

    Parameters
    ----------
    name : str
    indicated_hz, u_indicated_hz : float
        As in `SeenLine`; the doubt about the tuner's centre is inside, Hz.
    u_center_hz : float
        That doubt, as in `SourceInfo`, Hz.
    correction : Correction
    steady : bool
        Whether the line was steady: then the noise is all there is.
    """
    own_hz = sqrt(max(u_indicated_hz**2 - u_center_hz**2, 0.0))
    cause = "noise" if steady else "noise, wander and modulation"
    converter = correction.converter
    heard_hz = indicated_hz if converter is None else converter.behind(indicated_hz)
    parts = correction.parts or (
        Part(cause=correction.origin, u_ppm=correction.u_ppm, distribution="normal"),
    )
    terms = [
        Term(
            source=f"line: {cause}, Hz",
            u=own_hz,
            distribution="normal",
            sensitivity=correction.factor,
        ),
        *(
            Term(
                source=f"clock: {part.cause}, ppm",
                u=part.u_ppm,
                distribution=part.distribution,
                sensitivity=heard_hz * 1e-6,
            )
            for part in parts
        ),
    ]
    if u_center_hz:
        terms.append(
            Term(
                source="tuner: half a step, Hz",
                u=u_center_hz,
                distribution="rectangular",
                sensitivity=correction.factor,
            )
        )
    if converter is not None and converter.u_hz:
        terms.append(Term(source="converter's LO, Hz", u=converter.u_hz, distribution="normal"))
    # What is shown is rounded to the second digit of U: a tenth of it at the most, end to end.
    shown_hz = 0.1 * 2.0 * hypot(*(term.contribution for term in terms))
    terms.append(
        Term(source="digits shown, Hz", u=shown_hz / sqrt(12.0), distribution="rectangular")
    )
    reading = correction.apply(indicated_hz, u_indicated_hz)
    return Explained(name=name, frequency_hz=reading.value_hz, budget=budget_of(terms))
