"""From what was watched to the answer: does the line stay, how often not, how does it move."""

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from calib.stability import ladder
from sniff.model import Doubles
from sniff.sureness import rate_per_hour
from sniff.units import format_dbfs, format_seconds, format_share
from sniff.watch.nouns import Dropout, WatchResult, WatchVerdict
from sniff.watch.trace import Levels, Trace

_LEAST_SLOPE_S = 30.0  # shorter, a slope per hour would be a guess
_FEWEST_POINTS = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What there is to conclude from.

    Attributes
    ----------
    line_hz : float
        Indicated frequency about which it was looked for, Hz.
    resolution_s : float
    observed_s, unobserved_s : float
    searched_s : float
        Of the observed time, how long the line was looked for in vain, s.
    would_see_dbfs : float or None
        Level from which on it would have been found in that.
    would_do_s : float or None
        A resolution that would do when the line was found too weak for the one asked; infinite
        when none would.
    dropouts : tuple of Dropout
    dropout_count : int
    decisions : tuple of int
        How many there were, and in how many the line was there.
    levels : Levels or None
        While it was there.
    trace : Trace or None
    """

    line_hz: float
    resolution_s: float
    observed_s: float
    unobserved_s: float
    searched_s: float
    would_see_dbfs: float | None
    would_do_s: float | None
    dropouts: tuple[Dropout, ...]
    dropout_count: int
    decisions: tuple[int, int]
    levels: Levels | None
    trace: Trace | None


def conclude(seen: Watched) -> WatchResult:
    """Give the verdict, and the numbers that go with it."""
    verdict, why = _verdict(seen)
    found = seen.trace is not None
    steady_hz = _whole_steps(seen.trace)
    slopes = _slopes(seen.trace)
    return WatchResult(
        verdict=verdict,
        why=why,
        observed_s=seen.observed_s,
        unobserved_s=seen.unobserved_s,
        present_fraction=_present_fraction(seen),
        level_dbfs=_quantile(seen.levels, 0.5),
        level_spread_db=_spread_db(seen.levels),
        level_slope_db_per_hour=slopes[0],
        level_frequency_correlation=_correlation(seen.trace),
        would_see_dbfs=None if found else seen.would_see_dbfs,
        indicated_hz=_mean(steady_hz),
        u_indicated_hz=_spread(steady_hz),
        frequency_hz=None,
        u_hz=None,
        resolution_s=seen.resolution_s,
        dropouts=seen.dropouts,
        dropout_count=seen.dropout_count,
        rate_per_hour=rate_per_hour(seen.dropout_count, seen.observed_s) if found else None,
        drift_hz_per_hour=slopes[1],
        stability=() if seen.trace is None else ladder(steady_hz, step_s=seen.trace.step_s),
    )


def _verdict(seen: Watched) -> tuple[WatchVerdict, str]:
    watched = format_seconds(seen.observed_s)
    if seen.observed_s == 0:
        return WatchVerdict.UNDECIDED, "nothing was observed"
    if seen.would_do_s is not None:
        what = f"too weak to be followed with a resolution of {format_seconds(seen.resolution_s)}"
        remedy = (
            "; more gain or a nearer loop may help"
            if seen.would_do_s == inf
            else f"; --resolution {format_seconds(seen.would_do_s).replace(' ', '')} would do"
        )
        return WatchVerdict.UNDECIDED, what + remedy
    if seen.trace is None:
        if seen.would_see_dbfs is None:
            return WatchVerdict.UNDECIDED, f"{watched} are too short to find it in"
        level = format_dbfs(seen.would_see_dbfs)
        return WatchVerdict.ABSENT, f"not seen in {watched}; a line of {level} would have been"
    if seen.dropout_count or seen.searched_s:
        share = format_share(_present_fraction(seen) or 0.0, digits=2)
        times = {0: "not there at first", 1: "gone once"}.get(
            seen.dropout_count, f"gone {seen.dropout_count} times"
        )
        return (
            WatchVerdict.INTERMITTENT,
            f"{times} in {watched}, there {share} of the time",
        )
    if seen.unobserved_s > seen.observed_s:
        lost = format_seconds(seen.unobserved_s)
        return WatchVerdict.UNDECIDED, f"there while it was observed, but {lost} were lost"
    return WatchVerdict.STEADY, f"there all the time in {watched}"


def _present_fraction(seen: Watched) -> float | None:
    if seen.trace is None or seen.decisions[0] == 0:
        return None
    followed_s = max(0.0, seen.observed_s - seen.searched_s)
    return seen.decisions[1] / seen.decisions[0] * followed_s / seen.observed_s


def _whole_steps(trace: Trace | None) -> Doubles:
    """Mean frequency of the steps in which the line was there all the time, else NaN."""
    if trace is None:
        return np.empty(0)
    whole = (trace.present == 1.0) & (trace.observed > 0.9)
    return np.where(whole, trace.hz, np.nan)


def _mean(hz: Doubles) -> float | None:
    known = hz[np.isfinite(hz)]
    return float(known.mean()) if known.size else None


def _spread(hz: Doubles) -> float | None:
    """What the line wanders is common to its parts and does not average away."""
    known = hz[np.isfinite(hz)]
    return float(known.std(ddof=1)) if known.size > 1 else None


def _quantile(levels: Levels | None, share: float) -> float | None:
    return None if levels is None else levels.quantile(share)


def _spread_db(levels: Levels | None) -> float | None:
    low, high = _quantile(levels, 0.1587), _quantile(levels, 0.8413)
    return None if low is None or high is None else (high - low) / 2.0


def _points(trace: Trace | None) -> tuple[Doubles, Doubles, Doubles]:
    """Times (s), levels (dB) and frequencies (Hz) of the steps with the line all the time."""
    hz = _whole_steps(trace)
    if trace is None:
        return hz, hz, hz
    whole = np.isfinite(hz)
    level_db = 10.0 * np.log10(np.maximum(trace.power[whole], 1e-30))
    return trace.middle_s[whole], level_db, hz[whole]


def _slopes(trace: Trace | None) -> tuple[float | None, float | None]:
    """Of level (dB/h) and frequency (Hz/h): straight lines by least squares."""
    t, level_db, hz = _points(trace)
    if t.size < _FEWEST_POINTS or t[-1] - t[0] < _LEAST_SLOPE_S:
        return None, None
    t = (t - t.mean()) / 3600.0
    power = float((t**2).sum())
    return float((t * level_db).sum()) / power, float((t * (hz - hz.mean())).sum()) / power


def _correlation(trace: Trace | None) -> float | None:
    _, level_db, hz = _points(trace)
    if hz.size < _FEWEST_POINTS:
        return None
    a, b = level_db - level_db.mean(), hz - hz.mean()
    size = sqrt(float((a**2).sum()) * float((b**2).sum()))
    return float((a * b).sum()) / size if size > 0 else None
