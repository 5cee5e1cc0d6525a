"""The page's spectrum: about thirty a second, each reduced to as many points as a screen shows."""

from dataclasses import dataclass, replace
from math import log2

import numpy as np

from calib.correction import Correction
from sniff.live.nouns import Cells
from sniff.model import IQBlock, Spectrum
from sniff.resolution import SpectrumSettings
from sniff.spectrum import Welch
from sniff.windows import Window

POINTS = 1024
FRAMES_PER_S = 30.0
FLOOR_DBFS = -140.0
STEP_DB = 0.5
_COARSEST, _FINEST = 1024, 65_536  # bins of a segment
_DEFAULT_BINS = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeView:
    """What of the spectrum is shown.

    Attributes
    ----------
    span_hz : float or None
        Width about the centre, Hz; None for all.
    bins : int
        Of a segment; the RBW follows.
    hold : bool
        Whether the largest of each point is kept as well.
    """

    span_hz: float | None = None
    bins: int = _DEFAULT_BINS
    hold: bool = False

    def rbw_hz(self, rate_hz: float) -> float:
        """The RBW that comes of it, Hz."""
        return Window.HANN.enbw_bins * rate_hz / self.bins


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """A spectrum as points; `first_hz` and `step_hz` are corrected, Hz."""

    first_hz: float
    step_hz: float
    levels: Cells
    hold: Cells | None
    rbw_hz: float


def bins_for(rbw_hz: float, rate_hz: float) -> int:
    """The power of two whose RBW comes nearest to what was asked, within what the page does."""
    wanted = Window.HANN.enbw_bins * rate_hz / max(rbw_hz, 1e-9)
    return int(2 ** round(np.clip(log2(wanted), log2(_COARSEST), log2(_FINEST))))


class Scope:
    """Spectra of one tuning, one after the other.

    Parameters
    ----------
    rate_hz, center_hz : float
        Of the blocks to come.
    correction : Correction
    """

    def __init__(self, *, rate_hz: float, center_hz: float, correction: Correction) -> None:
        self._rate_hz = rate_hz
        self._center_hz = center_hz
        self._correction = correction
        self._view = ScopeView()
        self._held: Cells | None = None
        self._pushed = self._in_welch = 0
        self._welch = self._fresh()
        self._due = 0.0

    @property
    def view(self) -> ScopeView:
        """As it was set."""
        return self._view

    def show(self, view: ScopeView) -> None:
        """Show it so from the next frame on; what was held is let go when the points change."""
        if replace(view, hold=False) != replace(self._view, hold=False) or not view.hold:
            self._held = None
        refine = view.bins != self._view.bins
        self._view = view
        if refine:
            self._welch = self._fresh()

    def push(self, block: IQBlock) -> Picture | None:
        """Take in a block; gives a picture when one is due, the newest if several are."""
        self._welch.push(block)
        self._pushed += block.samples.size
        self._in_welch += block.samples.size
        # A segment at least, and not more often than a screen can show. The next one is due by the
        # clock of the samples, so that blocks of any length give that many a second.
        if self._pushed < self._due or self._in_welch < self._view.bins:
            return None
        period = self._rate_hz / FRAMES_PER_S
        self._due = max(self._due + period, self._pushed - period)
        spectrum = self._welch.result()
        self._welch = self._fresh()
        return self._picture(spectrum)

    def _fresh(self) -> Welch:
        self._in_welch = 0
        settings = SpectrumSettings(segment=self._view.bins)
        return Welch(settings, rate_hz=self._rate_hz, center_hz=self._center_hz)

    def _picture(self, spectrum: Spectrum) -> Picture:
        power = spectrum.tone_power
        wanted = self._view.span_hz or self._rate_hz
        shown = int(np.clip(round(wanted / spectrum.bin_hz), 64, power.size))
        first = (power.size - shown) // 2
        power = power[first : first + shown]
        per_point = max(1, -(-shown // POINTS))
        points = shown // per_point
        # The largest of a point's bins: a narrow line must not sink in the average.
        peaks = power[: points * per_point].reshape(points, per_point).max(axis=1)
        dbfs = 10.0 * np.log10(np.maximum(peaks, 1e-30))
        levels = np.clip((dbfs - FLOOR_DBFS) / STEP_DB, 0, 255).astype(np.uint8)
        if self._view.hold:
            same = self._held is not None and self._held.size == levels.size
            self._held = (
                np.maximum(self._held, levels) if same and self._held is not None else levels
            )
        middle_hz = spectrum.first_hz + (first + (per_point - 1) / 2.0) * spectrum.bin_hz
        step_hz = per_point * spectrum.bin_hz
        return Picture(
            first_hz=self._correction.apply(middle_hz, 0.0).value_hz,
            step_hz=step_hz * self._correction.factor,
            levels=levels,
            hold=self._held if self._view.hold else None,
            rbw_hz=spectrum.rbw_hz,
        )
