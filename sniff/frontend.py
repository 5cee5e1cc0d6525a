"""Is it real?  What the instrument itself puts into a spectrum: marked, never deleted."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, log10

import numpy as np

from sniff.model import Caution, IQBlock, Mark, Peak, SourceInfo
from sniff.units import format_frequency, format_share

OVERLOAD_SHARE = 1e-4
"""Share of samples at the rails from which on the front end counts as overloaded: noise at
−12 dBFS rms, the strongest that an 8-bit converter carries well, stays below."""

_MIRROR_DB = 15.0  # an IQ mirror is at least this far below its line
_SQUARE_WAVE_DB = 1.5  # order k of a clipped tone is at most 1/k, as in a square wave; plus this
OVERLOADED = "overload"
"""Code of the caution that the front end was overloaded."""

_TRUSTED_DB = 50.0  # an overloaded 8-bit converter's harmonics of any order reach up to there
_WIDEST_RBW = 2.0
# I and Q are clipped alike: a rotation by a quarter turn maps the signal onto itself, and only
# harmonics of order 1 modulo 4 survive.
_CLIPPED_ORDERS = tuple(k if k % 4 == 1 else -k for k in range(3, 64, 2))


class RailCount:
    """How much of a take sits at the converter's rails.

    Parameters
    ----------
    rail : float
        As in `SourceInfo`.
    """

    def __init__(self, rail: float) -> None:
        self._rail = rail * (1.0 - 1e-6)
        self._at_rail = 0
        self._samples = 0

    def push(self, block: IQBlock) -> None:
        """Count one block."""
        parts = block.samples.view(np.float32)
        self._samples += block.samples.size
        if parts.size and (parts.max() >= self._rail or parts.min() <= -self._rail):
            self._at_rail += int((np.abs(parts).reshape(-1, 2).max(axis=1) >= self._rail).sum())

    @property
    def share(self) -> float:
        """Share of samples with I or Q at a rail, 0 to 1."""
        return self._at_rail / self._samples if self._samples else 0.0

    @property
    def overloaded(self) -> bool:
        """True when what the spectrum shows may have been made by clipping."""
        return self.share > OVERLOAD_SHARE

    def caution(self) -> Caution | None:
        """What to tell the user, if anything."""
        if not self.overloaded:
            return None
        return Caution(
            code=OVERLOADED,
            text=f"overload: {format_share(self.share, digits=2)} of the samples are at the "
            "converter's rails; levels are wrong and lines may be false. Less gain, "
            "more attenuation or more distance.",
        )


def coarse_caution(datatype: str, *, noise_power: float) -> Caution | None:
    """What to tell the user when the noise is too weak to smooth the converter's steps.

    An 8-bit converter's own error has a power of ``2 / 12 / 127.5²``, −49.9 dBFS (uniform
    quantiser). It is white only while the input's noise is about as strong; below that a steady
    line makes a comb of false ones.

    Parameters
    ----------
    datatype : str
        As in `SourceInfo`.
    noise_power : float
        Noise over the whole span, FS².
    """
    if datatype not in ("cu8", "ci8") or not 0.0 < noise_power < 1.4 * 2.0 / 12.0 / 127.5**2:
        return None
    return Caution(
        code="coarse",
        text="the noise lies below the converter's steps, and weak lines may be of its own making: "
        "see which of them stay at more gain",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontEnd:
    """What must be known to judge peaks of one tuning.

    Attributes
    ----------
    center_hz, rate_hz, rbw_hz : float
        Of the spectrum, Hz.
    clock_hz : float or None
        The instrument's clock, whose multiples may show.
    usable_fraction, converter_hz, inverted
        As in `SourceInfo`.
    overloaded : bool
    """

    center_hz: float
    rate_hz: float
    rbw_hz: float
    clock_hz: float | None
    usable_fraction: float
    overloaded: bool
    converter_hz: float = 0.0
    inverted: bool = False

    @classmethod
    def of(
        cls, info: SourceInfo, *, center_hz: float, rbw_hz: float, overloaded: bool
    ) -> "FrontEnd":
        """From what the source says of itself."""
        return cls(
            center_hz=center_hz,
            rate_hz=info.rate_hz,
            rbw_hz=rbw_hz,
            clock_hz=info.clock_hz,
            usable_fraction=info.usable_fraction,
            overloaded=overloaded,
            converter_hz=info.converter_hz,
            inverted=info.inverted,
        )


def mark(peaks: Sequence[Peak], front_end: FrontEnd) -> tuple[Peak, ...]:
    """Mark what the front end may have made.

    Parameters
    ----------
    peaks : sequence of Peak
        Of one spectrum, strongest first.
    front_end : FrontEnd

    Returns
    -------
    tuple of Peak
        The same peaks with their marks.
    """
    return tuple(
        replace(peak, marks=tuple(_marks(peak, peaks[:at], front_end)))
        for at, peak in enumerate(peaks)
    )


def _marks(peak: Peak, stronger: Sequence[Peak], front_end: FrontEnd) -> list[Mark]:
    offset_hz = peak.indicated_hz - front_end.center_hz
    marks = []
    if abs(offset_hz) <= front_end.rbw_hz:
        marks.append(Mark.DC)
    if any(_mirrors(peak, other, front_end) for other in stronger):
        marks.append(Mark.IMAGE)
    if front_end.clock_hz and _is_own_spur(peak, front_end.clock_hz, front_end):
        marks.append(Mark.OWN_SPUR)
    if front_end.overloaded and _made_by_clipping(peak, stronger, front_end):
        marks.append(Mark.OVERLOAD)
    if abs(offset_hz) > front_end.usable_fraction * front_end.rate_hz / 2.0:
        marks.append(Mark.EDGE)
    return marks


def _mirrors(peak: Peak, other: Peak, front_end: FrontEnd) -> bool:
    """An IQ imbalance shows each line again, weaker, on the other side of the centre."""
    miss_hz = peak.indicated_hz + other.indicated_hz - 2.0 * front_end.center_hz
    reach_hz = _reach_hz(peak, other, front_end, 1)
    weaker_db = other.level_dbfs - peak.level_dbfs
    apart = abs(peak.indicated_hz - other.indicated_hz) > 2.0 * front_end.rbw_hz
    return apart and abs(miss_hz) <= reach_hz and weaker_db >= _MIRROR_DB


def _is_own_spur(peak: Peak, clock_hz: float, front_end: FrontEnd) -> bool:
    """A harmonic of the clock that drives the tuner reads n times its nominal value, whatever
    the crystal's error."""
    turn = -1.0 if front_end.inverted else 1.0
    heard_hz = front_end.converter_hz + turn * peak.indicated_hz
    order = round(heard_hz / clock_hz)
    reach_hz = max(front_end.rbw_hz, 3.0 * peak.u_indicated_hz)
    return order > 0 and abs(heard_hz - order * clock_hz) <= min(
        reach_hz, _WIDEST_RBW * front_end.rbw_hz
    )


