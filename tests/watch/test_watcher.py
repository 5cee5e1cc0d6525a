"""The whole watcher: what it counts, what it remembers, and lines that it cannot watch."""

from dataclasses import replace

import numpy as np
import pytest

from sniff.errors import UsageError
from sniff.watch.nouns import WatchSettings, WatchVerdict
from sniff.watch.trace import MOST_STEPS, Levels, Tracer
from sniff.watch.watcher import Watcher
from tests.watch.planted import CENTER_HZ, LINE_HZ, RATE_HZ, Habits, Stream
from tests.watch.test_dropouts import a_line, a_watcher, times, watch


def test_a_line_outside_the_span_is_refused() -> None:
    with pytest.raises(UsageError, match=r"not in view, which is 83\.468 MHz to 83\.532 MHz"):
        Watcher(83.55e6, WatchSettings(), RATE_HZ, CENTER_HZ)


def test_noise_alone_is_absent_with_the_level_that_would_have_been_seen() -> None:
    watcher = a_watcher()
    block = a_line(3.0, relative=0.0)
    assert watch(watcher, block) == []
    result = watcher.result()
    assert result.verdict is WatchVerdict.ABSENT
    assert result.would_see_dbfs is not None
    level = 10.0 ** (result.would_see_dbfs / 20.0) / Habits().amplitude
    found = a_watcher()
    watch(found, a_line(3.0, relative=1.3 * level))
    assert found.result().verdict is not WatchVerdict.ABSENT
    missed = a_watcher()
    watch(missed, a_line(3.0, relative=0.4 * level))
    assert missed.result().verdict is WatchVerdict.ABSENT


def test_time_before_it_was_found_is_observed_and_not_present() -> None:
    watcher = a_watcher(row_s=0.5)
    watch(watcher, a_line(4.0, relative=np.where(times(4.0) >= 2.2, 1.0, 0.0)))
    result = watcher.result()
    assert result.verdict is WatchVerdict.INTERMITTENT
    assert result.present_fraction == pytest.approx(1.8 / 4.0, abs=2e-3)
    rows = watcher.rows()
    assert sum(row.observed_s for row in rows) == pytest.approx(4.0, abs=0.01)
    assert sum(row.present_s for row in rows) == pytest.approx(1.8, abs=0.01)


def test_rows_begin_at_whole_multiples_and_add_up() -> None:
    stream, watcher = Stream(Habits(), seed=11), a_watcher(row_s=0.25)
    block, _ = stream.stretch(4.0, "break", at_s=2.3, for_s=0.1)
    watch(watcher, block)
    rows = watcher.rows()
    assert [row.start_s for row in rows] == [0.25 * n for n in range(16)]
    assert [row.dropouts for row in rows] == [0] * 9 + [1] + [0] * 6
    assert sum(row.present_s for row in rows) == pytest.approx(3.9, abs=2e-3)
    assert rows[2].median_dbfs == pytest.approx(20.0 * np.log10(0.05), abs=0.3)
    assert rows[9].lowest_dbfs is not None
    assert rows[9].lowest_dbfs < -40.0
    assert watcher.rows() == ()


def test_mean_frequency_by_phase_is_far_better_than_single_frames() -> None:
    """At 20 dB in 3 kHz a second's mean reaches the phase noise at its ends,
    sqrt(2 · 0.01 / 2) rad / (2π · 1 s) = 0.016 Hz (closed form)."""
    watcher = a_watcher(row_s=1.0)
    watch(watcher, a_line(8.0))
    errors = [row.indicated_hz - LINE_HZ - 137.0 for row in watcher.rows()[1:7]]
    assert np.sqrt(np.mean(np.square(errors))) < 3.0 * 0.016


def test_level_and_frequency_that_move_together_are_correlated() -> None:
    part = np.sin(2 * np.pi * 0.25 * times(20.0))
    together = a_watcher()
    watch(together, a_line(20.0, relative=1.0 + 0.1 * part, hz=30.0 * part))
    apart = a_watcher()
    watch(apart, a_line(20.0, relative=1.0 - 0.1 * part, hz=30.0 * part))
    assert together.result().level_frequency_correlation > 0.9
    assert apart.result().level_frequency_correlation < -0.9


def test_a_level_that_sinks_evenly_has_its_slope() -> None:
    watcher = a_watcher()
    watch(watcher, a_line(40.0, relative=10.0 ** (-2.0 * times(40.0) / 40.0 / 20.0)))
    assert watcher.result().level_slope_db_per_hour == pytest.approx(-2.0 * 90.0, rel=0.02)


def test_two_lines_in_one_filter_are_cautioned_with_the_resolution_that_tells_them_apart() -> None:
    block = a_line(3.0, snr_db=30.0)
    beside = 0.3 * a_line(3.0, hz=900.0, snr_db=80.0).samples
    watcher = a_watcher()
    watch(watcher, replace(block, samples=block.samples + beside))
    (caution,) = watcher.cautions
    assert caution.code == "two-lines"
    apart_hz = float(caution.text.split("stands ")[1].split(" Hz")[0])
    assert apart_hz == pytest.approx(900.0, abs=60.0)  # a bin of the search


def test_another_line_away_from_it_is_named() -> None:
    block = a_line(3.0, snr_db=30.0)
    away = 0.5 * a_line(3.0, hz=-6_000.0, snr_db=80.0).samples
    watcher = a_watcher(within_hz=7e3)
    watch(watcher, replace(block, samples=block.samples + away))
    (caution,) = watcher.cautions
    assert caution.code == "other-line"
    assert "83.506" in caution.text


def test_a_neighbour_that_was_always_there_is_not_where_a_line_went() -> None:
    t = times(4.0)
    block = a_line(4.0, relative=np.where((t > 2.5) & (t < 3.0), 0.0, 1.0), snr_db=30.0)
    neighbour = a_line(4.0, hz=-9_000.0, snr_db=80.0).samples
    (dropout,) = watch(a_watcher(), replace(block, samples=block.samples + neighbour))
    assert dropout.duration_s == pytest.approx(0.5, abs=1e-3)


def test_a_trace_of_any_length_has_a_bounded_number_of_steps_and_keeps_its_sums() -> None:
    tracer = Tracer(decision_s=1e-3, step_s=0.01, row_s=60.0, line_hz=0.0)
    there = np.ones(1_000, dtype=bool)
    for second in range(300):
        tracer.add(float(second), np.full(1_000, 1e-4), np.full(1_000, float(second)), there)
    trace = tracer.trace()
    assert trace.hz.size <= MOST_STEPS
    assert trace.step_s == 0.04
    assert tracer.decisions == (300_000, 300_000)
    assert trace.hz[trace.hz.size // 2] == pytest.approx(150.0, abs=1.0)
    assert np.average(trace.hz, weights=trace.observed) == pytest.approx(149.5, abs=0.1)


def test_quantiles_of_levels_are_those_of_the_levels() -> None:
    rng = np.random.default_rng(4)
    level_db = rng.normal(-50.0, 2.0, 50_000)
    levels = Levels()
    levels.add(10.0 ** (level_db / 10.0))
    for share in (0.1587, 0.5, 0.8413):
        assert levels.quantile(share) == pytest.approx(np.quantile(level_db, share), abs=0.06)
    assert Levels().quantile(0.5) is None
