"""What a soak came to: counts, bounds, trend and hours by hand-made notebooks."""

from datetime import datetime, timedelta, timezone
from math import log

import numpy as np
import pytest

from sniff.regularity import Trend
from sniff.report.envelope import plain
from sniff.soak.nouns import Kept, KeptDropout, Minute, Observed, Run, Setup
from sniff.soak.summary import soak_rate, summarize
from sniff.sureness import Change, rate_per_hour
from sniff.watch.nouns import Kind, WatchVerdict
from tests.soak.events import LINE_HZ, MIDNIGHT_S

UTC = timezone.utc


def minute(number: int, *, dropouts: int = 0, present_s: float = 60.0) -> Minute:
    return Minute(
        start_utc_s=MIDNIGHT_S + 60.0 * number,
        observed_s=60.0,
        present_s=present_s,
        dropouts=dropouts,
        median_dbfs=-40.0 if present_s else None,
        lowest_dbfs=-60.0,
        highest_dbfs=-39.0,
        offset_hz=500.0 if present_s else None,
    )


def gone(at_s: float, duration_s: float | None = 0.5) -> KeptDropout:
    return KeptDropout(
        start_utc_s=MIDNIGHT_S + at_s,
        duration_s=duration_s,
        depth_db=20.0,
        pull_hz=0.0,
        kind=Kind.BREAK if duration_s else None,
        before_dbfs=-40.0,
        recording=None,
    )


def kept(
    minutes: list[Minute],
    dropouts: list[KeptDropout] | None = None,
    *,
    observed: list[tuple[float, float]] | None = None,
    uncounted: int = 0,
) -> Kept:
    stretches = observed or [(0.0, 60.0 * len(minutes))]
    return Kept(
        setup=Setup(line_hz=LINE_HZ, resolution_s=1e-3),
        runs=(Run(zero_utc_s=MIDNIGHT_S, indicated_hz=LINE_HZ, inverted=False, about={}),),
        observed=tuple(
            Observed(start_utc_s=MIDNIGHT_S + a, end_utc_s=MIDNIGHT_S + b, lost_s=0.0)
            for a, b in stretches
        ),
        minutes=tuple(minutes),
        dropouts=tuple(dropouts or []),
        uncounted=uncounted,
        recording_bytes=0,
    )


def test_eight_quiet_hours_are_steady_with_the_rule_of_threes_bound() -> None:
    found = summarize(kept([minute(n) for n in range(480)]))
    assert found.verdict is WatchVerdict.STEADY
    assert found.rate_per_hour is not None
    assert found.rate_per_hour.at_most == pytest.approx(-log(0.05) / 8.0)
    assert "No drop-out was seen in 8 h" in (found.says or "")
    assert found.level_dbfs == -40.0
    assert found.offset_hz == 500.0
    plain(found)  # no NaN, no infinity


def test_a_dead_line_is_absent_and_no_rate_is_made_of_its_silence() -> None:
    found = summarize(kept([minute(n, present_s=0.0) for n in range(480)]))
    assert found.verdict is WatchVerdict.ABSENT
    assert found.rate_per_hour is None
    assert found.says is None


def test_a_line_that_was_never_found_is_absent_too() -> None:
    found = summarize(kept([], observed=[(0.0, 3600.0)]))
    assert found.verdict is WatchVerdict.ABSENT


def test_nothing_observed_is_undecided() -> None:
    empty = kept([])
    found = summarize(
        Kept(
            setup=empty.setup,
            runs=empty.runs,
            observed=(),
            minutes=(),
            dropouts=(),
            uncounted=0,
            recording_bytes=0,
        )
    )
    assert found.verdict is WatchVerdict.UNDECIDED
    plain(found)


def test_the_rate_is_per_hour_in_which_the_line_was_there() -> None:
    # An hour there, with four drop-outs, and an hour gone.
    minutes = [minute(n, dropouts=int(n in (3, 20, 40, 59))) for n in range(60)]
    minutes += [minute(n, present_s=0.0) for n in range(60, 120)]
    found = soak_rate(kept(minutes))
    assert found is not None
    assert (found.events, found.value) == (4, pytest.approx(4.0))


