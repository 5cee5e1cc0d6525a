"""Superhet arithmetic, backward: from lines seen at a working set to IF, side and multiplier.

Every hypothesis that explains a line is kept and ranked, for one leakage line never tells the IF
alone: 162.55 MHz with an IF of 21.4 MHz has its LO where an IF of 10.7 MHz has its image.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt

from sniff.errors import UsageError
from sniff.model import Caution
from sniff.superhet.candidate import Candidate, Origin, candidate_from
from sniff.superhet.crystal import MULTIPLIERS
from sniff.superhet.hypotheses import Explanation, explanations, first_conversions, lo_place
from sniff.superhet.misfit import Carrier
from sniff.superhet.plan import ASSUMED_TOLERANCE, Plan, Role, Side, can_inject
from sniff.superhet.seen import Seen
from sniff.units import Tolerance, format_frequency

COMMON_IFS_HZ = (
    10.7e6,
    455e3,
    21.4e6,
    1.6e6,
    *(khz * 1e3 for khz in (262, 450, 465, 470)),
    *(mhz * 1e6 for mhz in (4.5, 5.5, 6.0, 6.5, 9.0, 10.695, 38.9, 45.0, 45.75)),
    *(mhz * 1e6 for mhz in (58.1125, 70.0, 140.0)),
)
"""IFs in common use. The first four were found in public text; the others are from memory of
receiver handbooks, without a source (4.5, 5.5, 6.0 and 6.5 MHz: TV intercarrier sound)."""

LEAST_IF_HZ = 20e3
"""Two lines closer than this are no carrier with its LO (common practice, no source)."""

NEAREST_WITHIN = 0.02
"""Part of an IF by which an LO may be off and the IF still be offered as the one meant. An overtone
crystal off by 0.1 % puts an LO of 200 MHz off by 2 % of 10.7 MHz."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inference:
    """Candidates, the best first, and what to know before trusting them."""

    candidates: tuple[Candidate, ...]
    cautions: tuple[Caution, ...]


def infer(
    seen: Sequence[Seen],
    *,
    carriers_hz: Sequence[float] = (),
    ifs_hz: Sequence[float] = COMMON_IFS_HZ,
    multipliers: Sequence[int] = MULTIPLIERS,
    tolerance: Tolerance | None = None,
) -> Inference:
    """Rank what a set may be by the lines seen at it.

    The order: what fits before what does not; the fewest lines unexplained; the fewest lines that
    the set itself would not radiate; the best score; IFs as in `ifs_hz`, multipliers as in
    `multipliers`. When no IF fits, the measured distance of carrier and LO is offered, and
    the nearest IF with its misfit.

    Parameters
    ----------
    seen : sequence of Seen
        Lines of one working set. One may be its carrier; lines without a role are tried as each.
    carriers_hz : sequence of float
        Nominal carriers it may be set to: one, or a channel list. Without them the carrier must be
        among the lines.
    ifs_hz : sequence of float
        IFs to try, Hz; as second IFs the lower ones of `COMMON_IFS_HZ`.
    multipliers : sequence of int
        Multipliers to try.
    tolerance : Tolerance or None
        As in `Plan`, and of a carrier seen against its nominal.

    Raises
    ------
    UsageError
        When there is no carrier to start from, or no line besides it.
    """
    starts = list(_starts(seen, carriers_hz, tolerance or ASSUMED_TOLERANCE))
    if not starts:
        raise UsageError(
            "one line never tells the IF alone; give the carrier too, or another line of the set"
        )
    found = [
        candidate
        for carrier, lines in starts
        for plan in first_conversions(carrier.hz, ifs_hz, tolerance)
        for candidate in _candidates(carrier, lines, plan, multipliers)
    ]
    least_unexplained = min((len(each.unexplained_hz) for each in found), default=len(seen))
    measured = [
        candidate
        for carrier, lines in starts
        for plan in _measured_conversions(carrier, lines, tolerance)
        for candidate in _candidates(carrier, lines, plan, multipliers, measured=True)
        if len(candidate.unexplained_hz) < least_unexplained
    ]
    nearest = [
        candidate
        for carrier, lines in ([] if found else starts)
        for line in lines
        for candidate in _nearest(carrier, lines, line, ifs_hz, tolerance)
    ]
    ranked = tuple(sorted(found + measured + nearest, key=_rank))
    return Inference(candidates=ranked, cautions=_cautions(ranked))


