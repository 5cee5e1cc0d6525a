"""Superhet arithmetic: how carrier, IF, injection side, LO and crystal of a set hang together.

With injection sign s (+1 high side, -1 low side) a receiver has ``LO = carrier + s IF`` (Terman,
*Radio Engineers' Handbook*, 1943, and the receiver chapter of the *ARRL Handbook*; cited from
memory).
"""

from dataclasses import dataclass, replace
from enum import Enum
from math import isfinite

from sniff.errors import UsageError
from sniff.superhet.place import PlannedPlace, check_names
from sniff.units import Tolerance, format_frequency

ASSUMED_TOLERANCE = Tolerance(ppm=50.0)
"""When none is stated: 0.005 %, asked of small transmitters by 47 CFR 74.861(e) (CFR 2015)."""

_LEAST_HZ = 1e-3
"""Less than this is a difference of equal frequencies that rounding kept from being zero."""


class Side(str, Enum):
    """Where the LO lies as seen from the signal it converts."""

    LOW = "low"
    HIGH = "high"

    @property
    def sign(self) -> int:
        """+1 for high-side, -1 for low-side injection."""
        return 1 if self is Side.HIGH else -1


class Role(str, Enum):
    """What a line is in the set, in the order of a line board."""

    CARRIER = "carrier"
    LO = "lo"
    CRYSTAL = "crystal"
    CRYSTAL_HARMONIC = "crystal-harmonic"
    SECOND_LO = "second-lo"
    SECOND_LO_HARMONIC = "second-lo-harmonic"
    IF = "if"
    SECOND_IF = "second-if"
    IMAGE = "image"
    HALF_IF = "half-if"
    SECOND_IMAGE = "second-image"


def can_inject(signal_hz: float, if_hz: float, side: Side) -> bool:
    """True when the LO that brings this signal to this IF from this side is above zero."""
    return signal_hz + side.sign * if_hz >= _LEAST_HZ


def injection_hz(signal_hz: float, if_hz: float, side: Side) -> float:
    """LO that brings a signal to an IF, Hz: ``signal + s IF``.

    Raises
    ------
    UsageError
        When that is not above zero.
    """
    lo_hz = signal_hz + side.sign * if_hz
    if not can_inject(signal_hz, if_hz, side):
        raise UsageError(
            f"low-side injection brings {format_frequency(signal_hz)} to an IF of "
            f"{format_frequency(if_hz)} only with an LO of {format_frequency(lo_hz)}; "
            "use the high side, or check the two frequencies"
        )
    return lo_hz


