"""Reference carriers: what is known of their frequency, how well, where they hold, and by whom.

Figures are limits of the carrier at the transmitter, with the evidence for each: ``text`` was found
in the cited text, ``memory`` was not. Regulations change: a limit is data with a date.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from math import sqrt

ATSC_PILOT_HZ = (6e6 - 4.5e6 * 684 / 286 / 2) / 2
"""Pilot above the channel's lower edge: half of what 6 MHz leave beside half the symbol rate."""

ATSC_OFFSETS_HZ = (22_697.4, 19_403.07)
"""Carrier offsets that stations are given against a neighbour; not an error of anyone's clock."""


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


def _parts(ppm: float) -> Callable[[float], float]:
    return lambda nominal_hz: abs(nominal_hz) * ppm * 1e-6


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
        ),
        Kind(
            name="am",
            limit=lambda _: 20.0,
            half_width_hz=0.0,
            where="AM broadcasting in the United States; needs direct sampling",
            source="47 CFR 73.1545(a), ±20 Hz",
            evidence=Evidence.TEXT,
        ),
        Kind(
            name="weather",
            limit=_parts(5.0),
            half_width_hz=8e3,
            where="weather radio, 162.4 to 162.55 MHz in 25 kHz steps, North America",
            source="no tolerance found in text; 5 ppm assumed as the worst case",
            evidence=Evidence.MEMORY,
        ),
        Kind(
            name="atsc",
            limit=lambda _: 1_000.0,
            half_width_hz=0.0,
            where="pilot of digital television, North America and Korea; many are on satellite "
            "time, none must be, and offsets of +22.697 and +19.403 kHz occur",
            source="no general tolerance in 47 CFR 73; ±1000 Hz by trade texts",
            evidence=Evidence.TEXT,
        ),
        Kind(
            name="standard-frequency",
            limit=_parts(0.1),
            half_width_hz=0.0,
            where="2.5, 5, 10, 15 and 20 MHz; the limit is the ionosphere's, not the station's",
            source="frequencies: NIST SP 432; as received 1e-7 to 1e-8",
            evidence=Evidence.MEMORY,
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
        The true frequency lies within ± this, every value as likely (rectangular), Hz.
    half_width_hz : float
        As in `Kind`.
    source : str
        Where the limit comes from.
    """

    name: str
    nominal_hz: float
    limit_hz: float
    half_width_hz: float = 0.0
    source: str = "as stated by the user"

    @property
    def u_hz(self) -> float:
        """Standard uncertainty, ``a / sqrt(3)`` (JCGM 100:2008, 4.3.7), Hz."""
        return self.limit_hz / sqrt(3.0)

    @property
    def u_ppm(self) -> float:
        """The same, ppm of the nominal."""
        return self.u_hz / self.nominal_hz * 1e6


def reference_of(kind: Kind, nominal_hz: float) -> Reference:
    """A reference of a known kind."""
    return Reference(
        name=f"{kind.name} {nominal_hz / 1e6:.6f} MHz",
        nominal_hz=nominal_hz,
        limit_hz=kind.limit(nominal_hz),
        half_width_hz=kind.half_width_hz,
        source=f"{kind.source} ({kind.evidence.value})",
    )


def is_good_enough(reference: Reference, tolerance_ppm: float) -> bool:
    """Whether a clock calibrated by it alone can decide a tolerance: U no more than half of it."""
    return 2.0 * reference.u_ppm <= tolerance_ppm / 2.0