def test_a_drop_out_that_no_minute_counts_yet_is_counted() -> None:
    found = summarize(kept([minute(0, dropouts=1)], [gone(5.0), gone(59.9, None)], uncounted=1))
    assert found.dropout_count == 2
    assert found.kinds == {"break": 1, "unknown": 1}
    assert found.longest_s == 0.5


def test_gaps_are_told_and_count_for_nothing() -> None:
    found = summarize(
        kept([minute(0)], observed=[(0.0, 3600.0), (7200.0, 10_800.0), (10_900.0, 11_000.0)])
    )
    assert found.observed_s == pytest.approx(7300.0)
    assert found.unobserved_s == pytest.approx(3700.0)
    assert [gap.duration_s for gap in found.gaps] == pytest.approx([3600.0, 100.0])
    assert found.gaps[0].start_utc == datetime(2026, 1, 1, 1, 0, tzinfo=UTC)


def test_against_the_time_before_the_repair() -> None:
    before = rate_per_hour(30, 2 * 3600.0)
    found = summarize(kept([minute(n) for n in range(300)]), before=before)
    assert found.against_before is not None
    assert found.against_before.change is Change.BETTER
    # p >= 0.05**(1/30), odds 9.52, times 5 h / 2 h.
    p = 0.05 ** (1 / 30)
    assert found.against_before.at_least_times == pytest.approx(p / (1 - p) * 2.5)
    assert "at least 23 times less often" in (found.says_against_before or "")


def test_it_gets_worse_is_seen_through_a_gap() -> None:
    # Steady by the clock of observation: one drop-out in each observed minute, but for the wall
    # clock all crowd at both ends of a long night.
    minutes = [minute(n, dropouts=1) for n in [*range(20), *range(600, 620)]]
    even = kept(
        minutes,
        [gone(60.0 * n + 30.0) for n in [*range(20), *range(600, 620)]],
        observed=[(0.0, 1200.0), (36_000.0, 37_200.0)],
    )
    assert summarize(even).trend.trend is Trend.UNDECIDED
    # The same minutes, all drop-outs after the night.
    late = kept(
        minutes,
        [gone(36_000.0 + 30.0 * n) for n in range(40)],
        observed=[(0.0, 1200.0), (36_000.0, 37_200.0)],
    )
    assert summarize(late).trend.trend is Trend.WORSE


def test_drop_outs_too_many_to_be_listed_are_taken_from_the_minutes() -> None:
    even = [minute(n, dropouts=2) for n in range(100)]
    # Of 200 the first 30 are listed: by them alone it would seem to get better.
    found = summarize(kept(even, [gone(30.0 * n) for n in range(30)]))
    assert found.dropout_count == 200
    assert found.trend.trend is Trend.UNDECIDED
    assert found.trend.z == pytest.approx(0.0, abs=0.2)


def test_bursts_are_told_beside_the_bound_that_they_spoil() -> None:
    rng = np.random.default_rng(8)
    clumps = np.sort(rng.uniform(0, 36_000.0, 12))
    times = np.sort((clumps[:, None] + rng.exponential(3.0, (12, 8))).ravel())
    minutes = [
        minute(n, dropouts=int(((times >= 60 * n) & (times < 60 * n + 60)).sum()))
        for n in range(601)
    ]
    found = summarize(kept(minutes, [gone(t) for t in times.tolist()]))
    assert found.bursts is not None
    assert "too narrow" in (found.says_bursts or "")


def test_the_time_of_day_is_local() -> None:
    zone = timezone(timedelta(hours=5, minutes=30))
    found = summarize(kept([minute(0, dropouts=1)]), zone=zone)
    assert [hour.hour for hour in found.time_of_day.hours if hour.rate is not None] == [5]
