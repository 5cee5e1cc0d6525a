"""Whether failures come evenly: does it get worse, do they come in bursts, at what time of day."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from math import erfc, sqrt
from typing import Protocol

import numpy as np

from sniff.sureness import CONFIDENCE, HOUR_S, RatePerHour, rate_per_hour

FEWEST_FOR_TREND = 4
"""Below so many the sum of uniform times is not normal enough for the test's p."""
_PER_PIECE = 5  # expected count from which chi² holds (Cochran, Biometrics 10, 1954)
_FEWEST_PIECES = 3
_BURST_P = 0.01
_EXPECTED_PER_HOUR = 2.0

Stretch = tuple[float, float]


def in_observed_time(times_s: Iterable[float], stretches: Sequence[Stretch]) -> tuple[float, ...]:
    """The same moments on a clock that stands still while nothing is observed, s.

    Parameters
    ----------
    times_s : iterable of float
    stretches : sequence of (float, float)
        Beginning and end of what was observed, in order, not overlapping.
    """
    if not stretches:
        return ()
    starts = np.array([start for start, _ in stretches])
    lengths = np.array([end - start for start, end in stretches])
    before = np.concatenate([[0.0], np.cumsum(lengths)])
    at = np.asarray(list(times_s), dtype=np.float64)
    which = np.maximum(np.searchsorted(starts, at, side="right") - 1, 0)
    inside = np.clip(at - starts[which], 0.0, lengths[which])
    return tuple((before[which] + inside).tolist())


class Trend(str, Enum):
    """Which way a rate goes."""

    BETTER = "better"
    WORSE = "worse"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendTest:
    """Whether failures get rarer or more frequent.

    Attributes
    ----------
    trend : Trend
    z : float or None
        Laplace's statistic: positive when failures crowd towards the end; None when too few.
    p : float or None
        Chance of as large a |z| at a steady rate.
    why : str
        In a sentence.
    """

    trend: Trend
    z: float | None
    p: float | None
    why: str


def laplace_trend(
    times_s: Sequence[float], observed_s: float, *, confidence: float = CONFIDENCE
) -> TrendTest:
    """Laplace's test of a steady rate against one that rises or falls.

    At a steady rate the times are uniform over the observation, so
    ``z = sqrt(12 n) * (mean(t) / T - 1/2)`` is nearly standard normal
    (NIST/SEMATECH e-Handbook 8.2.3.4, for an observation that ended by time).

    Parameters
    ----------
    times_s : sequence of float
        Moments of failure in observed time, s.
    observed_s : float
        Length of the observation, s.
    """
    count = len(times_s)
    if count < FEWEST_FOR_TREND or observed_s <= 0:
        why = f"{count} drop-outs are too few to tell a trend; {FEWEST_FOR_TREND} are needed"
        return TrendTest(trend=Trend.UNDECIDED, z=None, p=None, why=why)
    z = sqrt(12.0 * count) * (sum(times_s) / count / observed_s - 0.5)
    p = erfc(abs(z) / sqrt(2.0))
    if p > 1.0 - confidence:
        why = "no trend can be shown: they came about as often at the end as at the beginning"
        return TrendTest(trend=Trend.UNDECIDED, z=z, p=p, why=why)
    if z > 0:
        return TrendTest(trend=Trend.WORSE, z=z, p=p, why="it gets worse: more towards the end")
    return TrendTest(trend=Trend.BETTER, z=z, p=p, why="it gets better: fewer towards the end")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bursts:
    """Whether failures come in bursts.

    Attributes
    ----------
    dispersion : float
        Variance over mean of the counts in pieces of equal length: 1 by chance alone.
    p : float
        Chance of as much or more at a steady rate.
    in_bursts : bool
        Then every interval of a rate is too narrow, and a quiet time shows less than it says.
    """

    dispersion: float
    p: float
    in_bursts: bool


