"""The picture of a course: drop-outs and unobserved time at a glance, and honest reductions."""

import matplotlib
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from matplotlib.patches import StepPatch

from sniff.board import Board, LineState
from sniff.errors import UsageError
from sniff.model import Course
from sniff.report.plots import draw_course
from sniff.report.plots import style as ours
from sniff.report.plots.axis import Scale
from sniff.report.plots.stretch import level_of, stretch_of
from tests.report import planted
from tests.report.reading import labelled, legend, overlapping, texts, words
from tests.values import pictures

PLAIN = Scale(factor=1.0, words="", statement="")
LINE_COLUMN = 340
LINE_HZ = 82.0e6 + LINE_COLUMN * 4.7e3  # 83.598 MHz
OFF_ROWS = slice(60, 75)
GONE_ROWS = slice(100, 120)


def _come_and_go() -> Course:
    power = planted.quiet()
    power[:, LINE_COLUMN] = 10.0 ** (-45.0 / 10.0)
    power[OFF_ROWS, LINE_COLUMN] = 10.0 ** (-80.0 / 10.0)
    power[GONE_ROWS] = np.nan
    return planted.course(power)


LO = planted.line(
    "LO",
    LINE_HZ - 1e3,
    4180.0,
    LineState.UNSTEADY,
    frequency_hz=LINE_HZ,
    u_hz=100.0,
    present_fraction=0.946,
)
LINES = [
    LO,
    planted.line("half-IF", LINE_HZ + 30e3, 1e3, LineState.ABSENT),
    planted.line("neighbour", LINE_HZ + 35e3, 1e3, LineState.PRESENT),
    planted.line("second LO", 82.3e6, 300.0, LineState.WEAK),
    planted.line("crystal", 27.8667e6, 1400.0, LineState.OUT_OF_VIEW),
]
BOARD = planted.board(LINES, [])
FIGURES = {
    "alone": draw_course(_come_and_go()),
    "with a board": draw_course(_come_and_go(), board=BOARD, clock=planted.CLOCK),
    "of one line": draw_course(_come_and_go(), board=BOARD, line=LO, clock=planted.CLOCK),
    "of an absent line": draw_course(_come_and_go(), board=BOARD, line=LINES[1]),
    "narrow, at a gigahertz": draw_course(
        planted.course(planted.quiet(20, 40), first_hz=1090.0e6, column_hz=0.02)
    ),
}
figures = pytest.mark.parametrize("figure", FIGURES.values(), ids=FIGURES.keys())


def _image(figure: Figure) -> AxesImage:
    (image,) = figure.axes[0].images
    return image


@figures
def test_no_text_covers_another(figure: Figure) -> None:
    assert overlapping(texts(figure)) == []


@figures
def test_all_text_lies_on_a_sheet_narrower_than_a4_and_is_large_enough(figure: Figure) -> None:
    for text in texts(figure):
        box = text.get_window_extent()
        assert box.x0 >= figure.bbox.x0, text
        assert box.x1 <= figure.bbox.x1, text
        assert text.get_fontsize() >= pictures.SMALLEST_TYPE_PT, text
    assert figure.get_size_inches()[0] * 25.4 < pictures.A4_MM[0]


def test_a_drop_out_is_dark_and_the_line_light() -> None:
    levels = np.ma.getdata(_image(draw_course(_come_and_go())).get_array())
    row = int(np.nanargmax(np.nanmax(levels, axis=1)))
    image = _image(draw_course(_come_and_go()))
    shade = image.cmap(image.norm(levels[row, [50, 65]]))
    light, dark = (pictures.relative_luminance(*rgb[:3]) for rgb in shade)
    assert pictures.contrast(light, dark) > pictures.CONTRAST_OF_GRAPHICS


def test_a_drop_out_of_one_row_is_seen_at_its_time() -> None:
    power = planted.quiet()
    power[:, LINE_COLUMN] = 1e-4
    power[201, LINE_COLUMN] = 1e-8
    image = _image(draw_course(planted.course(power, start_s=3.0)))
    levels = np.ma.getdata(image.get_array())
    line = levels[int(np.argmax(levels.max(axis=1)))]
    first_s, last_s, low_mhz, _ = image.get_extent()
    at_s = first_s + (int(np.argmin(line)) + 0.5) / line.size * (last_s - first_s)
    assert at_s == pytest.approx(3.0 + 201.5 * 0.04, abs=0.02)
    assert low_mhz == pytest.approx(82.0 - 0.00235, abs=1e-6)


