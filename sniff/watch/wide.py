"""The wider look: where a line went that is not in its place, and what stands beside it anyway.

A hand near a coil moves an oscillator by kilohertz in milliseconds, out of any filter that is
narrow enough to tell a drop-out from noise. Short spectra of the whole band then say where it went.
What was in the band while the line was in its place is not the line.
"""

from dataclasses import dataclass
from math import ceil, log

import ducc0
import numpy as np
import numpy.typing as npt

from sniff.model import ComplexSamples, Doubles
from sniff.watch.band import CLEAN
from sniff.watch.frames import Grid

Flags = npt.NDArray[np.bool_]

_PADDING = 2  # a line half-way between bins loses 0.4 dB then, and 1.4 dB without
_LOBE_BINS = 2.0  # half-width of a Hann window's main lobe, unpadded bins
_STANDS = 4.0  # a place must show this many times what stands there anyway
_CHANCE = 1e-7  # that noise alone shows a line anywhere in one spectrum
_FORGET = 0.998  # per call; some seconds
_SAMPLES = 16
_LEARN = 0.01  # of a difference in noise, per call
_FEWEST_BESIDE = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """Where the line was in some spectra.

    Attributes
    ----------
    power : ndarray of float64, shape (n,)
        Its power, the noise taken off, FS²; 0 where none was found.
    hz : ndarray of float64, shape (n,)
        Frequency from the band's zero, Hz; NaN where none was found.
    """

    power: Doubles
    hz: Doubles


class WideLook:
    """Short spectra of the band.

    Parameters
    ----------
    grid : Grid
        A spectrum spans the samples of one decision.
    density : float
        Noise about the line at first, FS²/Hz; later it follows what is seen beside the line.
    reach_hz : float
        How far from its track a line is looked for, Hz.
    view_hz : tuple of float
        Lowest and highest frequency that the source shows, from the band's zero, Hz.
    """

    def __init__(
        self, grid: Grid, *, density: float, reach_hz: float, view_hz: tuple[float, float]
    ) -> None:
        self._reach_hz = reach_hz
        span = (grid.averaged + 1) * grid.hop
        size = 1 << ceil(np.log2(_PADDING * span))
        window = np.hanning(span + 2)[1:-1]
        self._window = (window / window.sum()).astype(np.float32)
        self._size = size
        self._span_hz = grid.rate_hz / span
        self._noise_hz = grid.rate_hz * float((self._window**2).sum())
        self._hz = np.fft.fftfreq(size, 1.0 / grid.rate_hz)
        low_hz, high_hz = view_hz
        clean = np.abs(self._hz) <= CLEAN * grid.rate_hz
        self._usable = clean & (self._hz > low_hz) & (self._hz < high_hz)
        self._independent = max(1.0, float(self._usable.sum()) * span / size)
        self._stands = np.zeros(size)
        self._over_beside: float | None = None
        self.density = density

    def learn(self, windows: ComplexSamples, *, track_hz: float, first: bool = False) -> None:
        """Take in what stands in the band while the line is in its place.

        Parameters
        ----------
        windows : ndarray of complex64, shape (n, span)
        track_hz : float
        first : bool
            Take in all of them, not just a sample.
        """
        every = 1 if first else max(1, windows.shape[0] // _SAMPLES)
        power = self._spectra(windows[::every])
        beside = self._usable & ~self._near(track_hz)
        highest = power.max(axis=0)
        self._stands[beside] = np.maximum(_FORGET * self._stands[beside], highest[beside])
        if beside.sum() >= _FEWEST_BESIDE:
            # Over bins and spectra, so that neither lines nor clicks count; for the exponential
            # distribution of a bin's power the median is ln 2 of the mean.
            self._learn_noise(float(np.median(power[:, beside])) / log(2.0) / self._noise_hz)

    def _learn_noise(self, density: float) -> None:
        """Noise about the line may differ from what is beside it, but rises and falls with it."""
        if self._over_beside is None:
            self._over_beside = self.density / density if density > 0 else 1.0
        self.density += _LEARN * (self._over_beside * density - self.density)

    def find(self, windows: ComplexSamples, *, track_hz: float, least: float) -> Found:
        """Look for the line in some spectra.

        Parameters
        ----------
        windows : ndarray of complex64, shape (n, span)
        track_hz : float
            Where it was followed last, from the band's zero, Hz.
        least : float
            Power from which on it counts, FS².
        """
        power = self._spectra(windows)
        noise = self.density * self._noise_hz
        floor = np.maximum(least + noise, noise * log(self._independent / _CHANCE))
        floor = np.maximum(floor, _STANDS * np.where(self._near(track_hz), 0.0, self._stands))
        away = np.abs(self._hz - track_hz) > self._reach_hz
        power[:, ~self._usable | away] = 0.0
        power[power < floor] = 0.0
        top = power.argmax(axis=1)
        rows = np.arange(top.size)
        highest = power[rows, top]
        found = highest > 0
        bins_hz = self._hz[1] - self._hz[0]
        shift = _vertex(power[rows, top - 1], highest, power[rows, (top + 1) % self._size])
        return Found(
            power=np.where(found, highest - noise, 0.0),
            hz=np.where(found, self._hz[top] + shift * bins_hz, np.nan),
        )

    def _spectra(self, windows: ComplexSamples) -> Doubles:
        padded = np.zeros((windows.shape[0], self._size), np.complex64)
        np.multiply(windows, self._window, out=padded[:, : windows.shape[1]])
        ducc0.fft.c2c(padded, axes=(1,), out=padded, nthreads=1)
        return np.asarray(padded.real**2 + padded.imag**2, dtype=np.float64)

    def _near(self, track_hz: float) -> Flags:
        return np.asarray(np.abs(self._hz - track_hz) < 2.0 * _LOBE_BINS * self._span_hz)


def _vertex(low: Doubles, mid: Doubles, high: Doubles) -> Doubles:
    """Where a parabola through the logarithms of three bins is highest, bins from the middle."""
    floor = 1e-30
    a, b, c = (np.log(np.maximum(part, floor)) for part in (low, mid, high))
    bend = np.minimum(a - 2.0 * b + c, -1e-9)
    return np.clip(0.5 * (a - c) / bend, -0.5, 0.5)
