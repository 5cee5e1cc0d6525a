"""The picture of a line board: what each panel shows, and that one sheet holds eight lines."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.container import ErrorbarContainer

from calib.correction import Correction
from sniff.board import Board, BoardVerdict, LineState
from sniff.report.plots import draw_board
from sniff.report.plots import style as ours
from tests.report import planted
from tests.report.reading import drawn, labelled, legend, overlapping, texts, words
from tests.values import pictures

LO = planted.look([(planted.CLOCK.indicate(83.6013e6), -32.0), (83.2e6, -60.0)])
CRYSTAL = planted.look(center_hz=27.5e6)


def _eight() -> Board:
    centers_hz = (27.5e6, 55.0e6, 83.0e6, 110.0e6)
    looks = [
        planted.look(
            [
                (planted.CLOCK.indicate(c + 0.3e6), -40.0),
                (planted.CLOCK.indicate(c - 0.6e6), -55.0),
            ],
            center_hz=c,
        )
        for c in centers_hz
    ]
    reason = "1.5 kHz above its place, more than the ± 1.0 kHz allowed even with U taken off"
    lines = []
    for number, (c, look) in enumerate(zip(centers_hz, looks, strict=True), start=1):
        name = f"harmonic {number} of the crystal"
        lines.append(planted.line(name, c + 0.3e6, 2e3, LineState.PRESENT, found_in=look))
        state = list(LineState)[number]
        lines.append(
            planted.line(f"leak {number}", c - 0.6e6 - 1.5e3, 1e3, state, found_in=look, why=reason)
        )
    return planted.board(lines, looks)


def _placed() -> Board:
    """Five placings at a feed: the LO weak by the plan, the crystal seen in some."""
    weak = planted.line(
        "LO",
        83.6e6,
        4180.0,
        LineState.WEAK,
        found_in=LO,
        why="−12.0 dB against the −20.0 dBFS that the plan states",
        level_sd_db=1.5,
        placings=5,
        seen_in=5,
        stated_dbfs=-20.0,
    )
    crystal = planted.line(
        "crystal", 83.2e6, 4180.0, LineState.PRESENT, found_in=LO, why="seen in 3 of 5 placings",
        level_sd_db=2.5, placings=5, seen_in=3,
    )  # fmt: skip
    board = planted.board([weak, crystal], [LO])
    result = replace(
        board.result,
        place="feed B",
        placings=5,
        placing_sd_db=1.5,
        placing_degrees=4,
        placing_lines=1,
    )
    return replace(board, result=result)


BOARDS = {
    "five placings at a place": _placed(),
    "one line": planted.board(
        [planted.line("LO", 83.6e6, 4180.0, LineState.PRESENT, found_in=LO)], [LO]
    ),
    "one there, one absent, on two tunings": planted.board(
        [
            planted.line(
                "LO", 83.6e6, 4180.0, LineState.UNSTEADY, found_in=LO, why="comes and goes"
            ),
            planted.line(
                "crystal", 27.866667e6, 1400.0, LineState.ABSENT, would_see_dbfs=-71.0, why="silent"
            ),
        ],
        [LO, CRYSTAL],
    ),
    "eight lines on four tunings": _eight(),
    "two lines that share a panel": planted.board(
        [
            planted.line("first", 83.6e6, 500.0, LineState.PRESENT, found_in=LO),
            planted.line(
                "second", 83.604e6, 500.0, LineState.HIDDEN, would_see_dbfs=-50.0, why="no"
            ),
        ],
        [LO],
    ),
    "nothing in view": planted.board(
        [planted.line("LO", 99.0e6, 4180.0, LineState.OUT_OF_VIEW, why="outside the recording")],
        [LO],
    ),
}
boards = pytest.mark.parametrize("board", BOARDS.values(), ids=BOARDS.keys())


@boards
def test_no_text_covers_another(board: Board) -> None:
    assert overlapping(texts(draw_board(board))) == []


@boards
def test_all_text_lies_on_the_sheet(board: Board) -> None:
    figure = draw_board(board)
    for text in texts(figure):
        box = text.get_window_extent()
        assert box.x0 >= figure.bbox.x0, text
        assert box.x1 <= figure.bbox.x1, text
        assert box.y0 >= figure.bbox.y0, text
        assert box.y1 <= figure.bbox.y1, text


@boards
def test_the_table_tells_every_line_and_its_state(board: Board) -> None:
    said = words(draw_board(board))
    for line in board.result.lines:
        assert line.state.value in said
        assert line.why in said.replace("\n", " ")
        assert all(part in said for part in line.name.split())


def test_eight_lines_with_their_reasons_fit_one_sheet_of_a4() -> None:
    figure = draw_board(_eight())
    assert len(figure.axes) == 8
    width_mm, height_mm = figure.get_size_inches() * 25.4
    assert width_mm < pictures.A4_MM[0]
    assert height_mm < pictures.A4_MM[1]
    assert min(t.get_fontsize() for t in texts(figure)) >= pictures.SMALLEST_TYPE_PT


def _readings(axes: Axes) -> list[ErrorbarContainer]:
    return [c for c in axes.containers if isinstance(c, ErrorbarContainer)]


def test_the_reading_stands_at_its_error_with_a_bar_of_u() -> None:
    (axes,) = draw_board(BOARDS["one line"]).axes
    assert axes.get_xlabel() == "kHz from 83.6 MHz (clock-corrected)"
    (reading,) = _readings(axes)
    marker, _, (bar,) = reading.lines
    assert float(np.asarray(marker.get_xdata())[0]) == pytest.approx(1.3, abs=1e-6)
    (ends,) = bar.get_segments()
    # U = 2 × 1.5 ppm of 83.6 MHz = 250.8 Hz, with 2 × 0.3 Hz of the indication lost in it.
    assert ends[:, 0] == pytest.approx([1.3 - 0.2508, 1.3 + 0.2508], abs=1e-4)
    assert float(np.asarray(marker.get_ydata())[0]) == pytest.approx(-32.0, abs=0.05)


def test_tolerance_and_search_window_are_drawn_to_scale() -> None:
    figure = draw_board(BOARDS["one line"])
    (axes,) = figure.axes
    band = axes.patches[0].get_extents().transformed(axes.transData.inverted())
    assert (band.x0, band.x1) == pytest.approx((-4.18, 4.18))
    window = np.asarray(drawn(figure, "searched within").get_xdata())
    assert (window.min(), window.max()) == pytest.approx((-41.8, 41.8))
    assert np.asarray(drawn(figure, "expected frequency").get_xdata()) == pytest.approx([0.0, 0.0])


def test_the_panel_is_cut_to_the_window_and_a_little_more() -> None:
    low, high = draw_board(BOARDS["one line"]).axes[0].get_xlim()
    assert -1.5 * 41.8 < low < -41.8
    assert 41.8 < high < 1.5 * 41.8


def test_an_absent_line_shows_from_which_level_on_it_would_be_seen() -> None:
    figure = draw_board(BOARDS["one there, one absent, on two tunings"])
    mark = drawn(figure, "would be seen from this level on", axes=1)
    assert np.asarray(mark.get_ydata()) == pytest.approx([-71.0, -71.0])
    x = np.asarray(mark.get_xdata())
    assert x.sum() == pytest.approx(0.0)
    assert not _readings(figure.axes[1])
    assert "none; seen from −71.0 dBFS" in words(figure)


def test_a_line_that_was_seen_has_no_would_see_mark() -> None:
    line = planted.line("LO", 83.6e6, 4180.0, LineState.PRESENT, found_in=LO, would_see_dbfs=-71.0)
    figure = draw_board(planted.board([line], [LO]))
    assert "would be seen from this level on" not in legend(figure)


@pytest.mark.parametrize("state", [s for s in LineState if s is not LineState.OUT_OF_VIEW])
def test_the_state_gives_the_reading_its_shape(state: LineState) -> None:
    line = planted.line("LO", 83.6e6, 4180.0, state, found_in=LO)
    (axes,) = draw_board(planted.board([line], [LO])).axes
    marker = _readings(axes)[0].lines[0]
    assert marker.get_marker() == ours.STATES[state].marker
    assert marker.get_fillstyle() == ours.STATES[state].fill_style


def test_lines_near_each_other_share_a_panel_and_far_ones_do_not() -> None:
    assert len(draw_board(BOARDS["two lines that share a panel"]).axes) == 1
    far = planted.board(
        [
            planted.line("LO", 83.6e6, 500.0, LineState.PRESENT, found_in=LO),
            planted.line("other", 83.2e6, 500.0, LineState.PRESENT, found_in=LO),
        ],
        [LO],
    )
    assert len(draw_board(far).axes) == 2


def test_a_line_out_of_view_has_a_row_and_no_panel() -> None:
    figure = draw_board(BOARDS["nothing in view"])
    assert figure.axes == []
    assert "out-of-view" in words(figure)


def test_a_line_is_shown_in_the_tuning_where_it_was_read() -> None:
    true_hz = 83.6013e6
    near = planted.look(center_hz=83.55e6)  # nearer, but the line was not read there
    line = planted.line("LO", 83.6e6, 4180.0, LineState.PRESENT, found_in=LO)
    figure = draw_board(planted.board([line], [near, LO]))
    level = np.asarray(drawn(figure, "mean level").get_ydata())
    assert level.max() == pytest.approx(-32.0, abs=0.05), true_hz


def test_other_lines_in_a_panel_are_ticks() -> None:
    tones = [(planted.CLOCK.indicate(hz), dbfs) for hz, dbfs in [(83.6e6, -50.0), (83.62e6, -40.0)]]
    look = planted.look(tones)
    line = planted.line("LO", 83.6e6, 4180.0, LineState.HIDDEN, found_in=look)
    figure = draw_board(planted.board([line], [look]))
    ticks = [m for m in figure.axes[0].lines if m.get_marker() == "|" and m.get_xdata()[0] > 10.0]
    assert [float(t.get_xdata()[0]) for t in ticks] == pytest.approx([20.0], abs=1e-6)
    assert "other line found" in legend(figure)


def test_the_peak_a_line_was_read_from_is_no_other_line() -> None:
    line = planted.line("LO", 83.6e6, 4180.0, LineState.UNSTEADY, found_in=LO)
    assert line.frequency_hz is not None
    read_anew = replace(line, frequency_hz=line.frequency_hz + 300.0)  # a third of one RBW
    assert "other line found" not in legend(draw_board(planted.board([read_anew], [LO])))


@pytest.mark.parametrize(
    ("verdict", "word"),
    [
        (BoardVerdict.AS_EXPECTED, "As expected"),
        (BoardVerdict.FAULT, "Fault"),
        (BoardVerdict.UNDECIDED, "Undecided"),
    ],
)
def test_the_title_is_the_verdict_with_its_reason(verdict: BoardVerdict, word: str) -> None:
    board = planted.board(BOARDS["one line"].result.lines, [LO], verdict=verdict, why="so it is")
    (title,) = labelled(draw_board(board), "title-")
    assert title.get_text() == f"{word}: so it is"


def test_the_reason_is_left_away_only_where_the_numbers_tell_all() -> None:
    wide = planted.look([(83.6013e6, -32.0)], clock=Correction.unknown_dongle())
    for look, said in ((LO, False), (wide, True)):
        line = planted.line("LO", 83.6e6, 4180.0, LineState.PRESENT, found_in=look, why="so it is")
        board = planted.board([line], [look], why="planted")
        assert ("so it is" in words(draw_board(board))) is said


def test_tunings_taken_alike_share_a_line_below() -> None:
    assert "2 tunings at 83.20 MHz, 27.50 MHz: RBW 879 Hz" in words(
        draw_board(BOARDS["one there, one absent, on two tunings"])
    )


def test_a_window_finer_than_the_bins_still_shows_some_of_them() -> None:
    line = planted.line("LO", 83.6e6, 5.0, LineState.OFF_FREQUENCY, found_in=LO, window_hz=50.0)
    figure = draw_board(planted.board([line], [LO]))
    low, high = figure.axes[0].get_xlim()
    assert high - low > 10 * LO.spectrum.bin_hz / 1e3


def test_the_scatter_of_several_placings_stands_upright_on_the_reading() -> None:
    axes, _ = draw_board(BOARDS["five placings at a place"]).axes
    (reading,) = _readings(axes)
    ends = [bar.get_segments()[0] for bar in reading.lines[2]]
    upright = next(each for each in ends if each[0, 0] == each[1, 0])
    assert sorted(upright[:, 1]) == pytest.approx([-33.5, -30.5], abs=0.05)


def test_the_level_of_a_good_set_is_drawn_where_the_plan_states_one() -> None:
    figure = draw_board(BOARDS["five placings at a place"])
    mark = drawn(figure, "a good set's level, by the plan")
    assert np.asarray(mark.get_ydata()) == pytest.approx([-20.0, -20.0])
    low, high = figure.axes[0].get_ylim()
    assert low < -20.0 < high
    assert "a good set's level, by the plan" not in legend(draw_board(BOARDS["one line"]))


def test_place_placings_and_spread_are_told_in_words() -> None:
    """k = 2.87 for 4 degrees (JCGM 100:2008, table G.2, from memory): 4.3 dB of 1.5 dB."""
    said = words(draw_board(BOARDS["five placings at a place"]))
    assert "Fault at feed B: as planted" in said
    assert "1.5 dB (5 of 5)" in said
    assert "2.5 dB (3 of 5)" in said
    assert "means of 5 placings" in said
    assert "one placing ±4.3 dB (95 %, k = 2.9), from 5 placings of 1 line" in said
    once = words(draw_board(BOARDS["one line"]))
    assert "scatter" not in once
    assert "placing" not in once
