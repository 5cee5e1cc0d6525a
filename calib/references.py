"""Reference carriers: what is known of their frequency, how well, where they hold, and by whom.

Figures are limits of the carrier at the transmitter, with the evidence for each: ``text`` was found
in the cited text, ``memory`` was not. Regulations change: a limit is data with a date.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from math import sqrt

ATSC_PILOT_HZ = (6e6 - 4.5e6 * 684 / 286 / 2) / 2
"""Pilot above the channel's lower edge: half of what 6 MHz leave beside half the symbol rate."""

ATSC_OFFSETS_HZ = (22_697.4, 19_403.07)
"""Carrier offsets that stations are given against a neighbour; not an error of anyone's clock."""

_DAB_FIRST_HZ = {
    # The usual table of band III, in multiples of 16 kHz: blocks A to D lie 1.712 MHz apart.
    5: 174.928e6, 6: 181.936e6, 7: 188.928e6, 8: 195.936e6, 9: 202.928e6, 10: 209.936e6,
    11: 216.928e6, 12: 223.936e6,
}  # fmt: skip
_DAB_STEP_HZ = 1.712e6
_DAB_13_HZ = dict(
    zip("ABCDEF", (230.784e6, 232.496e6, 234.208e6, 235.776e6, 237.488e6, 239.2e6), strict=True)
)
DAB_BLOCKS_HZ: Mapping[str, float] = {
    **{
        f"{channel}{letter}": first_hz + number * _DAB_STEP_HZ
        for channel, first_hz in _DAB_FIRST_HZ.items()
        for number, letter in enumerate("ABCD")
    },
    **{f"13{letter}": hz for letter, hz in _DAB_13_HZ.items()},
}
"""Centres of the blocks of band III, Hz."""

DVBT_CHANNELS_HZ: Mapping[str, float] = {
    str(channel): 474e6 + 8e6 * (channel - 21) for channel in range(21, 70)
}
"""Centres of the 8 MHz channels of bands IV and V, Hz."""

_ATSC_EDGES_HZ = (
    (range(2, 5), 54e6), (range(5, 7), 76e6), (range(7, 14), 174e6), (range(14, 37), 470e6),
)  # fmt: skip
ATSC_PILOTS_HZ: Mapping[str, float] = {
    str(channel): edge_hz + 6e6 * (channel - channels[0]) + ATSC_PILOT_HZ
    for channels, edge_hz in _ATSC_EDGES_HZ
    for channel in channels
}
"""Pilots of the 6 MHz channels (47 CFR 73.603, from memory), Hz."""


class Shape(str, Enum):
    """How a limit ±a is meant."""

    RECTANGULAR = "rectangular"
    """All values within it are as likely, none beyond: u = a / sqrt(3) (JCGM 100:2008, 4.3.7)."""
    NORMAL = "normal"
    """As a certificate states it, with k = 2: u = U / 2 (JCGM 100:2008, 4.3.3)."""

    @property
    def divisor(self) -> float:
        """Limit over standard uncertainty."""
        return sqrt(3.0) if self is Shape.RECTANGULAR else 2.0


