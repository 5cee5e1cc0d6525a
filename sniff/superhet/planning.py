"""The three questions about a plan: which lines, which crystal or carrier, which set."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sniff.errors import UsageError
from sniff.model import Caution
from sniff.superhet.candidate import Candidate, plan_of
from sniff.superhet.crystal import (
    MULTIPLIERS,
    OVERTONE,
    OVERTONE_FROM_HZ,
    CrystalChoice,
    carriers_for,
    crystals_for,
)
from sniff.superhet.expected import TOLERANCE_ASSUMED, Expected, expected_lines, plan_cautions
from sniff.superhet.infer import COMMON_IFS_HZ, infer
from sniff.superhet.plan import Plan, Role, Side, carry
from sniff.superhet.seen import Seen, seen_cautions
from sniff.units import Tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanResult:
    """The answer to one question, field by field what ``--json`` prints; what was not asked is
    empty or None.

    Attributes
    ----------
    plan : Plan or None
        The set to which `lines` belong, its tolerance written out even when assumed.
    tolerance_of : Role or None
        The line to which the plan's tolerance belongs.
    lines : tuple of Expected
        Lines and responses of the set.
    crystals : tuple of CrystalChoice
        Crystals for a carrier, or carriers for a crystal.
    candidates : tuple of Candidate
        What the set may be by the lines seen, the best first.
    """

    plan: Plan | None = None
    tolerance_of: Role | None = None
    lines: tuple[Expected, ...] = ()
    crystals: tuple[CrystalChoice, ...] = ()
    candidates: tuple[Candidate, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanAnswer:
    """A result and what to know before trusting it."""

    result: PlanResult
    cautions: tuple[Caution, ...]


def plan_lines(plan: Plan) -> PlanAnswer:
    """Which lines a set should show, and which crystal it needs."""
    crystals = crystals_for(plan)
    return PlanAnswer(
        result=PlanResult(
            plan=replace(plan, tolerance=plan.allowed),
            tolerance_of=plan.tolerance_of,
            lines=expected_lines(plan),
            crystals=crystals,
        ),
        cautions=plan_cautions(plan) + _overtones(crystals),
    )


def crystal_carriers(
    crystal_hz: float, *, if_hz: float | None, side: Side | None, tolerance: Tolerance | None
) -> PlanAnswer:
    """Which carriers a crystal of this marking may serve, by multiplier.

    Raises
    ------
    UsageError
        When IF and side lack each other, or no carrier comes out above zero.
    """
    crystals = carriers_for(crystal_hz, if_hz=if_hz, side=side, tolerance=tolerance)
    assumed = (TOLERANCE_ASSUMED,) if tolerance is None else ()
    return PlanAnswer(result=PlanResult(crystals=crystals), cautions=assumed + _overtones(crystals))


def infer_plan(
    seen: Sequence[Seen],
    *,
    carrier_hz: float | None = None,
    if_hz: float | None = None,
    multiplier: int | None = None,
    tolerance: Tolerance | None = None,
    sibling_carrier_hz: float | None = None,
) -> PlanAnswer:
    """What a set may be by the lines seen at it, and the lines of its sibling.

    Parameters
    ----------
    seen : sequence of Seen
        Lines of one working set.
    carrier_hz : float or None
        Its nominal carrier, when that is not among the lines.
    if_hz, multiplier : float and int, or None
        What is known already.
    tolerance : Tolerance or None
        As in `Plan`.
    sibling_carrier_hz : float or None
        Carry the best candidate to this carrier and give its lines.

    Raises
    ------
    UsageError
        When there is no carrier or no line to start from, or no sibling can follow.
    """
    found = infer(
        seen,
        carriers_hz=() if carrier_hz is None else (carrier_hz,),
        ifs_hz=COMMON_IFS_HZ if if_hz is None else (if_hz,),
        multipliers=MULTIPLIERS if multiplier is None else (multiplier,),
        tolerance=tolerance,
    )
    assumed = (TOLERANCE_ASSUMED,) if tolerance is None else ()
    cautions = assumed + seen_cautions(seen) + found.cautions
    if sibling_carrier_hz is None:
        return PlanAnswer(result=PlanResult(candidates=found.candidates), cautions=cautions)
    if not found.candidates:
        raise UsageError("no hypothesis explains these lines, so that no sibling can follow")
    sibling = plan_lines(carry(plan_of(found.candidates[0], tolerance), sibling_carrier_hz))
    return PlanAnswer(
        result=replace(sibling.result, candidates=found.candidates),
        cautions=tuple(dict.fromkeys(cautions + sibling.cautions)),
    )


def _overtones(crystals: Sequence[CrystalChoice]) -> tuple[Caution, ...]:
    return (OVERTONE,) if any(each.crystal_hz > OVERTONE_FROM_HZ for each in crystals) else ()
