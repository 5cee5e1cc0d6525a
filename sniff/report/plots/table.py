"""A small table over panels: its cells, a shape beside the last one, and reasons below rows."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from sniff.report.plots import style
from sniff.report.plots.page import WIDTH_MM, Page, text_width_mm, wrap
from sniff.report.plots.style import Shape

_SIDE_MM = 2.0
_GAP_MM = 4.0
_SYMBOL_MM = 4.0
_ROW_SPACE_MM = 1.0
_NAME_MM = (16.0, 24.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row: the first cell may be wrapped, the last one has a shape beside it.

    `reason` goes below the others; it is empty where the numbers tell all.
    """

    cells: tuple[str, ...]
    shape: Shape
    reason: str = ""


@dataclass(frozen=True)
class Table:
    """Rows under their heads, as wide as the page."""

    heads: Sequence[str]
    rows: Sequence[Row]

    @cached_property
    def _columns_mm(self) -> list[float]:
        """Left edges; what the numbers do not need goes to the names."""
        widths = [
            max(
                text_width_mm(head, weight="bold"),
                *(text_width_mm(row.cells[at]) for row in self.rows),
            )
            for at, head in enumerate(self.heads)
        ]
        needed = sum(widths[1:]) + _GAP_MM * (len(self.heads) - 1) + _SYMBOL_MM
        least_mm, most_mm = _NAME_MM
        room_mm = max(least_mm, WIDTH_MM - 2 * _SIDE_MM - needed)
        widths[0] = min(max(widths[0], most_mm), room_mm)
        edges = [_SIDE_MM]
        for width in widths[:-1]:
            edges.append(edges[-1] + width + _GAP_MM)
        edges[-1] += _SYMBOL_MM
        return edges

    @cached_property
    def _names(self) -> list[list[str]]:
        room_mm = self._columns_mm[1] - self._columns_mm[0] - _GAP_MM
        return [wrap(row.cells[0], room_mm) for row in self.rows]

    @cached_property
    def _reasons(self) -> list[list[str]]:
        room_mm = WIDTH_MM - _SIDE_MM - self._columns_mm[1]
        return [wrap(row.reason, room_mm) for row in self.rows]

    def _row_mm(self, at: int) -> float:
        texts = max(len(self._names[at]), 1 + len(self._reasons[at]))
        return style.LINE_MM * texts + _ROW_SPACE_MM

    @property
    def height_mm(self) -> float:
        """Height with head and rules."""
        rows_mm = sum(self._row_mm(at) for at in range(len(self.rows)))
        return style.LINE_MM + 2 * _ROW_SPACE_MM + rows_mm

    def draw(self, page: Page, *, top_mm: float) -> None:
        """Set the table across the page."""
        y_mm = top_mm
        for x_mm, head in zip(self._columns_mm, self.heads, strict=True):
            page.write(x_mm, y_mm, head, fontweight="bold")
        y_mm += style.LINE_MM + _ROW_SPACE_MM
        _rule(page, y_mm, color=style.PALE_INK)
        y_mm += _ROW_SPACE_MM / 2.0
        for at, row in enumerate(self.rows):
            for x_mm, cell in zip(self._columns_mm[1:], row.cells[1:], strict=True):
                page.write(x_mm, y_mm, cell)
            for number, part in enumerate(self._names[at]):
                page.write(self._columns_mm[0], y_mm + number * style.LINE_MM, part)
            page.draw(
                [self._columns_mm[-1] - 2.6],
                [y_mm + 0.5 * style.TEXT_PT * style.MM_PER_PT + 0.1],
                **row.shape.line(),
            )
            for number, part in enumerate(self._reasons[at], start=1):
                y_part_mm = y_mm + number * style.LINE_MM
                page.write(self._columns_mm[1], y_part_mm, part, color=style.PALE_INK)
            y_mm += self._row_mm(at)
            _rule(page, y_mm - _ROW_SPACE_MM / 2.0, color=style.RULE)


def _rule(page: Page, y_mm: float, *, color: str) -> None:
    page.draw([_SIDE_MM, WIDTH_MM - _SIDE_MM], [y_mm, y_mm], color=color, linewidth=0.5)
