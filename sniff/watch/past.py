"""The near past of a line: frames in full for some seconds, means for some more."""

from collections import deque
from math import ceil, floor, nan

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles
from sniff.watch.kind import SMOOTH_S

Floats = npt.NDArray[np.float32]

_SLOW_STEP_S = 0.05
_SLOW_S = 20.0


class NearPast:
    """Level and frequency of the last decisions, at equal distances, a gap filled with NaN.

    Parameters
    ----------
    step_s : float
        From one to the next, s.
    seconds : float
        How much is kept at least, s.
    """

    def __init__(self, *, step_s: float, seconds: float) -> None:
        self.step_s = step_s
        self._longest = round(seconds / step_s) + 1
        self._level: Doubles = np.empty(0)
        self._hz: Floats = np.empty(0, np.float32)
        self._start_s = 0.0

    @property
    def end_s(self) -> float:
        """Time after the last decision, s."""
        return self._start_s + self._level.size * self.step_s

    def add(self, start_s: float, level: Doubles, hz: Doubles) -> None:
        """Add the next decisions: level (FS²), and frequency (Hz) or NaN."""
        missing = round((start_s - self.end_s) / self.step_s) if self._level.size else 0
        if not 0 <= missing <= self._longest:
            self._level, self._hz, missing = np.empty(0), np.empty(0, np.float32), 0
        gap = np.full(missing, nan)
        joined = np.concatenate([self._level, gap, level])
        self._level = joined[-self._longest - level.size :]
        freq = np.concatenate([self._hz, gap.astype(np.float32), hz.astype(np.float32)])
        self._hz = freq[-self._longest - level.size :]
        # From its end backwards, so that rounding does not add up.
        self._start_s = start_s + (level.size - self._level.size) * self.step_s

    def between(self, from_s: float, to_s: float) -> tuple[float, Doubles, Floats]:
        """Time of the first, levels and frequencies of the decisions kept in a stretch of time."""
        # A millionth of a step is left out, or rounding would shift a border that falls on one.
        first = max(0, ceil((from_s - self._start_s) / self.step_s - 1e-6))
        last = max(0, floor((to_s - self._start_s) / self.step_s + 1e-6) + 1)
        return (
            self._start_s + first * self.step_s,
            self._level[first:last].copy(),
            self._hz[first:last].copy(),
        )


class SlowPast:
    """Means of the frequency over some 50 ms while the line was there, and how far it swung."""

    def __init__(self, *, step_s: float) -> None:
        self._points: deque[tuple[float, float, float]] = deque(
            maxlen=round(_SLOW_S / _SLOW_STEP_S)
        )
        self._smooth = max(1, round(SMOOTH_S / step_s))
        self._frames = max(4 * self._smooth, round(_SLOW_STEP_S / step_s))
        self._step_s = step_s
        self._waiting: Doubles = np.empty(0)

    def add(self, end_s: float, hz: Doubles) -> None:
        """Add frequencies of successive frames in which the line was there, up to a moment."""
        self._waiting = np.concatenate([self._waiting, hz])
        while self._waiting.size >= self._frames:
            part, self._waiting = self._waiting[: self._frames], self._waiting[self._frames :]
            whole = part.size // self._smooth * self._smooth
            means = part[:whole].reshape(-1, self._smooth).mean(axis=1)
            at_s = end_s - (self._waiting.size + self._frames / 2.0) * self._step_s
            self._points.append((at_s, float(part.mean()), float(np.ptp(means)) / 2.0))

    def before(self, moment_s: float) -> tuple[Doubles, Doubles, Doubles]:
        """Times before a moment (negative), mean frequencies, and half the range of each, Hz."""
        kept = [(at_s - moment_s, f, swing) for at_s, f, swing in self._points if at_s < moment_s]
        table = np.array(kept, dtype=np.float64).reshape(-1, 3)
        return table[:, 0], table[:, 1], table[:, 2]
