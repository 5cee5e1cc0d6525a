"""How a frequency went: its course in time, its drift, how it settled after turning on."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sniff.model import Doubles
from sniff.modulation.mean_frequency import MeanFrequency
from sniff.modulation.phase import Run

_MOST_POINTS = 400
_LEAST_STEPS = 4
_SHORTEST_S = 0.01
_QUIET = 4.0  # standard deviations of the later course within which it counts as settled
_LEAST_POINTS = 16


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrequencyCourse:
    """Frequency against time, with a gap wherever the carrier was off.

    Attributes
    ----------
    times_s : ndarray of float64, shape (n,)
        Middle of each stretch, s since the source was opened.
    offset_hz : ndarray of float64, shape (n,)
        Mean frequency from the channel's zero, Hz; NaN at the gaps.
    point_s : float
        Length of each stretch, s.
    """

    times_s: Doubles
    offset_hz: Doubles
    point_s: float

    def __post_init__(self) -> None:
        self.times_s.flags.writeable = False
        self.offset_hz.flags.writeable = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """How the frequency came to rest after the carrier was turned on.

    Attributes
    ----------
    start_hz : float
        First frequency less the later one, Hz.
    after_s : float
        Time from turning on until it stayed within the later course's own scatter, s.
    """

    start_hz: float
    after_s: float


def frequency_course(runs: Sequence[Run]) -> FrequencyCourse:
    """Frequency against time in at most some 400 stretches of at least 10 ms.

    Parameters
    ----------
    runs : sequence of Run
        While the carrier was on.
    """
    total_s = sum(run.seconds for run in runs)
    step_s = runs[0].step_s
    hop = max(_LEAST_STEPS, round(max(_SHORTEST_S, total_s / _MOST_POINTS) / step_s))
    # Runs shorter than three stretches still get one point each.
    times: list[Doubles] = []
    values: list[Doubles] = []
    for run in runs:
        if run.phase.size < 3 * hop:
            slope = (run.phase[-1] - run.phase[0]) / ((run.phase.size - 1) * step_s)
            made_at, made = np.array([run.seconds / 2.0]), np.array([slope])
        else:
            rows = run.phase[: run.phase.size // hop * hop].reshape(-1, hop)
            window = 0.5 - 0.5 * np.cos(np.pi * (np.arange(2 * hop) + 0.5) / hop)
            halves = rows @ (window.reshape(2, hop).T / hop)
            means = halves[:-1, 0] + halves[1:, 1]
            made = np.diff(means) / (hop * step_s)
            made_at = (np.arange(made.size) + 1.5) * hop * step_s
        times += [made_at + run.start_s, np.array([run.start_s + run.seconds])]
        values += [made, np.array([np.nan])]
    return FrequencyCourse(
        times_s=np.concatenate(times)[:-1],
        offset_hz=np.concatenate(values)[:-1],
        point_s=hop * step_s,
    )


def drift_of(means: Sequence[MeanFrequency], runs: Sequence[Run]) -> float | None:
    """Even change of the frequency over the whole time, Hz/s; None when there is no whole time.

    Of one stretch the curvature of its phase; of several a line through their means, by length.
    """
    if len(means) == 1:
        return means[0].drift_hz_per_s
    t = np.array([run.start_s + run.seconds / 2.0 for run in runs])
    f = np.array([mean.offset_hz for mean in means])
    weights = np.array([mean.seconds for mean in means])
    t = t - np.average(t, weights=weights)
    spread = float((weights * t**2).sum())
    return float((weights * t * f).sum()) / spread if spread > 0 else None


def settling_of(run: Run, course: FrequencyCourse) -> Settling | None:
    """How a carrier settled that was turned on during the take; None when nothing shows.

    Parameters
    ----------
    run : Run
        From turning on.
    course : FrequencyCourse
        Which holds it.
    """
    inside = (course.times_s >= run.start_s) & (course.times_s < run.start_s + run.seconds)
    f = course.offset_hz[inside]
    t = course.times_s[inside]
    known = np.isfinite(f)
    f, t = f[known], t[known]
    if f.size < _LEAST_POINTS:
        return None
    later = f[f.size // 2 :]
    rest = float(np.median(later))
    scatter = 1.4826 * float(np.median(np.abs(later - rest)))  # of a normal distribution
    off = np.flatnonzero(np.abs(f - rest) > _QUIET * max(scatter, 1e-12))
    first = off[off < f.size // 2]
    if first.size == 0 or first[0] != 0:
        return None
    # Off from the first point on: until the first that is not.
    inside_again = np.flatnonzero(~np.isin(np.arange(f.size), off))
    until = int(inside_again[0]) if inside_again.size else f.size - 1
    return Settling(start_hz=float(f[0] - rest), after_s=float(t[until] - run.start_s))
