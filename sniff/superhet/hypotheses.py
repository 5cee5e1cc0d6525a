"""What a set may be: conversions and multipliers that put a line where one was seen."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import sqrt

from sniff.superhet.expected import SECOND_LO_MULTIPLES
from sniff.superhet.misfit import Carrier, Pair, Place, misfit_hz, u_misfit_hz
from sniff.superhet.plan import Plan, Role, Side, can_inject
from sniff.superhet.seen import Seen
from sniff.units import Tolerance

_REACH = 4.0
"""Standard uncertainties within which a line may belong to a place: wider than any that fits."""

CRYSTAL_ROLES = frozenset({Role.CRYSTAL, Role.CRYSTAL_HARMONIC})
SECOND_LO_ROLES = frozenset({Role.SECOND_LO, Role.SECOND_LO_HARMONIC})


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """A plan, the lines it explains, each with its place, and the lines it does not."""

    plan: Plan
    carrier: Carrier
    pairs: tuple[Pair, ...]
    unexplained: tuple[Seen, ...]


def first_conversions(
    carrier_hz: float, ifs_hz: Iterable[float], tolerance: Tolerance | None
) -> Iterator[Plan]:
    """A transmitter, then a receiver for each IF and side that leave an LO above zero."""
    yield Plan(carrier_hz=carrier_hz, tolerance=tolerance)
    for if_hz in ifs_hz:
        for side in Side:
            if can_inject(carrier_hz, if_hz, side):
                yield Plan(carrier_hz=carrier_hz, if_hz=if_hz, side=side, tolerance=tolerance)


def explanations(
    carrier: Carrier,
    lines: Sequence[Seen],
    plan: Plan,
    *,
    multipliers: Iterable[int],
    second_ifs_hz: Iterable[float],
) -> list[Explanation]:
    """Multipliers and second conversions with which a first conversion explains the most lines.

    Parameters
    ----------
    carrier : Carrier
        The plan's carrier.
    lines : sequence of Seen
        The other lines.
    plan : Plan
        A first conversion, or a transmitter.
    multipliers : iterable of int
        To be tried when a line may belong to a crystal.
    second_ifs_hz : iterable of float
        To be tried when a line may belong to a second LO.
    """
    if plan.if_hz is None:
        # Carrier and crystal of a transmitter are off together: its tolerance is in neither.
        carrier = replace(carrier, u_tolerance_hz=0.0)
    first = _first_places(carrier, plan)
    by_crystal = [(plan, first)]
    for multiplier in multipliers:
        variant = replace(plan, multiplier=multiplier)
        places = _crystal_places(carrier, variant)
        if any(_belongs(carrier, (line, place)) for line in lines for place in places):
            by_crystal.append((variant, first + places))
    found = []
    for by_multiplier, places in by_crystal:
        for variant in (by_multiplier, *_second_conversions(by_multiplier, second_ifs_hz)):
            second = _second_lo_places(variant)
            if second and not any(_belongs(carrier, (ln, pl)) for ln in lines for pl in second):
                continue
            found.append(_explain(carrier, lines, variant, places + second))
    found = [explanation for explanation in found if _says_something(explanation)]
    most = max((len(explanation.pairs) for explanation in found), default=0)
    return [explanation for explanation in found if len(explanation.pairs) == most]


def lo_place(plan: Plan) -> Place:
    """Where the LO of a receiver's plan would be."""
    assert plan.lo_hz is not None
    assert plan.side is not None
    return Place(
        role=Role.LO,
        multiple=1,
        expected_hz=plan.lo_hz,
        per_carrier=1.0,
        per_if=plan.side.sign,
        u_crystal_hz=plan.allowed.at(plan.lo_hz) / sqrt(3.0),
    )


def _first_places(carrier: Carrier, plan: Plan) -> list[Place]:
    places = []
    if carrier.seen is None:
        # The carrier is nominal; one that was seen too is off by its own tolerance.
        places.append(_foreign(Role.CARRIER, plan, plan.carrier_hz, per_if=0.0))
    if plan.if_hz is None or plan.side is None:
        return places
    places.append(lo_place(plan))
    image_hz = plan.carrier_hz + 2 * plan.side.sign * plan.if_hz
    if image_hz > 0:
        # Not radiated by the set: a transmitter there would be received, and may have been seen.
        places.append(_foreign(Role.IMAGE, plan, image_hz, per_if=2.0 * plan.side.sign))
    return places