def test_unobserved_time_is_left_open_hatched_and_named() -> None:
    figure = draw_course(_come_and_go())
    image = _image(figure)
    masked = np.ma.getmaskarray(image.get_array())
    assert masked[:, GONE_ROWS].all()
    assert masked.sum() == masked[:, GONE_ROWS].sum()
    assert image.cmap.get_bad()[3] == 0.0  # transparent, so that the hatch shows
    assert figure.axes[0].patch.get_hatch()
    assert "not observed" in legend(figure)
    assert "11.2 s observed, 800 ms not observed" in words(figure)


def test_a_course_without_gaps_speaks_of_none() -> None:
    figure = draw_course(planted.course(planted.quiet()))
    assert "not observed" not in words(figure)


def test_a_course_of_which_nothing_was_observed_says_so() -> None:
    figure = draw_course(planted.course(np.full((20, 50), np.nan, dtype=np.float32)))
    assert "Nothing observed in 800 ms" in words(figure)


def test_lightness_rises_steadily_with_level() -> None:
    shades = matplotlib.colormaps[ours.MAP](np.linspace(0.0, 1.0, 256))
    luminance = [pictures.relative_luminance(*rgb[:3]) for rgb in shades]
    assert np.all(np.diff(luminance) > -1e-3)
    assert luminance[-1] - luminance[0] > 0.6


def test_a_weak_line_keeps_lightness_beside_one_80_db_over_the_noise() -> None:
    power = planted.quiet()
    power[:, LINE_COLUMN] = 10.0 ** (-68.0 / 10.0)
    power[:, 100] = 1.0
    image = _image(draw_course(planted.course(power)))
    assert float(image.norm(-68.0)) - float(image.norm(-80.0)) > 0.2


def test_each_bracket_stands_at_its_window_and_no_name_covers_another() -> None:
    figure = FIGURES["with a board"]
    names = labelled(figure, "expected-")
    assert [n.get_text() for n in names] == ["neighbour", "half-IF", "LO", "second LO"]
    axes = figure.axes[0]
    figure.draw_without_rendering()
    by_height = [n.get_window_extent().y0 for n in names]
    assert by_height == sorted(by_height, reverse=True)
    low, high = axes.get_ylim()
    second_lo = axes.transData.transform([[0.0, 82.3]])[0][1]
    assert names[-1].get_window_extent().y0 < second_lo < names[-1].get_window_extent().y1
    assert low < 82.3 < high


def test_lines_outside_the_span_are_named_below() -> None:
    assert "Outside this span: crystal (27.8667 MHz)" in words(FIGURES["with a board"])


def test_the_title_names_the_line_that_comes_and_goes() -> None:
    (title,) = labelled(FIGURES["with a board"], "title-")
    assert title.get_text() == (
        "LO comes and goes, there 94.6 % of the time; 11.2 s observed, 800 ms not observed"
    )


def test_the_zoom_shows_the_window_and_a_little_more_about_the_expected_frequency() -> None:
    figure = FIGURES["of one line"]
    low_khz, high_khz = figure.axes[0].get_ylim()
    assert -1.5 * 41.8 < low_khz < -41.8
    assert 41.8 < high_khz < 1.5 * 41.8
    assert f"kHz from {LO.expected_hz / 1e6:.3f} MHz (clock-corrected)" in words(figure)


def test_the_strip_shows_the_lines_level_against_the_same_time() -> None:
    figure = draw_course(_come_and_go(), line=LO)
    strip = figure.axes[-1]
    assert strip.get_xlim() == figure.axes[0].get_xlim() == (0.0, pytest.approx(12.0))
    (steps,) = (patch for patch in strip.patches if isinstance(patch, StepPatch))
    level, edges, _ = steps.get_data()
    level = np.asarray(level)
    assert level[10] == pytest.approx(-45.0, abs=1e-4)
    assert level[OFF_ROWS] == pytest.approx(-80.0, abs=1e-4)
    assert np.isnan(level[GONE_ROWS]).all()
    assert np.isnan(level).sum() == 20
    assert edges[60] == pytest.approx(2.4)


def test_the_strip_hatches_unobserved_time() -> None:
    strip = draw_course(_come_and_go(), line=LO).axes[-1]
    (gap,) = (patch for patch in strip.patches if patch.get_hatch())
    box = gap.get_extents().transformed(strip.transData.inverted())
    assert (box.x0, box.x1) == pytest.approx((4.0, 4.8))


def test_a_neighbour_in_the_window_does_not_fill_the_drop_outs_of_the_strip() -> None:
    course = _come_and_go()
    power = course.tone_power.copy()
    power[:, LINE_COLUMN + 8] = 1e-2  # 37.6 kHz away: inside ±41.8 kHz
    level = level_of(planted.course(power), PLAIN, center_hz=LINE_HZ, reach_hz=14.1e3)
    assert level[OFF_ROWS] == pytest.approx(-80.0, abs=1e-4)