def _starts(
    seen: Sequence[Seen], carriers_hz: Sequence[float], tolerance: Tolerance
) -> Iterator[tuple[Carrier, list[Seen]]]:
    """Each carrier that may be, with the lines besides it."""
    if sum(line.role is Role.CARRIER for line in seen) > 1:
        raise UsageError(
            "two lines are said to be the carrier; give the lines of one set at a time"
        )
    if carriers_hz:
        if any(line.role is not Role.CARRIER for line in seen):
            yield from ((Carrier(hz=carrier_hz), list(seen)) for carrier_hz in carriers_hz)
        return
    named = [line for line in seen if line.role is Role.CARRIER]
    for start in named or [line for line in seen if line.role is None]:
        u_hz = tolerance.at(start.frequency_hz) / sqrt(3.0)
        others = [line for line in seen if line is not start]
        if others:
            yield Carrier(hz=start.frequency_hz, seen=start, u_tolerance_hz=u_hz), others


def _candidates(
    carrier: Carrier,
    lines: Sequence[Seen],
    plan: Plan,
    multipliers: Sequence[int],
    *,
    measured: bool = False,
) -> Iterator[Candidate]:
    for explanation in explanations(
        carrier, lines, plan, multipliers=multipliers, second_ifs_hz=COMMON_IFS_HZ
    ):
        candidate = candidate_from(explanation, measured=measured)
        if candidate.fits:
            yield candidate


def _side_and_distance(carrier: Carrier, line: Seen) -> tuple[Side, float] | None:
    """What a line would be as the LO; None when it cannot be one."""
    distance_hz = line.frequency_hz - carrier.hz
    if line.role not in (None, Role.LO) or abs(distance_hz) < LEAST_IF_HZ:
        return None
    return (Side.HIGH if distance_hz > 0 else Side.LOW), abs(distance_hz)


def _measured_conversions(
    carrier: Carrier, lines: Sequence[Seen], tolerance: Tolerance | None
) -> Iterator[Plan]:
    """Take each line as the LO, and its distance from the carrier as the IF."""
    for line in lines:
        found = _side_and_distance(carrier, line)
        if found is not None:
            side, if_hz = found
            yield Plan(carrier_hz=carrier.hz, if_hz=if_hz, side=side, tolerance=tolerance)


def _nearest(
    carrier: Carrier,
    lines: Sequence[Seen],
    lo: Seen,
    ifs_hz: Sequence[float],
    tolerance: Tolerance | None,
) -> Iterator[Candidate]:
    """Take one line as an LO that is off, and the nearest IF that it may have been meant for."""
    found = _side_and_distance(carrier, lo)
    if found is None:
        return
    side, distance_hz = found
    if_hz = min(ifs_hz, key=lambda each_hz: abs(each_hz - distance_hz))
    meant = can_inject(carrier.hz, if_hz, side)
    if meant and abs(if_hz - distance_hz) <= NEAREST_WITHIN * if_hz:
        plan = Plan(carrier_hz=carrier.hz, if_hz=if_hz, side=side, tolerance=tolerance)
        yield candidate_from(
            Explanation(
                plan=plan,
                carrier=carrier,
                pairs=((lo, lo_place(plan)),),
                unexplained=tuple(line for line in lines if line is not lo),
            )
        )


def _rank(candidate: Candidate) -> tuple[float, ...]:
    foreign = sum(line.role is Role.IMAGE for line in candidate.lines)
    # Rounded, so that hypotheses that agree but for the last digits are told apart by the rest.
    return (
        not candidate.fits,
        len(candidate.unexplained_hz),
        foreign,
        -round(0.0 if candidate.score is None else candidate.score, 3),
    )


def _cautions(ranked: Sequence[Candidate]) -> tuple[Caution, ...]:
    if not ranked:
        text = (
            "no hypothesis explains these lines; add the line of the LO, or check the frequencies"
        )
        return (Caution(code="nothing-fits", text=text),)
    best = ranked[0]
    cautions = []
    if best.origin is Origin.MEASURED:
        text = (
            "none of the IFs tried fits: the one given is the distance of carrier and LO, "
            "and proves nothing about the LO being right"
        )
        cautions.append(Caution(code="no-common-if", text=text))
    fitting = sum(candidate.fits for candidate in ranked)
    if fitting > 1:
        text = (
            f"{fitting} hypotheses fit; saying which line is the carrier, a line of the crystal "
            "or second LO, or a smaller uncertainty would tell them apart"
        )
        cautions.append(Caution(code="ambiguous", text=text))
    if best.unexplained_hz:
        lines = ", ".join(format_frequency(hz) for hz in best.unexplained_hz)
        cautions.append(
            Caution(code="unexplained-line", text=f"the best hypothesis does not explain {lines}")
        )
    return tuple(cautions)
