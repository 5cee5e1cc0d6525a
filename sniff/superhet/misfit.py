"""Lines seen against places where a hypothesis puts them: residuals, their covariance, a score."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

from sniff.model import Doubles
from sniff.superhet.plan import Role
from sniff.superhet.seen import Seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Carrier:
    """The carrier of a hypothesis: a line seen, or a nominal value, which is exact.

    Attributes
    ----------
    hz : float
        Its frequency, Hz.
    seen : Seen or None
        The line it was taken from.
    u_tolerance_hz : float
        Standard uncertainty of a seen carrier against its nominal, Hz.
    """

    hz: float
    seen: Seen | None = None
    u_tolerance_hz: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a hypothesis puts one line, and what moves it.

    Attributes
    ----------
    role : Role
        What the line would be.
    multiple : int
        Its number among the multiples of its oscillator.
    expected_hz : float
        Where it would be, Hz.
    per_carrier, per_if : float
        Its derivatives by the carrier and by the first IF.
    u_crystal_hz, u_second_crystal_hz : float
        How far the standard uncertainty of the first and of the second crystal moves it, Hz.
    u_other_hz : float
        Standard uncertainty of an oscillator that nothing else hangs on, Hz.
    """

    role: Role
    multiple: int
    expected_hz: float
    per_carrier: float
    per_if: float
    u_crystal_hz: float = 0.0
    u_second_crystal_hz: float = 0.0
    u_other_hz: float = 0.0


Pair = tuple[Seen, Place]


def misfit_hz(pair: Pair) -> float:
    """Seen minus expected, Hz."""
    seen, place = pair
    return seen.frequency_hz - place.expected_hz


def covariance(carrier: Carrier, pairs: Sequence[Pair], *, tolerances: bool = True) -> Doubles:
    """Covariance matrix of the misfits, Hz².

    Each shared cause moves all misfits together (JCGM 102:2011, 6.2.1.3: ``C U Cᵀ``): the reading
    of the carrier, its tolerance, the clock, and the tolerance of each crystal. The reading of a
    line moves its own misfit alone.

    Parameters
    ----------
    carrier : Carrier
        What the places were reckoned from.
    pairs : sequence of (Seen, Place)
        The n lines.
    tolerances : bool
        False: the uncertainty of the measurement alone.

    Returns
    -------
    ndarray of float64, shape (n, n)
    """
    shared = np.array([_shared(carrier, pair, tolerances=tolerances) for pair in pairs])
    own = np.array([_own(pair, tolerances=tolerances) for pair in pairs])
    return np.asarray(np.diag(own**2) + shared @ shared.T, dtype=np.float64)


def u_misfit_hz(carrier: Carrier, pair: Pair, *, tolerances: bool = True) -> float:
    """Standard uncertainty of one misfit, Hz: the root of its place in `covariance`."""
    shared = _shared(carrier, pair, tolerances=tolerances)
    return hypot(_own(pair, tolerances=tolerances), *shared)


def _own(pair: Pair, *, tolerances: bool) -> float:
    line, place = pair
    return hypot(line.u_hz, place.u_other_hz) if tolerances else line.u_hz


def _shared(carrier: Carrier, pair: Pair, *, tolerances: bool) -> tuple[float, ...]:
    line, place = pair
    start = carrier.seen
    clock_hz = line.frequency_hz * line.u_clock_ppm * 1e-6
    reading_hz = 0.0
    if start is not None:
        clock_hz -= place.per_carrier * start.frequency_hz * start.u_clock_ppm * 1e-6
        reading_hz = place.per_carrier * start.u_hz
    if not tolerances:
        return reading_hz, clock_hz
    return (
        reading_hz,
        clock_hz,
        place.per_carrier * carrier.u_tolerance_hz,
        place.u_crystal_hz,
        place.u_second_crystal_hz,
    )


def score(carrier: Carrier, pairs: Sequence[Pair], *, free_if: bool = False) -> float | None:
    """How well lines and places agree: 1 perfectly, towards 0 not at all.

    The chance that a true hypothesis would show a misfit at least this large: the upper tail of
    the chi-square distribution at ``r V⁻¹ r`` with one degree of freedom for each line, r the
    misfits and V their `covariance`. Tolerances enter V as limits a of a rectangular distribution,
    ``u = a / sqrt(3)`` (JCGM 100:2008, 4.3.7).

    Parameters
    ----------
    carrier : Carrier
        What the places were reckoned from.
    pairs : sequence of (Seen, Place)
        The lines explained.
    free_if : bool
        True when the first IF itself was taken from these lines: it is adjusted to them by
        generalised least squares, which costs one degree of freedom.

    Returns
    -------
    float or None
        None when nothing is left to be tested.
    """
    # Here, not above: a forward plan needs no special function and starts without it.
    from scipy.special import gammaincc

    freedom = len(pairs) - (1 if free_if else 0)
    if freedom <= 0:
        return None
    misfit = np.array([misfit_hz(pair) for pair in pairs])
    matrix = covariance(carrier, pairs)
    weighted = np.linalg.solve(matrix, misfit)
    chi_square = float(misfit @ weighted)
    if free_if:
        per_if = np.array([place.per_if for _, place in pairs])
        chi_square -= float(per_if @ weighted) ** 2 / float(
            per_if @ np.linalg.solve(matrix, per_if)
        )
    return float(gammaincc(freedom / 2, max(chi_square, 0.0) / 2))
