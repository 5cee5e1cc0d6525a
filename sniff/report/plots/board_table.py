"""The line board as a small table over its panels."""

from collections.abc import Sequence

from sniff.board import BoardLine, LineState
from sniff.report.placing_words import scatter_words
from sniff.report.plots import style
from sniff.report.plots.table import Row, Table
from sniff.units import format_dbfs, format_error, format_frequency, format_reading, format_span
from sniff.verdict import Outcome

_HEADS = ("line", "expected", "reading ± U", "error (allowed)", "level", "scatter", "state")
_SCATTER = _HEADS.index("scatter")


def reading_text(line: BoardLine) -> str:
    """The reading, or the level from which on the line would have been seen."""
    if line.frequency_hz is not None and line.u_hz is not None:
        return format_reading(line.frequency_hz, 2.0 * line.u_hz)
    if line.would_see_dbfs is not None:
        return f"none; seen from {format_dbfs(line.would_see_dbfs)}"
    return "none"


def error_text(line: BoardLine) -> str:
    """The error, and in brackets what is allowed."""
    allowed = f"(± {format_span(line.tolerance_hz)})"
    if line.error_hz is None or line.u_hz is None:
        return allowed
    return f"{format_error(line.error_hz, 2.0 * line.u_hz)} {allowed}"


def _plain(line: BoardLine) -> bool:
    """Whether the numbers tell all: the line is there, and its error clearly allowed."""
    if line.placings > 1 and line.seen_in < line.placings:
        return False
    return line.state is LineState.PRESENT and line.frequency_verdict is Outcome.PASS


def _cells(line: BoardLine) -> tuple[str, ...]:
    return (
        line.name,
        format_frequency(line.expected_hz),
        reading_text(line),
        error_text(line),
        "" if line.level_dbfs is None else format_dbfs(line.level_dbfs),
        scatter_words(line),
        line.state.value,
    )


def table_of(lines: Sequence[BoardLine]) -> Table:
    """Rows of the board, with the reason below each line of which the numbers do not tell all."""
    scatter = any(scatter_words(line) for line in lines)  # the loop was placed again
    shown = [at for at in range(len(_HEADS)) if scatter or at != _SCATTER]
    return Table(
        [_HEADS[at] for at in shown],
        [
            Row(
                cells=tuple(_cells(line)[at] for at in shown),
                shape=style.STATES[line.state],
                reason="" if _plain(line) else line.why,
            )
            for line in lines
        ],
    )