class Evidence(str, Enum):
    """How a figure is known."""

    TEXT = "text"
    MEMORY = "memory"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of reference carrier.

    Attributes
    ----------
    name : str
        What the user calls it.
    limit : callable
        Half-width of a rectangular distribution at a nominal frequency, Hz.
    half_width_hz : float
        Half of what its modulation takes up, Hz; 0 for a plain line. Of a modulated carrier only
        the mean frequency over a long time is the reference.
    offsets_hz : tuple of float
        How much higher than its nominal it may have been put on purpose, Hz.
    system : str or None
        Multiplex whose symbols tell its frequency; None for a single carrier.
    channels : mapping of str to float
        Nominal frequencies by the names of its channels, Hz.
    bands_hz : tuple of (float, float)
        Where its limit holds, Hz; empty for anywhere.
    where : str
        Where and when it can be used.
    source : str
    evidence : Evidence
    """

    name: str
    limit: Callable[[float], float]
    half_width_hz: float
    where: str
    source: str
    evidence: Evidence
    offsets_hz: tuple[float, ...] = ()
    system: str | None = None
    channels: Mapping[str, float] = field(default_factory=dict)
    bands_hz: tuple[tuple[float, float], ...] = ()

    def holds_at(self, nominal_hz: float) -> bool:
        """Whether its limit holds at this frequency."""
        return not self.bands_hz or any(a <= nominal_hz <= b for a, b in self.bands_hz)


def _parts(ppm: float) -> Callable[[float], float]:
    return lambda nominal_hz: abs(nominal_hz) * ppm * 1e-6


def _base_station(nominal_hz: float) -> float:
    # Tighter limits hold for narrower channels; which one it has cannot be seen from its carrier.
    return nominal_hz * (2.5e-6 if nominal_hz >= 421e6 else 5e-6)


def _dvbt(width: int, channels: Mapping[str, float], *, where: str) -> Kind:
    return Kind(
        name=f"dvbt{width}",
        limit=_parts(0.01),
        half_width_hz=0.0,
        where=f"DVB-T in {width} MHz channels: {where}; on satellite time in a single-frequency "
        "network, a lone transmitter may be worse: compare two",
        source="±1 Hz in a single-frequency network (guidelines, found in text); 0.01 ppm assumed",
        evidence=Evidence.MEMORY,
        system=f"dvbt{width}",
        channels=channels,
        bands_hz=((174e6, 230e6), (470e6, 862e6)),
    )


KINDS = {
    kind.name: kind
    for kind in (
        Kind(
            name="fm",
            limit=lambda _: 2_000.0,
            half_width_hz=100e3,
            where="FM broadcasting, worldwide; often far better than its limit",
            source="47 CFR 73.1545(b), ±2000 Hz above 10 W",
            evidence=Evidence.TEXT,
            bands_hz=((65e6, 108e6),),
        ),
        Kind(
            name="am",
            limit=lambda _: 20.0,
            half_width_hz=0.0,
            where="AM broadcasting in the United States; needs direct sampling",
            source="47 CFR 73.1545(a), ±20 Hz",
            evidence=Evidence.TEXT,
            bands_hz=((530e3, 1710e3),),
        ),
        Kind(
            name="weather",
            limit=_parts(5.0),
            half_width_hz=8e3,
            where="weather radio, 162.4 to 162.55 MHz in 25 kHz steps, North America",
            source="no tolerance found in text; 5 ppm assumed as the worst case",
            evidence=Evidence.MEMORY,
            bands_hz=((162.4e6, 162.55e6),),
        ),
        Kind(
            name="atsc",
            limit=lambda _: 1_000.0,
            half_width_hz=0.0,
            where="pilot of digital television, North America and Korea; many are on satellite "
            "time, none must be, and offsets of +22.697 and +19.403 kHz occur",
            source="no general tolerance in 47 CFR 73; ±1000 Hz by trade texts",
            evidence=Evidence.TEXT,
            offsets_hz=ATSC_OFFSETS_HZ,
            channels=ATSC_PILOTS_HZ,
            bands_hz=((54e6, 88e6), (174e6, 216e6), (470e6, 698e6)),
        ),
        Kind(
            name="dab",
            limit=_parts(0.01),
            half_width_hz=0.0,
            where="DAB mode I: Europe, Australia, parts of Asia; a single-frequency network is on "
            "satellite time",
            source="1e-9 or better in a single-frequency network; 0.01 ppm assumed",
            evidence=Evidence.MEMORY,
            system="dab",
            channels=DAB_BLOCKS_HZ,
            bands_hz=((174e6, 240e6),),
        ),
        _dvbt(8, DVBT_CHANNELS_HZ, where="Europe, Africa, Asia"),
        _dvbt(7, {}, where="band III in Europe; Australia"),
        _dvbt(6, {}, where="parts of Asia and America"),
        Kind(
            name="base-station",
            limit=_base_station,
            half_width_hz=8e3,
            where="a repeater or base station, 150 to 174 and 421 to 512 MHz, United States",
            source="47 CFR 90.213, 5 and 2.5 ppm (2015 edition)",
            evidence=Evidence.TEXT,
            bands_hz=((150e6, 174e6), (421e6, 512e6)),
        ),
        Kind(
            name="beacon",
            limit=_parts(10.0),
            half_width_hz=0.0,
            where="an amateur's beacon or repeater: bound to no limit, so a weak reference",
            source="common practice, no source; 10 ppm assumed as the worst case",
            evidence=Evidence.MEMORY,
        ),
        Kind(
            name="lab",
            limit=_parts(0.01),
            half_width_hz=0.0,
            where="a laboratory's 10 MHz, rubidium or on satellite time, and its harmonics; where "
            "there is a certificate, state its own limit instead",
            source="common practice, no source; 0.01 ppm assumed",
            evidence=Evidence.MEMORY,
        ),
        Kind(
            name="standard-frequency",
            limit=_parts(0.1),
            half_width_hz=0.0,
            where="2.5, 5, 10, 15 and 20 MHz; the limit is the ionosphere's, not the station's",
            source="frequencies: NIST SP 432; as received 1e-7 to 1e-8",
            evidence=Evidence.MEMORY,
            bands_hz=tuple((hz, hz) for hz in (2.5e6, 5e6, 10e6, 15e6, 20e6)),
        ),
        Kind(
            name="set",
            limit=_parts(50.0),
            half_width_hz=0.0,
            where="a working set's crystal: a weak reference",
            source="47 CFR 74.861(e), 0.005 %",
            evidence=Evidence.TEXT,
        ),
    )
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """One carrier of known frequency.

    Attributes
    ----------
    name : str
        What to call it in a result.
    nominal_hz : float
    limit_hz : float
        The true frequency lies within ± this, as `shape` says, Hz.
    shape : Shape
    half_width_hz, offsets_hz, system : float, tuple of float, str or None
        As in `Kind`.
    source : str
        Where the limit comes from.
    """

    name: str
    nominal_hz: float
    limit_hz: float
    shape: Shape = Shape.RECTANGULAR
    half_width_hz: float = 0.0
    offsets_hz: tuple[float, ...] = ()
    system: str | None = None
    source: str = "as stated by the user"

    @property
    def u_hz(self) -> float:
        """Standard uncertainty (k = 1), by its shape, Hz."""
        return self.limit_hz / self.shape.divisor

    @property
    def u_ppm(self) -> float:
        """The same, ppm of the nominal."""
        return self.u_hz / self.nominal_hz * 1e6


def reference_of(kind: Kind, nominal_hz: float, *, channel: str | None = None) -> Reference:
    """A reference of a known kind, at a frequency or in one of its channels."""
    return Reference(
        name=f"{kind.name} {channel or f'{nominal_hz / 1e6:.6f} MHz'}",
        nominal_hz=nominal_hz,
        limit_hz=kind.limit(nominal_hz),
        half_width_hz=kind.half_width_hz,
        offsets_hz=kind.offsets_hz,
        system=kind.system,
        source=f"{kind.source} ({kind.evidence.value})",
    )


def is_good_enough(reference: Reference, tolerance_ppm: float) -> bool:
    """Whether a clock calibrated by it alone can decide a tolerance: U no more than half of it."""
    return 2.0 * reference.u_ppm <= tolerance_ppm / 2.0
