"""From a soak's notebook to its answer: how often, how sure, against before, when, which way."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timezone, tzinfo
from math import sqrt
from statistics import median

from sniff.plainwords import bursts_in_words, improvement_in_words, rate_in_words
from sniff.regularity import (
    Bursts,
    TimeOfDay,
    TrendTest,
    bursts,
    by_time_of_day,
    in_observed_time,
    laplace_trend,
)
from sniff.soak.nouns import Kept, KeptDropout, Minute
from sniff.sureness import CONFIDENCE, Improvement, RatePerHour, improvement, rate_per_hour
from sniff.units import format_seconds, format_times
from sniff.watch.nouns import WatchVerdict

DROPOUTS_SHOWN = 2000
GAPS_SHOWN = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Time that was not observed."""

    start_utc: datetime
    duration_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SoakedDropout:
    """A drop-out; `KeptDropout`, with its time as people write it."""

    start_utc: datetime
    duration_s: float | None
    depth_db: float | None
    pull_hz: float
    kind: str | None
    recording: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SoakResult:
    """The answer of a soak, field by field what ``--json`` prints.

    Attributes
    ----------
    verdict : WatchVerdict
    why : str
        The sentence that goes with it.
    line_hz : float
    began_utc, ended_utc : datetime or None
        Of what was observed first and last.
    runs : int
        How often the program was started.
    observed_s, unobserved_s, present_s : float
        `unobserved_s` counts from the first to the last moment that was observed.
    present_fraction : float or None
        Part of the time of the minutes in which the line was there.
    level_dbfs : float or None
        Median of the minutes' levels.
    level_spread_db, offset_spread_hz : float or None
        Standard deviation of the minutes' levels, and frequencies.
    offset_hz : float or None
        Median of how far above the stated frequency it stood.
    dropout_count : int
    kinds : dict
        How many of each kind, ``unknown`` among them.
    longest_s, median_s : float or None
        Of the drop-outs that ended.
    rate_per_hour : RatePerHour or None
        Per hour in which the line was there: one that is gone cannot drop out.
    says : str or None
        The rate in words.
    against_before : Improvement or None
    says_against_before : str or None
    trend : TrendTest
    bursts : Bursts or None
    says_bursts : str or None
    time_of_day : TimeOfDay
        By the local time of the machine that reports.
    gaps : tuple of Gap
        The longest, in order of time.
    recording_bytes : int
    dropouts : tuple of SoakedDropout
        The latest ones.
    """

    verdict: WatchVerdict
    why: str
    line_hz: float
    began_utc: datetime | None
    ended_utc: datetime | None
    runs: int
    observed_s: float
    unobserved_s: float
    present_s: float
    present_fraction: float | None
    level_dbfs: float | None
    level_spread_db: float | None
    offset_hz: float | None
    offset_spread_hz: float | None
    dropout_count: int
    kinds: dict[str, int]
    longest_s: float | None
    median_s: float | None
    rate_per_hour: RatePerHour | None
    says: str | None
    against_before: Improvement | None
    says_against_before: str | None
    trend: TrendTest
    bursts: Bursts | None
    says_bursts: str | None
    time_of_day: TimeOfDay
    gaps: tuple[Gap, ...]
    recording_bytes: int
    dropouts: tuple[SoakedDropout, ...]


def soak_rate(kept: Kept, *, confidence: float = CONFIDENCE) -> RatePerHour | None:
    """The rate of drop-outs, per hour in which the line was there."""
    present_s = sum(minute.present_s for minute in kept.minutes)
    return rate_per_hour(_count(kept), present_s, confidence=confidence)


