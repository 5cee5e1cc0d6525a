"""A line board as text."""

from rich.text import Text

from calib.correction import Correction
from sniff.board import Board, BoardLine, BoardVerdict, LineState
from sniff.model import SourceInfo
from sniff.report.look_text import clock_words
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
    out.print(f"{info.name}: tuned to {tunings or 'nothing'}. Clock {clock_words(correction)}.")
    out.print()
    versus = any(line.versus_sibling_db is not None for line in board.result.lines)
    calibrated = any(line.u_level_db is not None for line in board.result.lines)
    headers = ["line", "<state", "expected", "seen", "U (k = 2)", "error", "level"]
    out.print(
        table(
            [
                *headers,
                *(["at the input"] if calibrated else []),
                *(["vs sibling"] if versus else []),
                "<because",
            ],
            [_row(line, versus=versus, calibrated=calibrated) for line in board.result.lines],
        )
    )
    out.print()
    verdict = board.result.verdict
    out.print(Text.assemble((verdict.value.upper(), _COLOURS[verdict]), f": {board.result.why}."))


def _row(line: BoardLine, *, versus: bool, calibrated: bool) -> list[str | Text]:
    sign, colour = _SIGNS[line.state]
    cells: list[str | Text] = [
        line.name if line.wanted else f"({line.name})",
        Text(f"{sign} {line.state.value}", style=colour),
        format_frequency(line.expected_hz),
        *_seen(line),
        "" if line.level_dbfs is None else format_dbfs(line.level_dbfs),
    ]
    if calibrated:
        cells.append(_at_input(line))
    if versus:
        difference_db = line.versus_sibling_db
        cells.append("" if difference_db is None else format_db(difference_db))
    return [*cells, line.why]


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