def received_hz(lo_hz: float, if_hz: float, side: Side) -> float:
    """Signal that an LO brings to an IF, Hz: ``LO - s IF``, the way back of `injection_hz`.

    Raises
    ------
    UsageError
        When that is not above zero.
    """
    signal_hz = lo_hz - side.sign * if_hz
    if signal_hz < _LEAST_HZ:
        raise UsageError(
            f"an LO of {format_frequency(lo_hz)} on the high side of an IF of "
            f"{format_frequency(if_hz)} would receive {format_frequency(signal_hz)}; "
            "use the low side, or check the two frequencies"
        )
    return signal_hz


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """A place on a channel raster.

    Attributes
    ----------
    base_hz, step_hz : float
        Carrier of the channel numbered `first`, and distance of two channels, Hz.
    number : int
        The channel.
    first : int
        Number of the channel that lies on `base_hz`.
    """

    base_hz: float
    step_hz: float
    number: int
    first: int = 1

    def __post_init__(self) -> None:
        require_frequency("channel base", self.base_hz)
        require_frequency("channel step", self.step_hz)
        if self.number < self.first:
            raise UsageError(
                f"channel {self.number} comes before channel {self.first}, which lies on the base; "
                "check the number, or say which channel the base has"
            )

    @property
    def carrier_hz(self) -> float:
        """Carrier of the channel, Hz."""
        return self.base_hz + (self.number - self.first) * self.step_hz


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How the frequencies of a set hang together; without an IF it is a transmitter.

    Attributes
    ----------
    carrier_hz : float
        Frequency sent, or to be received, Hz.
    if_hz, second_if_hz : float or None
        Intermediate frequencies, Hz.
    side, second_side : Side or None
        Injection side of each mixer: the LO against the carrier, the second LO against the
        first IF. Needed with its IF, never guessed.
    multiplier : int or None
        LO (carrier of a transmitter) over crystal; None when unknown.
    tolerance : Tolerance or None
        In ppm it belongs to the crystal, and multiplying keeps ppm; in Hz it belongs to the
        carrier (of a receiver: to the channel received). None: `ASSUMED_TOLERANCE`.
    highest_multiple : int or None
        Highest multiple of crystal and second LO to list. None: of the crystal one above the
        multiplier, since a stage tuned to the wrong multiple gives a neighbour of the wanted one;
        of the second LO `sniff.superhet.expected.SECOND_LO_MULTIPLES`.
    places : tuple of PlannedPlace
        Where on the board a loop can be held, and what must be there.

    Raises
    ------
    UsageError
        On a frequency, multiplier or multiple that cannot be, and on words that lack each other.
    """

    carrier_hz: float
    if_hz: float | None = None
    side: Side | None = None
    second_if_hz: float | None = None
    second_side: Side | None = None
    multiplier: int | None = None
    tolerance: Tolerance | None = None
    highest_multiple: int | None = None
    places: tuple[PlannedPlace, ...] = ()

    def __post_init__(self) -> None:
        require_frequency("carrier", self.carrier_hz)
        _require_pair("IF", self.if_hz, self.side, "side")
        _require_pair("second IF", self.second_if_hz, self.second_side, "second side")
        if self.second_if_hz is not None and self.if_hz is None:
            raise UsageError("a second IF needs a first one; give the first IF and its side")
        for what, count in (
            ("multiplier", self.multiplier),
            ("highest multiple", self.highest_multiple),
        ):
            if count is not None and count < 1:
                raise UsageError(f"{what} {count} is not 1, 2, 3, ...; leave it out when unknown")
        check_names(self.places)
        # Both raise when an LO would fall at or below zero.
        _ = self.lo_hz, self.second_lo_hz

    @property
    def allowed(self) -> Tolerance:
        """The tolerance that holds: the one stated, or the one assumed."""
        return ASSUMED_TOLERANCE if self.tolerance is None else self.tolerance

    @property
    def tolerance_of(self) -> Role:
        """The line to which `allowed` belongs."""
        return Role.CRYSTAL if self.allowed.ppm is not None else Role.CARRIER

    @property
    def lo_hz(self) -> float | None:
        """First LO, Hz; None for a transmitter."""
        if self.if_hz is None or self.side is None:
            return None
        return injection_hz(self.carrier_hz, self.if_hz, self.side)

    @property
    def driven_hz(self) -> float:
        """What the crystal is multiplied up to, Hz: the LO, or a transmitter's carrier."""
        return self.carrier_hz if self.lo_hz is None else self.lo_hz

    @property
    def crystal_hz(self) -> float | None:
        """Crystal, Hz; None while the multiplier is unknown."""
        return None if self.multiplier is None else self.driven_hz / self.multiplier

    @property
    def second_lo_hz(self) -> float | None:
        """Second LO, Hz; None with a single conversion."""
        if self.if_hz is None or self.second_if_hz is None or self.second_side is None:
            return None
        return injection_hz(self.if_hz, self.second_if_hz, self.second_side)

    @property
    def channel_tolerance_hz(self) -> float:
        """How far the frequency sent or received may lie off, Hz.

        A tolerance in ppm acts on each LO; at worst their errors add. One in Hz is this number.
        """
        if self.allowed.hz is not None:
            return self.allowed.hz
        return self.allowed.at(self.driven_hz) + self.allowed.at(self.second_lo_hz or 0.0)


def carry(plan: Plan, carrier_hz: float) -> Plan:
    """The same set on another carrier: its sibling. The channels of its places move by the same
    step.

    Raises
    ------
    UsageError
        When that carrier cannot be received with these IFs and sides.
    """
    places = places_moved(plan.places, carrier_hz - plan.carrier_hz)
    return replace(plan, carrier_hz=carrier_hz, places=places)


def places_moved(places: tuple[PlannedPlace, ...], step_hz: float) -> tuple[PlannedPlace, ...]:
    """The same places, their own carriers higher by a step."""
    return tuple(
        place if place.carrier_hz is None else replace(place, carrier_hz=place.carrier_hz + step_hz)
        for place in places
    )


def require_frequency(what: str, hz: float) -> None:
    """Refuse what is no frequency.

    Raises
    ------
    UsageError
        When it is not finite and above zero.
    """
    if not isfinite(hz) or hz <= 0:
        raise UsageError(f"{what} {hz:g} Hz is not a frequency above zero")


def _require_pair(what: str, hz: float | None, side: Side | None, side_word: str) -> None:
    if hz is not None:
        require_frequency(what, hz)
    if hz is not None and side is None:
        raise UsageError(
            f"{what} {format_frequency(hz)} needs its {side_word}, low or high: where the LO lies"
        )
    if hz is None and side is not None:
        raise UsageError(f"{side_word} {side.value!r} says nothing without its {what}")