def test_a_line_outside_the_course_is_refused_in_one_line() -> None:
    with pytest.raises(UsageError, match=r"crystal at 27\.8667 MHz lies outside this course of 82"):
        draw_course(_come_and_go(), line=LINES[-1])


def test_the_axis_follows_the_clock() -> None:
    low, _ = draw_course(_come_and_go(), clock=planted.CLOCK).axes[0].get_ylim()
    assert low == pytest.approx((82.0 - 0.00235) * (1.0 + 42e-6), abs=1e-6)
    assert "frequency, MHz (as indicated)" in words(FIGURES["alone"])


@pytest.mark.parametrize(
    ("row_s", "unit", "end"), [(0.04, "s", 12.0), (10.0, "min", 50.0), (96.0, "h", 8.0)]
)
def test_long_courses_count_minutes_or_hours(row_s: float, unit: str, end: float) -> None:
    axes = draw_course(planted.course(planted.quiet(), row_s=row_s)).axes[0]
    assert axes.get_xlabel() == f"time since the start, {unit}"
    assert axes.get_xlim()[1] == pytest.approx(end)


def test_a_line_one_column_wide_survives_in_a_course_of_four_thousand_columns() -> None:
    power = planted.quiet(50, 4096)
    power[:, 3001] = 1e-3
    image = _image(draw_course(planted.course(power)))
    levels = np.ma.getdata(image.get_array())
    assert levels.shape[0] < 200
    assert levels.max(axis=0) == pytest.approx(-30.0, abs=1e-4)


def test_rows_are_averaged_in_power_over_what_was_observed() -> None:
    power = np.full((1800, 4), 1e-6, dtype=np.float32)
    power[1::2] = 3e-6  # pairs average to 2e-6
    power[11] = np.nan  # of this pair half is left: 1e-6
    power[20:22] = np.nan
    levels = stretch_of(planted.course(power), PLAIN).levels_dbfs
    assert levels.shape == (900, 4)
    assert levels[0] == pytest.approx(10.0 * np.log10(2e-6), abs=1e-4)
    assert levels[5] == pytest.approx(-60.0, abs=1e-4)
    assert np.isnan(levels[10]).all()
    assert np.isnan(levels).sum() == 4


def test_a_row_of_which_most_is_missing_counts_as_unobserved() -> None:
    power = np.full((2700, 4), 1e-6, dtype=np.float32)  # drawn by threes
    power[3:5] = np.nan
    power[6] = np.nan
    levels = stretch_of(planted.course(power), PLAIN).levels_dbfs
    assert np.isnan(levels[1]).all()
    assert np.isnan(levels).sum() == 4


def test_a_line_lies_at_its_frequency_on_the_axis() -> None:
    image = _image(draw_course(_come_and_go()))
    levels = np.ma.getdata(image.get_array())
    _, _, low_mhz, high_mhz = image.get_extent()
    row = int(np.nanargmax(np.nanmax(levels, axis=1)))
    cell_mhz = (high_mhz - low_mhz) / levels.shape[0]
    assert low_mhz + (row + 0.5) * cell_mhz == pytest.approx(LINE_HZ / 1e6, abs=cell_mhz / 2.0)
    assert image.origin == "lower"


@given(
    rows=st.integers(1, 2500),
    columns=st.integers(1, 700),
    seed=st.integers(0, 2**32 - 1),
    gone=st.floats(0.0, 1.0),
)
def test_a_reduced_course_covers_all_and_invents_nothing(
    rows: int, columns: int, seed: int, gone: float
) -> None:
    rng = np.random.default_rng(seed)
    power = rng.exponential(1e-8, (rows, columns)).astype(np.float32)
    power[rng.random(rows) < gone] = np.nan
    course = planted.course(power)
    stretch = stretch_of(course, PLAIN)
    first_s, last_s, low_hz, high_hz = stretch.extent
    assert first_s == 0.0
    assert last_s >= stretch.stop_s - 1e-9
    assert stretch.stop_s == pytest.approx(rows * 0.04)
    assert high_hz >= stretch.high_hz - 1e-3
    assert stretch.high_hz - low_hz == pytest.approx(columns * 4.7e3)
    if np.isnan(power).all():
        assert np.isnan(stretch.levels_dbfs).all()
    else:
        seen = stretch.levels_dbfs[~np.isnan(stretch.levels_dbfs)]
        top = 10.0 * np.log10(float(np.nanmax(power)))
        assert not seen.size or seen.max() <= top + 1e-3


def test_a_board_without_lines_in_view_draws_no_bracket() -> None:
    board: Board = planted.board([LINES[-1]], [])
    assert "searched within" not in legend(draw_course(_come_and_go(), board=board))