def _foreign(role: Role, plan: Plan, expected_hz: float, *, per_if: float) -> Place:
    return Place(
        role=role,
        multiple=1,
        expected_hz=expected_hz,
        per_carrier=1.0,
        per_if=per_if,
        u_other_hz=plan.allowed.at(expected_hz) / sqrt(3.0),
    )


def _crystal_places(carrier: Carrier, plan: Plan) -> list[Place]:
    """Multiples of the crystal up to one above the multiplier."""
    assert plan.multiplier is not None
    # A transmitter's crystal stands fast against its own carrier.
    fixed = plan.if_hz is None and carrier.seen is not None
    u_driven_hz = 0.0 if fixed else plan.allowed.at(plan.driven_hz) / sqrt(3.0)
    return [
        Place(
            role=Role.CRYSTAL if multiple == 1 else Role.CRYSTAL_HARMONIC,
            multiple=multiple,
            expected_hz=plan.driven_hz * multiple / plan.multiplier,
            per_carrier=multiple / plan.multiplier,
            per_if=(plan.side.sign if plan.side else 0) * multiple / plan.multiplier,
            u_crystal_hz=u_driven_hz * multiple / plan.multiplier,
        )
        for multiple in range(1, plan.multiplier + 2)
        # The multiple that is the LO goes by that name, unless the crystal itself is the LO.
        if multiple != plan.multiplier or multiple == 1
    ]


def _second_conversions(plan: Plan, second_ifs_hz: Iterable[float]) -> Iterator[Plan]:
    if plan.if_hz is None:
        return
    for if_hz in second_ifs_hz:
        for side in Side:
            if if_hz < plan.if_hz and can_inject(plan.if_hz, if_hz, side):
                yield replace(plan, second_if_hz=if_hz, second_side=side)


def _second_lo_places(plan: Plan) -> list[Place]:
    if plan.second_lo_hz is None:
        return []
    u_second_hz = plan.allowed.at(plan.second_lo_hz) / sqrt(3.0)
    return [
        Place(
            role=Role.SECOND_LO if multiple == 1 else Role.SECOND_LO_HARMONIC,
            multiple=multiple,
            expected_hz=multiple * plan.second_lo_hz,
            per_carrier=0.0,
            per_if=float(multiple),
            u_second_crystal_hz=multiple * u_second_hz,
        )
        for multiple in range(1, SECOND_LO_MULTIPLES + 1)
    ]


def _distance(carrier: Carrier, pair: Pair) -> float:
    return abs(misfit_hz(pair)) / u_misfit_hz(carrier, pair)


def _belongs(carrier: Carrier, pair: Pair) -> bool:
    line, place = pair
    if line.role not in (None, place.role):
        return False
    if line.role is None and place.role is Role.CRYSTAL and place.per_carrier == 1.0:
        return False  # a crystal that is the LO shows as the LO; only a user can know better
    return _distance(carrier, pair) <= _REACH


def _explain(
    carrier: Carrier, lines: Sequence[Seen], plan: Plan, places: Sequence[Place]
) -> Explanation:
    """Give each line the nearest of the places it may belong to."""
    pairs, unexplained = [], []
    for line in lines:
        near = [(line, place) for place in places if _belongs(carrier, (line, place))]
        if near:
            pairs.append(min(near, key=lambda pair: _distance(carrier, pair)))
        else:
            unexplained.append(line)
    return Explanation(
        plan=plan, carrier=carrier, pairs=tuple(pairs), unexplained=tuple(unexplained)
    )


def _says_something(explanation: Explanation) -> bool:
    """True when a line besides the carrier is explained and no part of the plan is far-fetched.

    Some high multiple lies near any line, so that one alone proves nothing: it counts beside its
    own oscillator or the LO, or when a user knows it for one.
    """
    plan, pairs = explanation.plan, explanation.pairs
    roles = {place.role for _, place in pairs}
    named = {line.role for line, _ in pairs}
    lo_seen = Role.LO in roles or (plan.if_hz is None and explanation.carrier.seen is not None)
    crystal = plan.multiplier is None or (
        not roles.isdisjoint(CRYSTAL_ROLES)
        and (lo_seen or Role.CRYSTAL in roles or not named.isdisjoint(CRYSTAL_ROLES))
    )
    second = plan.second_if_hz is None or (
        not roles.isdisjoint(SECOND_LO_ROLES)
        and (lo_seen or Role.SECOND_LO in roles or not named.isdisjoint(SECOND_LO_ROLES))
    )
    return bool(roles - {Role.CARRIER}) and crystal and second
