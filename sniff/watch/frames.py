"""Frames: a line's power and frequency against time.

The decimated band is cut into rows; two neighbouring rows under a Hann window make a frame, and a
decision averages the power of some frames. All that is worked out of some rows depends on these
rows alone, so that a change of the track between two calls leaves no seam.
"""

from dataclasses import dataclass
from math import pi
from typing import TypeVar

import numpy as np

from sniff.model import ComplexSamples, Doubles
from sniff.zoom import Complexes

_Numbers = TypeVar("_Numbers", Doubles, Complexes)

_NOISE_BANDWIDTH = 0.75
"""Of a frame, in frame rates: a Hann window's 1.5 bins of half a frame rate each."""

_PER_RESOLUTION = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How the band is cut.

    Attributes
    ----------
    rate_hz : float
        Of the decimated band, Hz.
    hop : int
        Values from frame to frame.
    averaged : int
        Frames that a decision averages.
    """

    rate_hz: float
    hop: int
    averaged: int

    @classmethod
    def of(cls, *, resolution_s: float, modulation_hz: float, rate_hz: float) -> "Grid":
        """Frames four times as often as the resolution asks, or as the line's modulation does.

        The filter passes ± the frame rate / 2 at −6 dB; the modulation must lie within half of
        that, or it would look like a change of level.
        """
        frame_hz = max(_PER_RESOLUTION / resolution_s, 4.0 * modulation_hz)
        hop = max(2, int(rate_hz / frame_hz))
        averaged = max(2, round(rate_hz / hop * resolution_s / 2.0))
        return cls(rate_hz=rate_hz, hop=hop, averaged=averaged)

    @property
    def frame_hz(self) -> float:
        """Frames, and decisions, per second."""
        return self.rate_hz / self.hop

    @property
    def step_s(self) -> float:
        """From one decision to the next, s."""
        return self.hop / self.rate_hz

    def noise(self, density: float) -> float:
        """Noise power in a frame, from its density (FS²/Hz)."""
        return _NOISE_BANDWIDTH * self.frame_hz * density


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frames:
    """What a line did over some decisions.

    Attributes
    ----------
    start_s : float
        Time of the middle of the first decision, s.
    power : ndarray of float64, shape (n,)
        The noise's mean still in it, FS².
    hz : ndarray of float64, shape (n,)
        Frequency from where the band has its zero, Hz, averaged as the power is.
    turned_hz : ndarray of float64, shape (n,)
        The same from the last frame to this, by phase: a mean over these is exact.
    """

    start_s: float
    power: Doubles
    hz: Doubles
    turned_hz: Doubles


class Cutter:
    """Cuts rows of the band into frames.

    Parameters
    ----------
    grid : Grid
    """

    def __init__(self, grid: Grid) -> None:
        self._grid = grid
        n = np.arange(2 * grid.hop) + 0.5
        window = (0.5 - 0.5 * np.cos(pi * n / grid.hop)) / grid.hop
        self._halves = window.reshape(2, grid.hop).T.astype(np.complex64)

    def cut(self, rows: ComplexSamples, *, track_hz: float, start_s: float) -> Frames:
        """Frames of some rows, shape (n + averaged, hop): n decisions.

        Parameters
        ----------
        rows : ndarray of complex64
            The first `averaged` of them are the last of the call before.
        track_hz : float
            Where the line is followed, from the band's zero, Hz.
        start_s : float
            Time of the first value, s.
        """
        grid = self._grid
        turns = (track_hz / grid.rate_hz) % 1.0
        # Two short turning tables in place of one long: exponentials cost more than products.
        inner = np.exp(-2j * pi * turns * np.arange(grid.hop)).astype(np.complex64)
        outer = np.exp(-2j * pi * ((turns * grid.hop * np.arange(rows.shape[0])) % 1.0))
        parts = (rows @ (inner[:, None] * self._halves)) * outer[:, None]
        z = parts[:-1, 0] + parts[1:, 1]
        pairs = z[1:] * z[:-1].conj()
        power = _sliding(np.abs(z) ** 2, grid.averaged) / grid.averaged
        joint = _sliding(pairs, grid.averaged - 1)
        to_hz = grid.frame_hz / (2.0 * pi)
        middle = grid.hop * (grid.averaged + 1) / 2.0 - 0.5
        return Frames(
            start_s=start_s + middle / grid.rate_hz,
            power=power,
            hz=track_hz + to_hz * np.angle(joint),
            turned_hz=track_hz + to_hz * np.angle(pairs[grid.averaged - 2 :]),
        )


def _sliding(values: _Numbers, length: int) -> _Numbers:
    """Sums of `length` successive values."""
    sums = np.concatenate([np.zeros(1, values.dtype), np.cumsum(values)])
    difference: _Numbers = sums[length:] - sums[:-length]
    return difference
