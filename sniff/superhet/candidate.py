"""Candidate: one hypothesis about a set, with its misfit and its score."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from sniff.superhet.hypotheses import CRYSTAL_ROLES, Explanation
from sniff.superhet.misfit import Carrier, Pair, misfit_hz, score, u_misfit_hz
from sniff.superhet.plan import Plan, Role, Side
from sniff.units import Tolerance

FITS_FROM = 0.0027
"""Least score of a hypothesis that fits: both tails of a normal distribution beyond 3 sigma."""


class Origin(str, Enum):
    """What a candidate rests on."""

    COMMON = "common"
    """An IF in common use."""
    MEASURED = "measured"
    """No common IF fits: this one is the distance of carrier and LO."""
    TRANSMITTER = "transmitter"
    """No IF: crystal and carrier alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExplainedLine:
    """A line seen, and what a candidate says it is."""

    seen_hz: float
    role: Role
    multiple: int
    expected_hz: float
    misfit_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One hypothesis about a set.

    Attributes
    ----------
    if_hz, side : float and Side, or None
        First IF and its injection; None for a transmitter.
    injection_error_hz : float or None
        LO as seen, or as it follows from the crystal seen, minus ``carrier + s IF``, Hz. None when
        neither was seen, and for a measured IF.
    u_hz : float or None
        Standard uncertainty (k = 1) of that and of a measured IF, by the measurement alone, Hz.
    score : float or None
        See `sniff.superhet.misfit.score`, tolerances included; None when nothing was left to test.
    fits : bool
        False when `score` is below `FITS_FROM`.
    origin : Origin
        What it rests on.
    carrier_hz : float
        Carrier it was reckoned from, Hz.
    multiplier : int or None
        None when no line tells.
    second_if_hz, second_side : float and Side, or None
        Second conversion; None when no line tells.
    lines : tuple of ExplainedLine
        What each line would be.
    unexplained_hz : tuple of float
        Lines left unexplained, Hz.
    """

    if_hz: float | None
    side: Side | None
    injection_error_hz: float | None
    u_hz: float | None
    score: float | None
    fits: bool
    origin: Origin
    carrier_hz: float
    multiplier: int | None
    second_if_hz: float | None
    second_side: Side | None
    lines: tuple[ExplainedLine, ...]
    unexplained_hz: tuple[float, ...]


def plan_of(candidate: Candidate, tolerance: Tolerance | None = None) -> Plan:
    """The plan that a candidate stands for."""
    return Plan(
        carrier_hz=candidate.carrier_hz,
        if_hz=candidate.if_hz,
        side=candidate.side,
        multiplier=candidate.multiplier,
        second_if_hz=candidate.second_if_hz,
        second_side=candidate.second_side,
        tolerance=tolerance,
    )


def candidate_from(explanation: Explanation, *, measured: bool = False) -> Candidate:
    """Judge an explanation; `measured` tells that its IF was taken from the lines themselves."""
    plan, carrier, pairs = explanation.plan, explanation.carrier, explanation.pairs
    found = score(carrier, pairs, free_if=measured)
    error_hz, u_hz = _injection_error(carrier, plan, pairs)
    origin = Origin.MEASURED if measured else Origin.COMMON
    return Candidate(
        if_hz=plan.if_hz,
        side=plan.side,
        injection_error_hz=None if measured else error_hz,
        u_hz=u_hz,
        score=found,
        fits=found is None or found >= FITS_FROM,
        origin=Origin.TRANSMITTER if plan.if_hz is None else origin,
        carrier_hz=plan.carrier_hz,
        multiplier=plan.multiplier,
        second_if_hz=plan.second_if_hz,
        second_side=plan.second_side,
        lines=tuple(
            ExplainedLine(
                seen_hz=line.frequency_hz,
                role=place.role,
                multiple=place.multiple,
                expected_hz=place.expected_hz,
                misfit_hz=misfit_hz((line, place)),
            )
            for line, place in pairs
        ),
        unexplained_hz=tuple(line.frequency_hz for line in explanation.unexplained),
    )


def _injection_error(
    carrier: Carrier, plan: Plan, pairs: Sequence[Pair]
) -> tuple[float | None, float | None]:
    """Misfit of the LO and its standard uncertainty, Hz: from its own line, else the crystal's."""
    if plan.if_hz is None:
        return None, None
    for roles in (frozenset({Role.LO}), CRYSTAL_ROLES):
        for line, place in pairs:
            if place.role in roles:
                scale = 1.0 if place.role is Role.LO else (plan.multiplier or 1) / place.multiple
                pair = (line, place)
                u_hz = u_misfit_hz(carrier, pair, tolerances=False)
                return scale * misfit_hz(pair), scale * u_hz
    return None, None