def summarize(
    kept: Kept,
    *,
    before: RatePerHour | None = None,
    zone: tzinfo | None = None,
    confidence: float = CONFIDENCE,
) -> SoakResult:
    """Conclude from all that a soak has kept.

    Parameters
    ----------
    kept : Kept
    before : RatePerHour, optional
        Of the time before the repair.
    zone : tzinfo, optional
        Of the time of day; the machine's own when left out.
    """
    rate = soak_rate(kept, confidence=confidence)
    observed_s = sum(stretch.observed_s for stretch in kept.observed)
    first_s, last_s = _span(kept)
    followed_s = sum(minute.observed_s for minute in kept.minutes)
    present_s = sum(minute.present_s for minute in kept.minutes)
    times_s = in_observed_time(
        _starts_utc_s(kept), [(m.start_utc_s, m.start_utc_s + m.present_s) for m in kept.minutes]
    )
    clumped = bursts(times_s, present_s)
    better = improvement(before, rate, confidence=confidence) if before and rate else None
    durations = [d.duration_s for d in kept.dropouts if d.duration_s is not None]
    levels = [m.median_dbfs for m in kept.minutes if m.median_dbfs is not None]
    offsets = [m.offset_hz for m in kept.minutes if m.offset_hz is not None]
    verdict, why = _verdict(observed_s, present_s, _count(kept))
    return SoakResult(
        verdict=verdict,
        why=why,
        line_hz=kept.setup.line_hz,
        began_utc=None if first_s is None else _utc(first_s),
        ended_utc=None if last_s is None else _utc(last_s),
        runs=len(kept.runs),
        observed_s=observed_s,
        unobserved_s=0.0 if first_s is None or last_s is None else last_s - first_s - observed_s,
        present_s=present_s,
        present_fraction=present_s / followed_s if followed_s > 0 else None,
        level_dbfs=median(levels) if levels else None,
        level_spread_db=_deviation(levels),
        offset_hz=median(offsets) if offsets else None,
        offset_spread_hz=_deviation(offsets),
        dropout_count=_count(kept),
        kinds=dict(Counter(d.kind.value if d.kind else "unknown" for d in kept.dropouts)),
        longest_s=max(durations, default=None),
        median_s=median(durations) if durations else None,
        rate_per_hour=rate,
        says=None if rate is None else rate_in_words(rate),
        against_before=better,
        says_against_before=None if better is None else improvement_in_words(better),
        trend=laplace_trend(times_s, present_s, confidence=confidence),
        bursts=clumped,
        says_bursts=bursts_in_words(clumped) if clumped and clumped.in_bursts else None,
        time_of_day=by_time_of_day(
            [_Stay.of(minute, zone) for minute in kept.minutes], confidence=confidence
        ),
        gaps=_gaps(kept),
        recording_bytes=kept.recording_bytes,
        dropouts=tuple(_shown(dropout) for dropout in kept.dropouts[-DROPOUTS_SHOWN:]),
    )


def _verdict(observed_s: float, present_s: float, count: int) -> tuple[WatchVerdict, str]:
    if observed_s == 0:
        return WatchVerdict.UNDECIDED, "nothing was observed yet"
    watched = format_seconds(observed_s)
    if present_s == 0:
        return WatchVerdict.ABSENT, f"not there in {watched} of watching"
    if count:
        return WatchVerdict.INTERMITTENT, f"gone {format_times(count)} in {watched} of watching"
    return WatchVerdict.STEADY, f"there all the time in {watched} of watching"


def _count(kept: Kept) -> int:
    return sum(minute.dropouts for minute in kept.minutes) + kept.uncounted


def _starts_utc_s(kept: Kept) -> list[float]:
    """When drop-outs began; to the minute where they are too many to be listed one by one."""
    if len(kept.dropouts) >= _count(kept):
        return [dropout.start_utc_s for dropout in kept.dropouts]
    return [
        minute.start_utc_s + minute.present_s * (number + 0.5) / minute.dropouts
        for minute in kept.minutes
        for number in range(minute.dropouts)
    ]


def _span(kept: Kept) -> tuple[float | None, float | None]:
    if not kept.observed:
        return None, None
    ends = [stretch.end_utc_s for stretch in kept.observed]
    return kept.observed[0].start_utc_s, max(ends)


def _gaps(kept: Kept) -> tuple[Gap, ...]:
    gaps = [
        Gap(start_utc=_utc(before.end_utc_s), duration_s=after.start_utc_s - before.end_utc_s)
        for before, after in zip(kept.observed, kept.observed[1:], strict=False)
        if after.start_utc_s > before.end_utc_s
    ]
    longest = sorted(gaps, key=lambda gap: -gap.duration_s)[:GAPS_SHOWN]
    return tuple(sorted(longest, key=lambda gap: gap.start_utc))


def _shown(dropout: KeptDropout) -> SoakedDropout:
    return SoakedDropout(
        start_utc=_utc(dropout.start_utc_s),
        duration_s=dropout.duration_s,
        depth_db=dropout.depth_db,
        pull_hz=dropout.pull_hz,
        kind=None if dropout.kind is None else dropout.kind.value,
        recording=dropout.recording,
    )


def _deviation(values: Sequence[float]) -> float | None:
    if len(values) < 2:
        return None
    mean = sum(values) / len(values)
    return sqrt(sum((value - mean) ** 2 for value in values) / (len(values) - 1))


def _utc(utc_s: float) -> datetime:
    return datetime.fromtimestamp(utc_s, timezone.utc)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stay:
    """A minute, placed in the local day."""

    hour: int
    day: int
    observed_s: float
    dropouts: int
    median_dbfs: float | None

    @classmethod
    def of(cls, minute: Minute, zone: tzinfo | None) -> "_Stay":
        local = _utc(minute.start_utc_s).astimezone(zone)
        return cls(
            hour=local.hour,
            day=local.toordinal(),
            observed_s=minute.present_s,
            dropouts=minute.dropouts,
            median_dbfs=minute.median_dbfs,
        )
