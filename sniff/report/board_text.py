"""A line board as text."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.table import Table
from rich.text import Text

from calib.correction import Correction
from sniff.board import Board, BoardLine, BoardVerdict, LineState
from sniff.model import SourceInfo
from sniff.report.look_text import clock_words
from sniff.report.placing_words import scatter_words, spread_words
from sniff.report.text import console, table
from sniff.units import (
    format_db,
    format_dbfs,
    format_dbm,
    format_error,
    format_expanded,
    format_frequency,
    format_ppm,
)

# A sign and a colour for each state: the sign tells without the colour.
_SIGNS = {
    LineState.PRESENT: ("●", "green"),
    LineState.WEAK: ("◐", "yellow"),
    LineState.OFF_FREQUENCY: ("◆", "red"),
    LineState.UNSTEADY: ("≈", "red"),
    LineState.ABSENT: ("○", "red"),
    LineState.HIDDEN: ("▒", "yellow"),
    LineState.OUT_OF_VIEW: ("–", "yellow"),
}
_COLOURS = {
    BoardVerdict.AS_EXPECTED: "bold green",
    BoardVerdict.FAULT: "bold red",
    BoardVerdict.UNDECIDED: "bold yellow",
}


def print_board(board: Board, info: SourceInfo, correction: Correction) -> None:
    """Print the line board and its verdict."""
    out = console()
    tunings = ", ".join(format_frequency(look.spectrum.center_hz) for look in board.looks)
    heard = f"tuned to {tunings}" if tunings else "no line is in its reach"
    place = "" if board.result.place is None else f" at {board.result.place}"
    out.print(
        f"{info.name}{place}: {heard}. Clock {clock_words(correction)}.",
        markup=False,
    )
    out.print()
    _print_lines(out, board.result.lines)
    out.print()
    spread = spread_words(board.result)
    if spread:
        out.print(f"{spread}.")
    verdict = board.result.verdict
    out.print(Text.assemble((verdict.value.upper(), _COLOURS[verdict]), f": {board.result.why}."))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    """A column, and what it says of a line."""

    head: str
    cell: Callable[[BoardLine], str | Text]


def _print_lines(out: Console, lines: Sequence[BoardLine]) -> None:
    """One table; where the terminal is narrow the reasons go below it, and then the levels into a
    table of their own, since no number may be cut."""
    levels = [column for column in _LEVELS if any(column.cell(line) for line in lines)]
    whole = [_EXPECTED, *_FREQUENCY, *levels]
    room = out.width - _width(out, _table_of([_NAME, _STATE, *whole], lines))
    if room >= _ROOM_FOR_REASONS:
        out.print(_table_of([_NAME, _STATE, *whole, _BECAUSE], lines))
        return
    if room >= 0:
        out.print(_table_of([_NAME, _STATE, *whole], lines))
    else:
        out.print(_table_of([_NAME, _STATE, *_FREQUENCY], lines))
        out.print()
        out.print(_table_of([_NAME, _EXPECTED, *levels], lines))
    out.print()
    for line in lines:
        out.print(f"{_name(line)}: {line.why}", markup=False)


def _table_of(columns: Sequence[_Column], lines: Sequence[BoardLine]) -> Table:
    return table(
        [column.head for column in columns],
        [[column.cell(line) for column in columns] for line in lines],
    )


def _width(out: Console, shown: Table) -> int:
    return out.measure(shown, options=out.options.update(max_width=10_000)).maximum


def _name(line: BoardLine) -> str:
    return line.name if line.wanted else f"({line.name})"


def _state(line: BoardLine) -> Text:
    sign, colour = _SIGNS[line.state]
    return Text(f"{sign} {line.state.value}", style=colour)


def _level(line: BoardLine) -> str:
    return "" if line.level_dbfs is None else format_dbfs(line.level_dbfs)


def _difference(difference_db: float | None) -> str:
    return "" if difference_db is None else format_db(difference_db)


def _at_input(line: BoardLine) -> str:
    if line.u_level_db is None:
        return ""
    if line.level_dbm is not None:
        return format_dbm(line.level_dbm, 2.0 * line.u_level_db)
    if line.would_see_dbm is not None:
        return f"below {format_dbm(line.would_see_dbm, 2.0 * line.u_level_db)}"
    return ""


def _seen(line: BoardLine) -> tuple[str, str, str]:
    if line.frequency_hz is None or line.u_hz is None:
        return "", "", ""
    expanded_hz = 2.0 * line.u_hz
    error = format_error(line.frequency_hz - line.expected_hz, expanded_hz)
    ppm = format_ppm(line.error_ppm or 0.0, expanded_hz / line.expected_hz * 1e6)
    return (
        format_frequency(line.frequency_hz, expanded_hz),
        f"± {format_expanded(expanded_hz)}",
        f"{error} ({ppm})",
    )


_ROOM_FOR_REASONS = 36
"""Columns below which a sentence would be folded too often to be read."""

_NAME = _Column(head="line", cell=_name)
_STATE = _Column(head="<state", cell=_state)
_EXPECTED = _Column(head="expected", cell=lambda line: format_frequency(line.expected_hz))
_FREQUENCY = (
    _Column(head="seen", cell=lambda line: _seen(line)[0]),
    _Column(head="U (k = 2)", cell=lambda line: _seen(line)[1]),
    _Column(head="error", cell=lambda line: _seen(line)[2]),
)
_LEVELS = (
    _Column(head="level", cell=_level),
    _Column(head="scatter", cell=scatter_words),
    _Column(head="at the input", cell=_at_input),
    _Column(head="vs plan", cell=lambda line: _difference(line.versus_stated_db)),
    _Column(head="vs sibling", cell=lambda line: _difference(line.versus_sibling_db)),
)
"""Shown where any line fills them."""

_BECAUSE = _Column(head="<because", cell=lambda line: line.why)
