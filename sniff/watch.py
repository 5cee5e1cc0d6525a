"""Presence: whether a zoomed line is there, moment by moment, by two thresholds."""

from dataclasses import dataclass
from math import ceil

import numpy as np

from sniff.model import Doubles
from sniff.zoom import Zoomed

_ON = 0.4  # of the line's own power: −4 dB
_OFF = 0.2  # −7 dB
_SHORTEST_S = 2e-3
# A step averages so much energy over noise that a steady line sinks to `_OFF` by noise alone less
# than once in a million steps: (1 - 0.2) / sqrt(2 / 90) is more than five standard deviations.
_STEP_RATIO = 90.0
_FEWEST_STEPS = 8


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


def presence(zoomed: Zoomed, *, noise_density: float) -> Presence | None:
    """Follow the power of a line and decide where it is there.

    Power is averaged over steps just long enough for noise not to look like an absence; the line
    counts as gone when it sinks below −7 dB of its own level, and as back above −4 dB.

    Parameters
    ----------
    zoomed : Zoomed
        The line, with a filter that its modulation passes.
    noise_density : float
        Noise about it, FS²/Hz.

    Returns
    -------
    Presence or None
        None when the line is too weak, or the take too short, to be resolved in time.
    """
    noise = 0.75 * noise_density * zoomed.rate_hz  # a Hann window's 1.5 bins of half a frame rate
    power = np.abs(zoomed.values) ** 2 - noise
    if not np.isfinite(power).any():
        return None
    steps = max(1, ceil(_SHORTEST_S * zoomed.rate_hz))
    while True:
        averaged = _averaged(power, steps)
        seen = averaged[np.isfinite(averaged)]
        if seen.size < _FEWEST_STEPS:
            return None
        # The level of a line that is up for a small part of the time shows in the topmost steps.
        top = float(np.quantile(seen, 1.0 - 2.0 / seen.size))
        level = float(np.median(seen[seen >= top / 2.0])) if top > 0 else 0.0
        ratio = level / noise if noise > 0 else np.inf
        if ratio * steps >= _STEP_RATIO and ratio * np.sqrt(steps) >= 5.0 / _OFF:
            break
        steps *= 2
    there = _two_thresholds(averaged / level)
    step_s = steps / zoomed.rate_hz
    begin_s = zoomed.start_s - 0.5 / zoomed.rate_hz
    absences = tuple(
        (begin_s + first * step_s, begin_s + last * step_s) for first, last in _runs(there == 0)
    )
    return Presence(
        fraction=float((there == 1).sum() / (there >= 0).sum()),
        absences=absences,
        power=level,
        step_s=step_s,
    )


def _averaged(power: Doubles, steps: int) -> Doubles:
    whole = power.size // steps * steps
    # A step with an unobserved frame is unobserved.
    return np.asarray(power[:whole].reshape(-1, steps).mean(axis=1), dtype=np.float64)


def _two_thresholds(relative: Doubles) -> np.ndarray:
    """1 where there, 0 where not, −1 where unobserved; between the thresholds as before."""
    states = np.full(relative.size, -2, dtype=np.int8)
    states[relative >= _ON] = 1
    states[relative < _OFF] = 0
    states[~np.isfinite(relative)] = -1
    known = np.flatnonzero(states != -2)
    if known.size == 0:
        return np.ones(relative.size, dtype=np.int8)
    last_known = np.maximum.accumulate(np.where(states != -2, np.arange(states.size), known[0]))
    filled = states[last_known]
    # Just after an unobserved stretch there is no "before": between the thresholds it is there.
    return np.where((states == -2) & (filled == -1), 1, filled)


def _runs(flags: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
