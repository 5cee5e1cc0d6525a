"""The picture of a watch shows what the result says."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from calib.correction import Correction
from sniff.report.plots import draw_watch, render
from sniff.report.plots.watch_days import presence_by_day
from sniff.watch.nouns import Dropout, Kind, Mark, Passage, WatchResult, WatchVerdict
from sniff.watch.trace import Trace

CLOCK = Correction(ppm=10.0, u_ppm=0.5, origin="as planted")


def a_trace(steps: int, step_s: float, *, gone: slice = slice(0, 0)) -> Trace:
    """A line at −40 dBFS, 5 Hz higher at its end than at 83.6 MHz, gone for some steps."""
    present = np.ones(steps)
    present[gone] = 0.0
    there = np.where(present > 0, 1.0, np.nan)
    return Trace(
        start_s=0.0,
        step_s=step_s,
        observed=np.ones(steps),
        present=present,
        power=1e-4 * there,
        lowest=np.where(present > 0, 0.8e-4, 1e-7),
        highest=np.where(present > 0, 1.2e-4, 2e-7),
        hz=(83.6e6 + 5.0 * np.arange(steps) / steps) * there,
    )


def a_dropout(start_s: float, for_s: float, kind: Kind | None) -> Dropout:
    level = np.where(np.arange(400) < 200, -40.0, -70.0).astype(np.float32)
    fall = Passage(
        start_s=start_s - 0.05,
        step_s=0.25e-3,
        level_dbfs=level,
        offset_hz=np.where(np.arange(400) < 200, 3.0, np.nan).astype(np.float32),
    )
    return Dropout(
        start_s=start_s,
        duration_s=for_s,
        depth_db=30.0,
        pull_hz=0.0,
        kind=kind,
        before_dbfs=-40.0,
        before_hz=83.6e6,
        ended=True,
        fall=None if kind is None else fall,
        rise=None,
    )


def a_result(*dropouts: Dropout, seconds: float = 10.0) -> WatchResult:
    return WatchResult(
        verdict=WatchVerdict.INTERMITTENT,
        why=f"gone {len(dropouts)} times",
        observed_s=seconds,
        unobserved_s=0.0,
        present_fraction=0.9,
        level_dbfs=-40.0,
        level_spread_db=0.2,
        level_slope_db_per_hour=None,
        level_frequency_correlation=None,
        would_see_dbfs=None,
        indicated_hz=83.6e6,
        u_indicated_hz=1.0,
        frequency_hz=83.600836e6,
        u_hz=42.0,
        resolution_s=1e-3,
        dropouts=dropouts,
        dropout_count=len(dropouts),
        rate_per_hour=None,
        drift_hz_per_hour=None,
        stability=(),
    )


def test_dropouts_are_shaded_where_they_were_and_marked_by_kind() -> None:
    dropouts = (a_dropout(2.0, 0.5, Kind.BREAK), a_dropout(7.0, 1.0, Kind.PULL))
    figure = draw_watch(a_result(*dropouts), a_trace(1000, 0.01), clock=CLOCK)
    level = figure.axes[0]
    spans = [
        (patch.get_x(), patch.get_x() + patch.get_width())
        for patch in level.patches
        if isinstance(patch, Rectangle)
    ]
    assert (2.0, 2.5) in [(round(a, 3), round(b, 3)) for a, b in spans]
    assert (7.0, 8.0) in [(round(a, 3), round(b, 3)) for a, b in spans]
    marked = {line.get_marker(): list(line.get_xdata()) for line in level.lines}
    assert marked["x"] == pytest.approx([2.25])
    assert marked[">"] == pytest.approx([7.5])
    labels = {text.get_text() for text in figure.legends[0].get_texts()}
    assert {"break: abrupt", "pull: frequency moved", "not there"} <= labels
    assert "fade: slow" not in labels


def test_the_frequency_axis_is_clock_corrected() -> None:
    figure = draw_watch(a_result(), a_trace(1000, 0.01), clock=CLOCK)
    names = [text.get_text() for text in figure.texts]
    # 83.6 MHz + 2.5 Hz in the middle, 10 ppm higher.
    assert any(name.startswith("Hz from 83.600838 MHz (clock-corrected)") for name in names)


def test_one_of_each_kind_is_shown_at_close_range() -> None:
    dropouts = [a_dropout(1.0 + n, 0.1, kind) for n, kind in enumerate([*Kind, Kind.BREAK, None])]
    figure = draw_watch(a_result(*dropouts), a_trace(1000, 0.01))
    names = {text.get_text() for text in figure.texts}
    assert {"break at 1.000 s", "pull at 2.000 s", "fade at 3.000 s"} <= names
    assert "break at 4.000 s" not in names


def test_marks_and_lost_time_are_told_in_the_legend() -> None:
    trace = a_trace(1000, 0.01)
    observed = np.ones(1000)
    observed[300:400] = 0.0
    result = replace(a_result(), marks=(Mark(at_s=4.2, label="T4"),))
    figure = draw_watch(result, replace(trace, observed=observed))
    labels = {text.get_text() for text in figure.legends[0].get_texts()}
    assert {"marked", "not observed"} <= labels


def test_a_day_gives_no_rows_and_three_days_give_three() -> None:
    short = draw_watch(a_result(), a_trace(8000, 10.0))
    long = draw_watch(a_result(seconds=250_000.0), a_trace(8000, 31.0))
    assert len(long.axes) == len(short.axes) + 1
    assert presence_by_day(a_trace(8000, 31.0)).shape == (3, 288)


def test_an_hour_of_absence_stands_at_its_hour_of_its_day() -> None:
    """Steps of 30 s: hour 5 of the second day is steps (24 + 5) · 120 to that + 120."""
    at = 29 * 120
    days = presence_by_day(a_trace(8000, 30.0, gone=slice(at, at + 120)))
    cells = np.argwhere(days == 0.0)
    assert set(cells[:, 0].tolist()) == {1}
    assert cells[:, 1].tolist() == list(range(5 * 12, 6 * 12))


def test_steps_longer_than_a_cell_leave_no_hole() -> None:
    assert np.isfinite(presence_by_day(a_trace(500, 700.0))[0]).all()


def test_it_can_be_written_as_vectors() -> None:
    figure = draw_watch(a_result(a_dropout(2.0, 0.5, Kind.FADE)), a_trace(1000, 0.01))
    assert render(figure, "svg").startswith(b"<?xml")
