"""A line board as text: no number is cut, however narrow the terminal."""

from collections.abc import Callable
from dataclasses import replace
from io import StringIO

import pytest
from rich.console import Console

from sniff.board import Board, LineState
from sniff.report import board_text
from tests.report import planted
from tests.test_frontend import info

Printed = Callable[[int, Board], str]

LO = planted.look([(planted.CLOCK.indicate(83.6013e6), -32.0)])
WHY = "−12.0 dB against the −20.0 dBFS that the plan states, more than the ±4.3 dB of placing it"


def board() -> Board:
    """All that a row can hold, at a place, from five placings."""
    line = planted.line(
        "crystal × 2",
        83.6e6,
        4180.0,
        LineState.OFF_FREQUENCY,
        found_in=LO,
        why=WHY,
        level_sd_db=1.5,
        placings=5,
        seen_in=4,
        versus_stated_db=-12.0,
        versus_sibling_db=-11.5,
    )
    made = planted.board([line], [LO])
    spread = {"placings": 5, "placing_sd_db": 1.5, "placing_degrees": 4, "placing_lines": 1}
    return replace(made, result=replace(made.result, place="feed B", **spread))


@pytest.fixture
def printed(monkeypatch: pytest.MonkeyPatch) -> Printed:
    def at(width: int, shown: Board) -> str:
        file = StringIO()
        made = Console(file=file, width=width, force_terminal=False, highlight=False)
        monkeypatch.setattr(board_text, "console", lambda: made)
        board_text.print_board(shown, info(), planted.CLOCK)
        return file.getvalue()

    return at


@pytest.mark.parametrize("width", [80, 100, 120, 150, 200, 240])
def test_every_number_and_the_reason_are_whole_at_any_width(printed: Printed, width: int) -> None:
    text = printed(width, board())
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text
    for cell in (
        "crystal × 2",
        "◆ off-frequency",
        "83.6 MHz",
        "83.60130 MHz",
        "± 250 Hz",
        "+1.30 kHz (+15.6 ppm)",
        "−32.0 dBFS",
        "1.5 dB (4 of 5)",
        "−12.0 dB",
        "−11.5 dB",
    ):
        assert cell in text
    told = " ".join(text.split())
    if width <= 150:
        assert f"crystal × 2: {WHY}" in told
    assert "one placing ±4.3 dB (95 %, k = 2.9), from 5 placings of 1 line." in told


def test_a_wide_terminal_has_one_table_and_a_narrow_one_two(printed: Printed) -> None:
    wide, narrow = (printed(width, board()) for width in (240, 80))
    heads = [line for line in wide.splitlines() if line.startswith("line ")]
    assert len(heads) == 1
    assert heads[0].split()[-1] == "because"
    assert sum(line.startswith("line ") for line in narrow.splitlines()) == 2


def test_columns_that_nothing_fills_are_left_out(printed: Printed) -> None:
    line = planted.line("LO", 83.6e6, 4180.0, LineState.PRESENT, found_in=LO, why="there")
    text = printed(240, planted.board([line], [LO]))
    head = next(line for line in text.splitlines() if line.startswith("line "))
    assert "scatter" not in head
    assert "vs" not in head
    assert "Placing spread" not in text


def test_a_board_whose_lines_no_tuning_reaches_says_so(printed: Printed) -> None:
    line = planted.line("LO", 2.4e9, 1e3, LineState.OUT_OF_VIEW, why="beyond the tuner's reach")
    text = printed(120, planted.board([line], []))
    assert ": no line is in its reach. Clock" in text
    assert "nothing" not in text
