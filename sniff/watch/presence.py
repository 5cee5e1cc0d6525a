"""Presence: whether a zoomed line is there, moment by moment, by two thresholds."""

from dataclasses import dataclass
from math import ceil

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles
from sniff.zoom import Zoomed

THERE_ABOVE = 0.4  # of the line's own power: −4 dB
GONE_BELOW = 0.2  # −7 dB
_SHORTEST_S = 2e-3
_MOST_STEPS = 2**19
# A step averages so much energy over noise that a steady line sinks to `GONE_BELOW` by noise alone
# less than once in a million steps: (1 - 0.2) / sqrt(2 / 90) is above five standard deviations.
_STEP_RATIO = 90.0
_FEWEST_STEPS = 8

States = npt.NDArray[np.int8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Presence:
    """When a line was there.

    Attributes
    ----------
    fraction : float
        Part of the observed time in which it was there, 0 to 1.
    absences : tuple of (float, float)
        Start and end of each stretch in which it was not, s since the source was opened.
    power : float
        Median power while it was there, FS².
    step_s : float
        Time resolution, s: shorter absences may be missed.
    """

    fraction: float
    absences: tuple[tuple[float, float], ...]
    power: float
    step_s: float


class PowerCourse:
    """The power of one line in steps of time, in bounded memory.

    Parameters
    ----------
    seconds : float
        Expected length; longer takes get longer steps.
    """

    def __init__(self, seconds: float) -> None:
        self._shortest_s = max(_SHORTEST_S, seconds / _MOST_STEPS)
        self._steps: list[npt.NDArray[np.float32]] = []
        self._rest: Doubles = np.empty(0)
        self._frames = 0
        self._rate_hz = 0.0
        self._begin_s = 0.0
        self._end_s = 0.0

    def take_in(self, zoomed: Zoomed) -> None:
        """Add the next stretch; time between it and the last is unobserved."""
        start_s = zoomed.start_s - 0.5 / zoomed.rate_hz
        if not self._frames:
            self._rate_hz = zoomed.rate_hz
            self._frames = max(1, ceil(self._shortest_s * zoomed.rate_hz))
            self._begin_s = start_s
        else:
            missing = round((start_s - self._end_s) * self._rate_hz)
            if missing > 0:
                self._add(np.full(min(missing, self._frames), np.nan))
                whole = (missing - self._frames) // self._frames
                self._steps.append(np.full(max(0, whole), np.nan, np.float32))
        self._add(np.abs(zoomed.values) ** 2)
        self._end_s = start_s + zoomed.values.size / zoomed.rate_hz

    def presence(self, *, noise_density: float) -> Presence | None:
        """Decide where the line is there.

        It counts as gone when its power sinks below −7 dB of its own level, and as back above
        −4 dB; steps are made just long enough for noise not to look like an absence.

        Parameters
        ----------
        noise_density : float
            Noise about the line, FS²/Hz.

        Returns
        -------
        Presence or None
            None when the line is too weak, or the take too short, to be resolved in time.
        """
        if not self._steps:
            return None
        noise = 0.75 * noise_density * self._rate_hz  # Hann: 1.5 bins of half a frame rate
        power = np.concatenate(self._steps).astype(np.float64) - noise
        if not np.isfinite(power).any():
            return None
        steps = 1
        while True:
            averaged = _averaged(power, steps)
            seen = averaged[np.isfinite(averaged)]
            if seen.size < _FEWEST_STEPS:
                return None
            # The level of a line that is up for a small part of the time shows in the top steps.
            top = float(np.quantile(seen, 1.0 - 2.0 / seen.size))
            level = float(np.median(seen[seen >= top / 2.0])) if top > 0 else 0.0
            ratio = level / noise if noise > 0 else np.inf
            frames = steps * self._frames
            if ratio * frames >= _STEP_RATIO and ratio * np.sqrt(frames) >= 5.0 / GONE_BELOW:
                break
            steps *= 2
        there = _two_thresholds(averaged / level)
        step_s = frames / self._rate_hz
        absences = tuple(
            (self._begin_s + first * step_s, self._begin_s + last * step_s)
            for first, last in _runs(there == 0)
        )
        return Presence(
            fraction=float((there == 1).sum() / (there >= 0).sum()),
            absences=absences,
            power=level,
            step_s=step_s,
        )

    def _add(self, power: Doubles) -> None:
        power = np.concatenate([self._rest, power])
        whole = power.size // self._frames * self._frames
        self._steps.append(_averaged(power[:whole], self._frames).astype(np.float32))
        self._rest = power[whole:]


def _averaged(power: Doubles, steps: int) -> Doubles:
    """Mean of each `steps`; one with an unobserved value is unobserved, and a rest is left out."""
    whole = power.size // steps * steps
    return np.asarray(power[:whole].reshape(-1, steps).mean(axis=1), dtype=np.float64)


def _two_thresholds(relative: Doubles) -> States:
    """1 where there, 0 where not, −1 where unobserved; between the thresholds as before."""
    states = np.full(relative.size, -2, dtype=np.int8)
    states[relative >= THERE_ABOVE] = 1
    states[relative < GONE_BELOW] = 0
    states[~np.isfinite(relative)] = -1
    known = np.flatnonzero(states != -2)
    if known.size == 0:
        return np.ones(relative.size, dtype=np.int8)
    last_known = np.maximum.accumulate(np.where(states != -2, np.arange(states.size), known[0]))
    filled = states[last_known]
    # Just after an unobserved stretch there is no "before": between the thresholds it is there.
    return np.where((states == -2) & (filled == -1), np.int8(1), filled)


def _runs(flags: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