def _made_by_clipping(peak: Peak, stronger: Sequence[Peak], front_end: FrontEnd) -> bool:
    """Odd harmonics of the strongest line, or third-order products of the two strongest, folded
    at the sample rate; and whatever is too weak to be trusted beside an overload."""
    if not stronger:
        return False
    if stronger[0].level_dbfs - peak.level_dbfs > _TRUSTED_DB:
        return True
    first = stronger[0].indicated_hz - front_end.center_hz
    below_db = stronger[0].level_dbfs - peak.level_dbfs
    products = [
        (abs(order), order * first)
        for order in _CLIPPED_ORDERS
        if below_db >= 20.0 * log10(abs(order)) - _SQUARE_WAVE_DB
    ]
    if len(stronger) > 1 and below_db >= 20.0 * log10(3) - _SQUARE_WAVE_DB:
        second = stronger[1].indicated_hz - front_end.center_hz
        products += [(3, 2.0 * first - second), (3, 2.0 * second - first)]
    offset_hz = peak.indicated_hz - front_end.center_hz
    for order, product_hz in products:
        miss_hz = (offset_hz - product_hz + front_end.rate_hz / 2.0) % front_end.rate_hz
        miss_hz -= front_end.rate_hz / 2.0
        if abs(miss_hz) <= _reach_hz(peak, stronger[0], front_end, order):
            return True
    return False


def _reach_hz(peak: Peak, other: Peak, front_end: FrontEnd, order: int) -> float:
    """How near two places must be to be the same; what is known too badly matches nothing more."""
    spread_hz = 2.0 * hypot(peak.u_indicated_hz, order * other.u_indicated_hz)
    return front_end.rbw_hz + min(spread_hz, order * _WIDEST_RBW * front_end.rbw_hz)


def describe_spur(indicated_hz: float, clock_hz: float) -> str:
    """``3 × 28.8 MHz``: which multiple of the clock a marked peak is."""
    return f"{round(indicated_hz / clock_hz)} × {format_frequency(clock_hz)}"
