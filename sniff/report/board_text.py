"""A line board as text."""

from collections.abc import Callable
from dataclasses import dataclass

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
    place = "" if board.result.place is None else f" at {board.result.place}"
    out.print(
        f"{info.name}{place}: tuned to {tunings or 'nothing'}. Clock {clock_words(correction)}.",
        markup=False,
    )
    out.print()
    lines = board.result.lines
    columns = [column for column in _MORE if any(column.cell(line) for line in lines)]
    headers = ["line", "<state", "expected", "seen", "U (k = 2)", "error", "level"]
    out.print(
        table(
            [*headers, *(column.head for column in columns), "<because"],
            [[*_row(line), *(column.cell(line) for column in columns), line.why] for line in lines],
        )
    )
    out.print()
    spread = spread_words(board.result)
    if spread:
        out.print(f"{spread}.")
    verdict = board.result.verdict
    out.print(Text.assemble((verdict.value.upper(), _COLOURS[verdict]), f": {board.result.why}."))


def _row(line: BoardLine) -> list[str | Text]:
    sign, colour = _SIGNS[line.state]
    return [
        line.name if line.wanted else f"({line.name})",
        Text(f"{sign} {line.state.value}", style=colour),
        format_frequency(line.expected_hz),
        *_seen(line),
        "" if line.level_dbfs is None else format_dbfs(line.level_dbfs),
    ]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    """A column that is shown where any line fills it."""

    head: str
    cell: Callable[[BoardLine], str]


_MORE = (
    _Column(head="scatter", cell=scatter_words),
    _Column(head="at the input", cell=_at_input),
    _Column(head="vs plan", cell=lambda line: _difference(line.versus_stated_db)),
    _Column(head="vs sibling", cell=lambda line: _difference(line.versus_sibling_db)),
)


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