def bursts(times_s: Sequence[float], observed_s: float) -> Bursts | None:
    """Fisher's index of dispersion: the sum of ``(x - m)² / m`` is chi² with one degree less.

    Returns
    -------
    Bursts or None
        None where there are too few to tell.
    """
    from scipy.special import chdtrc

    pieces = len(times_s) // _PER_PIECE
    if pieces < _FEWEST_PIECES or observed_s <= 0:
        return None
    counts, _ = np.histogram(times_s, bins=pieces, range=(0.0, observed_s))
    mean = counts.mean()
    chi2 = float(((counts - mean) ** 2).sum() / mean)
    p = float(chdtrc(pieces - 1, chi2))
    return Bursts(dispersion=chi2 / (pieces - 1), p=p, in_bursts=p < _BURST_P)


class Stay(Protocol):
    """A short time of observation, such as a minute."""

    @property
    def hour(self) -> int:
        """Hour of the local day, 0 to 23."""
        ...

    @property
    def day(self) -> int:
        """Number of the local day."""
        ...

    @property
    def observed_s(self) -> float:
        """How much of it was observed, s."""
        ...

    @property
    def dropouts(self) -> int:
        """How many began in it."""
        ...

    @property
    def median_dbfs(self) -> float | None:
        """Level of the line, dBFS."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class HourOfDay:
    """What happened between `hour` and the next, over all days.

    Attributes
    ----------
    hour : int
    rate : RatePerHour or None
        None when nothing was observed at that time of day.
    level_dbfs : float or None
        Mean of the median levels, by how long each was observed, dBFS.
    """

    hour: int
    rate: RatePerHour | None
    level_dbfs: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeOfDay:
    """Failures by time of day.

    Attributes
    ----------
    hours : tuple of HourOfDay
        All 24.
    depends : bool or None
        Whether the rate depends on the time of day; None when that cannot be told.
    p : float or None
        Chance of as uneven a spread at one rate.
    why : str
    """

    hours: tuple[HourOfDay, ...]
    depends: bool | None
    p: float | None
    why: str


def by_time_of_day(stays: Iterable[Stay], *, confidence: float = CONFIDENCE) -> TimeOfDay:
    """Sort short times of observation by the hour, and test for evenness by chi²."""
    observed_s, events = np.zeros(24), np.zeros(24, dtype=np.int64)
    weights, levels, days = np.zeros(24), np.zeros(24), set()
    for stay in stays:
        observed_s[stay.hour] += stay.observed_s
        events[stay.hour] += stay.dropouts
        if stay.observed_s > 0:
            days.add(stay.day)
        if stay.median_dbfs is not None:
            weights[stay.hour] += stay.observed_s
            levels[stay.hour] += stay.observed_s * stay.median_dbfs
    hours = tuple(
        HourOfDay(
            hour=hour,
            rate=rate_per_hour(int(events[hour]), float(observed_s[hour]), confidence=confidence),
            level_dbfs=float(levels[hour] / weights[hour]) if weights[hour] > 0 else None,
        )
        for hour in range(24)
    )
    depends, p, why = _evenness(observed_s, events, len(days), confidence)
    return TimeOfDay(hours=hours, depends=depends, p=p, why=why)


def _evenness(
    observed_s: np.ndarray, events: np.ndarray, days: int, confidence: float
) -> tuple[bool | None, float | None, str]:
    from scipy.special import chdtrc

    # An hour seen for moments only has no expectation to speak of.
    used = observed_s >= 0.1 * HOUR_S
    total, watched_s = int(events[used].sum()), float(observed_s[used].sum())
    if int(used.sum()) < 2 or days < 2:
        why = "time of day and passing time cannot be told apart before the second day"
        return None, None, why
    expected = total * observed_s[used] / watched_s
    if expected.mean() < _EXPECTED_PER_HOUR:
        return None, None, f"{total} drop-outs are too few to tell by the time of day"
    chi2 = float(((events[used] - expected) ** 2 / expected).sum())
    p = float(chdtrc(int(used.sum()) - 1, chi2))
    if p > 1.0 - confidence:
        return False, p, "no dependence on the time of day can be shown"
    return True, p, "it depends on the time of day: look for heat, supply or people at that time"
