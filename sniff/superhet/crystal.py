"""The crystal question of a repair: the crystal a carrier needs, the carrier a crystal gives."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from sniff.errors import UsageError
from sniff.model import Caution
from sniff.superhet.plan import Channel, Plan, Side, received_hz, require_frequency
from sniff.units import Tolerance, format_frequency

MULTIPLIERS = (1, 2, 3, 4, 5, 6, 8, 9, 12, 18)
"""What chains of doublers, triplers and one quintupler make (common practice, no source)."""

OVERTONE_FROM_HZ = 20e6
"""Above this a crystal may be an overtone type, and above some 30 MHz it nearly always is (common
practice, no source)."""

OVERTONE = Caution(
    code="overtone",
    text=(
        f"above {format_frequency(OVERTONE_FROM_HZ)} a crystal may be an overtone type, which runs "
        "near an odd multiple of its fundamental, not on it (some 0.1 % off): order it by the "
        "frequency it must run at, never work it out from the marking of a fundamental crystal"
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CrystalChoice:
    """One crystal with its multiplier and what comes of the two.

    Attributes
    ----------
    multiplier : int
        LO (carrier of a transmitter) over crystal.
    crystal_hz, carrier_hz : float
        Crystal, and the frequency sent or received with it, Hz.
    lo_hz : float or None
        LO; None for a transmitter.
    formula : str
        How the asked one follows from the given one.
    crystal_tolerance_hz, crystal_tolerance_ppm : float
        How far the crystal may be off.
    channel_tolerance_hz, channel_tolerance_ppm : float
        What that makes of the LO and so of the frequency sent or received. The LO moves by
        `multiplier` times the hertz of the crystal, and the channel with it; in ppm of the carrier
        that is more than the crystal's with high-side injection, less with low-side.
    """

    multiplier: int
    crystal_hz: float
    lo_hz: float | None
    carrier_hz: float
    formula: str
    crystal_tolerance_hz: float
    crystal_tolerance_ppm: float
    channel_tolerance_hz: float
    channel_tolerance_ppm: float


def crystals_for(plan: Plan, multipliers: Iterable[int] = MULTIPLIERS) -> tuple[CrystalChoice, ...]:
    """Crystals that put a set on its carrier: one when the plan has a multiplier, else a list."""
    chosen = multipliers if plan.multiplier is None else (plan.multiplier,)
    return tuple(
        _choice(replace(plan, multiplier=multiplier), f"{_driven(plan)} / {multiplier}")
        for multiplier in chosen
    )


def carriers_for(
    crystal_hz: float,
    *,
    if_hz: float | None = None,
    side: Side | None = None,
    multiplier: int | None = None,
    tolerance: Tolerance | None = None,
) -> tuple[CrystalChoice, ...]:
    """Carriers that a crystal of this marking gives: one with a multiplier, else a list.

    Raises
    ------
    UsageError
        When no multiplier leaves a carrier above zero.
    """
    found = []
    for each in MULTIPLIERS if multiplier is None else (multiplier,):
        try:
            carrier_hz = carrier_from_crystal_hz(
                crystal_hz, multiplier=each, if_hz=if_hz, side=side
            )
        except UsageError:
            if multiplier is not None:
                raise
            continue  # the crystal is too low for this multiplier and IF; others may do
        plan = Plan(
            carrier_hz=carrier_hz, if_hz=if_hz, side=side, multiplier=each, tolerance=tolerance
        )
        found.append(_choice(plan, _carrier_formula(crystal_hz, plan)))
    if not found:
        raise UsageError(
            f"a crystal of {format_frequency(crystal_hz)} gives no carrier above zero with any "
            f"multiplier up to {MULTIPLIERS[-1]}; check crystal, IF and side"
        )
    return tuple(found)


def carrier_from_crystal_hz(
    crystal_hz: float, *, multiplier: int, if_hz: float | None = None, side: Side | None = None
) -> float:
    """Frequency received, or without an IF sent, with a crystal of this marking, Hz.

    Raises
    ------
    UsageError
        When that is not above zero.
    """
    require_frequency("crystal", crystal_hz)
    if if_hz is None or side is None:
        return crystal_hz * multiplier
    return received_hz(crystal_hz * multiplier, if_hz, side)


def stated_carrier_hz(
    *,
    carrier_hz: float | None = None,
    channel: Channel | None = None,
    crystal_hz: float | None = None,
    multiplier: int | None = None,
    if_hz: float | None = None,
    side: Side | None = None,
) -> float:
    """The carrier from whichever one of carrier, channel and crystal a user stated, Hz.

    Raises
    ------
    UsageError
        When none or more than one was stated, or a crystal without its multiplier.
    """
    stated = {"carrier": carrier_hz, "channel": channel, "crystal": crystal_hz}
    given = [word for word, value in stated.items() if value is not None]
    if len(given) != 1:
        raise UsageError(
            f"give one of carrier, channel and crystal, not {' and '.join(given) or 'none of them'}"
        )
    if crystal_hz is not None:
        if multiplier is None:
            raise UsageError("a crystal needs its multiplier to tell the carrier; give both")
        return carrier_from_crystal_hz(crystal_hz, multiplier=multiplier, if_hz=if_hz, side=side)
    return channel.carrier_hz if channel is not None else carrier_hz or 0.0


def _choice(plan: Plan, formula: str) -> CrystalChoice:
    # The first LO alone: a second one has a crystal of its own.
    channel_hz = plan.allowed.at(plan.driven_hz)
    return CrystalChoice(
        multiplier=plan.multiplier or 1,
        crystal_hz=plan.driven_hz / (plan.multiplier or 1),
        lo_hz=plan.lo_hz,
        carrier_hz=plan.carrier_hz,
        formula=formula,
        crystal_tolerance_hz=channel_hz / (plan.multiplier or 1),
        crystal_tolerance_ppm=channel_hz / plan.driven_hz * 1e6,
        channel_tolerance_hz=channel_hz,
        channel_tolerance_ppm=channel_hz / plan.carrier_hz * 1e6,
    )


def _driven(plan: Plan) -> str:
    """The frequency the crystal is multiplied up to, and how it comes about."""
    if plan.if_hz is None or plan.side is None:
        return format_frequency(plan.carrier_hz)
    sign = "+" if plan.side is Side.HIGH else "−"
    return f"({format_frequency(plan.carrier_hz)} {sign} {format_frequency(plan.if_hz)})"


def _carrier_formula(crystal_hz: float, plan: Plan) -> str:
    formula = f"{plan.multiplier} × {format_frequency(crystal_hz)}"
    if plan.if_hz is None or plan.side is None:
        return formula
    sign = "−" if plan.side is Side.HIGH else "+"
    return f"{formula} {sign} {format_frequency(plan.if_hz)}"
