"""Which lines a set should show, and at which frequencies it responds, from its plan.

With injection sign s (+1 high side, -1 low side) the image lies at ``carrier + 2 s IF`` and the
half-IF response at ``carrier + s IF / 2`` (Terman, *Radio Engineers' Handbook*, 1943, and the
receiver chapter of the *ARRL Handbook*; cited from memory).
"""

from dataclasses import dataclass

from sniff.model import Caution
from sniff.superhet.plan import ASSUMED_TOLERANCE, Plan, Role, Side
from sniff.units import format_frequency

SECOND_LO_MULTIPLES = 3
"""Multiples of the second LO listed by default: the third of 10.245 MHz is the first that a
tuner starting at 24 MHz can see."""

TOLERANCE_ASSUMED = Caution(
    code="assumed-tolerance",
    text=f"no tolerance was given: {ASSUMED_TOLERANCE} of the crystal is assumed",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """A line, or a frequency of response, that follows from a plan.

    Attributes
    ----------
    name : str
        What to call it: ``LO``, ``crystal × 2``.
    role : Role
        What it is in the set.
    expected_hz : float
        Where it should be, Hz.
    tolerance_hz : float
        How far off it may be, Hz. For a frequency of response: how far the tolerance may shift
        the response.
    formula : str
        How it comes about: ``72.9 MHz + 10.7 MHz``.
    radiated : bool
        True when the set itself emits it. A receiver only responds at its carrier, image and
        half-IF, and an IF is there only while something is received.
    wanted : bool
        True when its absence is a fault. A crystal and its other multiples may be too weak to see.
    """

    name: str
    role: Role
    expected_hz: float
    tolerance_hz: float
    formula: str
    radiated: bool
    wanted: bool


def expected_lines(plan: Plan) -> tuple[Expected, ...]:
    """Every line and response of a set, in the order of `Role`, then by frequency."""
    lines = [_carrier(plan), *_crystal_lines(plan), *_first_conversion(plan)]
    lines += _second_conversion(plan)
    order = list(Role)
    return tuple(sorted(lines, key=lambda line: (order.index(line.role), line.expected_hz)))


def radiated_lines(plan: Plan) -> tuple[Expected, ...]:
    """Those that the set itself emits."""
    return tuple(line for line in expected_lines(plan) if line.radiated)


def plan_cautions(plan: Plan) -> tuple[Caution, ...]:
    """What the reader of a plan's lines must know: whatever was assumed."""
    cautions = []
    if plan.tolerance is None:
        cautions.append(TOLERANCE_ASSUMED)
    if plan.second_lo_hz is not None and plan.allowed.ppm is not None:
        cautions.append(
            Caution(
                code="second-lo-tolerance",
                text=f"the second LO has a crystal of its own; {plan.allowed} is taken for it too",
            )
        )
    return tuple(cautions)


def _carrier(plan: Plan) -> Expected:
    transmitter = plan.if_hz is None
    return Expected(
        name="carrier",
        role=Role.CARRIER,
        expected_hz=plan.carrier_hz,
        tolerance_hz=plan.channel_tolerance_hz,
        formula=format_frequency(plan.carrier_hz),
        radiated=transmitter,
        wanted=transmitter,
    )


def _crystal_lines(plan: Plan) -> list[Expected]:
    """The crystal and its multiples, except the one that is the LO or the carrier itself."""
    crystal_hz, multiplier = plan.crystal_hz, plan.multiplier
    if crystal_hz is None or multiplier is None:
        return []
    lines = [
        Expected(
            name="crystal" if multiple == 1 else f"crystal × {multiple}",
            role=Role.CRYSTAL if multiple == 1 else Role.CRYSTAL_HARMONIC,
            expected_hz=multiple * crystal_hz,
            tolerance_hz=plan.allowed.at(plan.driven_hz) * multiple / multiplier,
            formula=f"{format_frequency(plan.driven_hz)} / {multiplier}"
            if multiple == 1
            else f"{multiple} × {format_frequency(crystal_hz)}",
            radiated=True,
            wanted=False,
        )
        for multiple in range(1, (plan.highest_multiple or multiplier + 1) + 1)
    ]
    return [line for multiple, line in enumerate(lines, start=1) if multiple != multiplier]


def _first_conversion(plan: Plan) -> list[Expected]:
    if plan.if_hz is None or plan.side is None or plan.lo_hz is None:
        return []
    sign = "+" if plan.side is Side.HIGH else "−"
    carrier, first_if = format_frequency(plan.carrier_hz), format_frequency(plan.if_hz)
    lo_tolerance_hz = plan.allowed.at(plan.lo_hz)
    lines = [
        Expected(
            name="LO",
            role=Role.LO,
            expected_hz=plan.lo_hz,
            tolerance_hz=lo_tolerance_hz,
            formula=f"{carrier} {sign} {first_if}",
            radiated=True,
            wanted=True,
        ),
        _response(plan, "IF", Role.IF, plan.if_hz, first_if, tolerance_hz=lo_tolerance_hz),
        _response(
            plan,
            "half-IF",
            Role.HALF_IF,
            plan.carrier_hz + plan.side.sign * plan.if_hz / 2,
            f"{carrier} {sign} {first_if} / 2",
        ),
    ]
    image_hz = plan.carrier_hz + 2 * plan.side.sign * plan.if_hz
    return lines + _mirrored(plan, "image", Role.IMAGE, image_hz, f"{sign} 2 × {first_if}")


def _second_conversion(plan: Plan) -> list[Expected]:
    lo_hz, first_if_hz, second_if_hz = plan.second_lo_hz, plan.if_hz, plan.second_if_hz
    if lo_hz is None or first_if_hz is None or second_if_hz is None:
        return []
    # None of the three can be here without its side; said for the type checker.
    assert plan.side is not None
    assert plan.second_side is not None
    sign = "+" if plan.second_side is Side.HIGH else "−"
    second_if = format_frequency(second_if_hz)
    lines = [
        Expected(
            name="second LO" if multiple == 1 else f"second LO × {multiple}",
            role=Role.SECOND_LO if multiple == 1 else Role.SECOND_LO_HARMONIC,
            expected_hz=multiple * lo_hz,
            tolerance_hz=multiple * plan.allowed.at(lo_hz),
            formula=f"{format_frequency(first_if_hz)} {sign} {second_if}"
            if multiple == 1
            else f"{multiple} × {format_frequency(lo_hz)}",
            radiated=True,
            wanted=multiple == 1,
        )
        for multiple in range(1, (plan.highest_multiple or SECOND_LO_MULTIPLES) + 1)
    ]
    lines.append(_response(plan, "second IF", Role.SECOND_IF, second_if_hz, second_if))
    # Seen from the antenna: a high-side first LO turns the spectrum round, so that the second
    # image, 2 IF2 beside the first IF, lies on the other side of the carrier.
    turned = -plan.side.sign * plan.second_side.sign
    image_hz = plan.carrier_hz + 2 * turned * second_if_hz
    formula = f"{'+' if turned > 0 else '−'} 2 × {second_if}"
    return lines + _mirrored(plan, "second image", Role.SECOND_IMAGE, image_hz, formula)


def _mirrored(plan: Plan, name: str, role: Role, signed_hz: float, shift: str) -> list[Expected]:
    """An image. One below zero is heard at the same distance above it: there LO and signal add
    up to the IF. One at zero is none."""
    if abs(signed_hz) < 1.0:  # rounding may keep a difference of equal frequencies from zero
        return []
    carrier = format_frequency(plan.carrier_hz)
    formula = f"{carrier} {shift}" if signed_hz > 0 else f"|{carrier} {shift}|"
    return [_response(plan, name, role, abs(signed_hz), formula)]


def _response(
    plan: Plan,
    name: str,
    role: Role,
    expected_hz: float,
    formula: str,
    *,
    tolerance_hz: float | None = None,
) -> Expected:
    return Expected(
        name=name,
        role=role,
        expected_hz=expected_hz,
        tolerance_hz=plan.channel_tolerance_hz if tolerance_hz is None else tolerance_hz,
        formula=formula,
        radiated=False,
        wanted=False,
    )
