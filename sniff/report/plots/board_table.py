"""The line board as a small table over its panels."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from sniff.board import BoardLine, LineState
from sniff.report.plots import style
from sniff.report.plots.page import WIDTH_MM, Page, text_width_mm, wrap
from sniff.units import format_dbfs, format_error, format_frequency, format_reading, format_span
from sniff.verdict import Outcome

_HEADS = ("line", "expected", "reading ± U", "error (allowed)", "level", "state")
_SIDE_MM = 2.0
_GAP_MM = 4.0
_SYMBOL_MM = 4.0
_ROW_SPACE_MM = 1.0


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
    return line.state is LineState.PRESENT and line.frequency_verdict is Outcome.PASS


def _cells(line: BoardLine) -> tuple[str, ...]:
    return (
        line.name,
        format_frequency(line.expected_hz),
        reading_text(line),
        error_text(line),
        "" if line.level_dbfs is None else format_dbfs(line.level_dbfs),
        line.state.value,
    )


@dataclass(frozen=True)
class Table:
    """Rows of the board, with the reason below each line of which the numbers do not tell all."""

    lines: Sequence[BoardLine]

    @cached_property
    def _rows(self) -> list[tuple[str, ...]]:
        return [_cells(line) for line in self.lines]

    @cached_property
    def _columns_mm(self) -> list[float]:
        """Left edges; what the numbers do not need goes to the names."""
        widths = [
            max(
                text_width_mm(head, weight="bold"),
                *(text_width_mm(row[at]) for row in self._rows),
            )
            for at, head in enumerate(_HEADS)
        ]
        needed = sum(widths[1:]) + _GAP_MM * (len(_HEADS) - 1) + _SYMBOL_MM
        widths[0] = min(max(widths[0], 24.0), max(16.0, WIDTH_MM - 2 * _SIDE_MM - needed))
        edges = [_SIDE_MM]
        for width in widths[:-1]:
            edges.append(edges[-1] + width + _GAP_MM)
        edges[-1] += _SYMBOL_MM
        return edges

    @cached_property
    def _names(self) -> list[list[str]]:
        room_mm = self._columns_mm[1] - self._columns_mm[0] - _GAP_MM
        return [wrap(line.name, room_mm) for line in self.lines]

    @cached_property
    def _reasons(self) -> list[list[str]]:
        room_mm = WIDTH_MM - _SIDE_MM - self._columns_mm[1]
        return [[] if _plain(line) else wrap(line.why, room_mm) for line in self.lines]

    def _row_mm(self, at: int) -> float:
        texts = max(len(self._names[at]), 1 + len(self._reasons[at]))
        return style.LINE_MM * texts + _ROW_SPACE_MM

    @property
    def height_mm(self) -> float:
        """Height with head and rules."""
        rows_mm = sum(self._row_mm(at) for at in range(len(self.lines)))
        return style.LINE_MM + 2 * _ROW_SPACE_MM + rows_mm

    def draw(self, page: Page, *, top_mm: float) -> None:
        """Set the table across the page."""
        y_mm = top_mm
        for x_mm, head in zip(self._columns_mm, _HEADS, strict=True):
            page.write(x_mm, y_mm, head, fontweight="bold")
        y_mm += style.LINE_MM + _ROW_SPACE_MM
        _rule(page, y_mm, color=style.PALE_INK)
        y_mm += _ROW_SPACE_MM / 2.0
        for at, (line, row) in enumerate(zip(self.lines, self._rows, strict=True)):
            for x_mm, cell in zip(self._columns_mm[1:], row[1:], strict=True):
                page.write(x_mm, y_mm, cell)
            for number, part in enumerate(self._names[at]):
                page.write(self._columns_mm[0], y_mm + number * style.LINE_MM, part)
            shape = style.STATES[line.state]
            page.draw(
                [self._columns_mm[-1] - 2.6],
                [y_mm + 0.5 * style.TEXT_PT * style.MM_PER_PT + 0.1],
                **shape.line(),
            )
            for number, part in enumerate(self._reasons[at], start=1):
                y_part_mm = y_mm + number * style.LINE_MM
                page.write(self._columns_mm[1], y_part_mm, part, color=style.PALE_INK)
            y_mm += self._row_mm(at)
            _rule(page, y_mm - _ROW_SPACE_MM / 2.0, color=style.RULE)


def _rule(page: Page, y_mm: float, *, color: str) -> None:
    page.draw([_SIDE_MM, WIDTH_MM - _SIDE_MM], [y_mm, y_mm], color=color, linewidth=0.5)
