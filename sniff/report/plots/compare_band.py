"""One place of a comparison on the page: its table, its panels, its strip of differences."""

from dataclasses import dataclass
from functools import cached_property

from sniff.compare import ComparedLine, ComparisonResult, Likeness, Pair, PlaceComparison
from sniff.compare.verdict import FAULTS
from sniff.report.compare_words import VERDICTS, name_of
from sniff.report.plots import labels, style
from sniff.report.plots.compare_panel import draw_near, draw_wide, second_axis_mm
from sniff.report.plots.compare_strip import (
    Difference,
    differences_of,
    draw_strip,
    names_of,
    reach_db,
)
from sniff.report.plots.compare_table import table_of
from sniff.report.plots.compare_views import View, near_views, stays, wide_views
from sniff.report.plots.leaders import draw_leaders
from sniff.report.plots.page import WIDTH_MM, Page, text_width_mm, wrap
from sniff.report.plots.table import Table

_WIDE_MM = 40.0
_STRIP_MM = 34.0
_LEFT_MM, _RIGHT_MM = 15.0, 6.0
_GUTTER_MM = 17.0
_FULL_MM = WIDTH_MM - _LEFT_MM - _RIGHT_MM
_HALF_MM = (_FULL_MM - _GUTTER_MM) / 2.0
_HEAD_MM = style.LINE_MM + 1.0
_OVER_AXES_MM, _UNDER_AXES_MM = 9.5, 11.0
_AFTER_TABLE_MM = 4.0
_MOST_IN_HALF = 6
_MOST_LABELS = 10
_WIDEST_NAME_MM = 28.0
_LABEL_SPACE_MM = 2.0
_TELLING = (*FAULTS, Likeness.ONLY_SUSPECT, Likeness.STRONG)
"""States of which a whole tuning shows the label first."""


@dataclass(frozen=True, kw_only=True)
class Band:
    """What one place shows.

    Attributes
    ----------
    pair : Pair
    place : PlaceComparison
    rows : tuple of ComparedLine
        Of this place.
    result : ComparisonResult
        Of all places.
    """

    pair: Pair
    place: PlaceComparison
    rows: tuple[ComparedLine, ...]
    result: ComparisonResult

    @cached_property
    def near(self) -> list[View]:
        """Panels about single lines: few where much else is to be shown."""
        few = self._several or bool(self.wide)
        return near_views(self.pair, self.rows, self.result, few=few)

    @cached_property
    def wide(self) -> list[View]:
        """Panels of whole tunings."""
        return wide_views(self.pair, self.rows, self.result)

    @cached_property
    def differences(self) -> list[Difference]:
        """What the strip shows."""
        return differences_of(self.rows)

    @cached_property
    def table(self) -> Table:
        """The lines as a table."""
        agree_ppm = self.result.agree_ppm
        return table_of(self.rows, self.pair, agree_ppm=agree_ppm, few=self._several)

    @property
    def panel_rows(self) -> int:
        """Rows of panels whose height may vary."""
        return -(-(len(self.near) + self._strip_beside) // 2)

    def height_mm(self, panel_mm: float) -> float:
        """Height with panels of this height."""
        row_mm = _HEAD_MM + _OVER_AXES_MM + panel_mm + _UNDER_AXES_MM
        wide_mm = sum(self._wide_mm(view) for view in self.wide)
        return self._top_mm + wide_mm + row_mm * self.panel_rows + self._strip_below_mm

    @property
    def reach_db(self) -> tuple[float, float]:
        """Lowest and highest difference of the strip, dB."""
        return reach_db(self.differences, self.place)

    def draw(
        self, page: Page, *, top_mm: float, panel_mm: float, reach_db: tuple[float, float]
    ) -> None:
        """Draw all of it, the strip over this reach."""
        if self.place.place is not None:
            words = f"At {self.place.place}: {VERDICTS[self.place.verdict].lower()}"
            page.write(2.0, top_mm, words, fontsize=style.TITLE_PT, fontweight="bold")
        if self.table.rows:
            self.table.draw(page, top_mm=top_mm + self._heading_mm)
        y_mm = top_mm + self._top_mm
        for view in self.wide:
            self._draw_wide(page, view, top_mm=y_mm)
            y_mm += self._wide_mm(view)
        for number, view in enumerate(self.near):
            left_mm, cell_mm = self._cell(number, y_mm, panel_mm)
            alone = number % 2 == 0 and number == len(self.near) - 1 and not self._strip_beside
            self._draw_near(
                page,
                view,
                left_mm=left_mm,
                top_mm=cell_mm,
                width_mm=_FULL_MM if alone else _HALF_MM,
                height_mm=panel_mm,
            )
        if self._strip_beside:
            left_mm, cell_mm = self._cell(len(self.near), y_mm, panel_mm)
            self._draw_strip(
                page,
                left_mm=left_mm,
                top_mm=cell_mm,
                width_mm=_HALF_MM,
                height_mm=_OVER_AXES_MM + panel_mm,
                reach_db=reach_db,
            )
        elif self.differences:
            y_mm = top_mm + self.height_mm(panel_mm) - self._strip_below_mm
            self._draw_strip(
                page,
                left_mm=_LEFT_MM,
                top_mm=y_mm,
                width_mm=_FULL_MM,
                height_mm=_STRIP_MM,
                reach_db=reach_db,
            )

    @property
    def _several(self) -> bool:
        return len(self.result.places) > 1

    @property
    def _heading_mm(self) -> float:
        return 0.0 if self.place.place is None else 5.5

    @property
    def _top_mm(self) -> float:
        """Of heading and table."""
        table_mm = self.table.height_mm + _AFTER_TABLE_MM if self.table.rows else 0.0
        return self._heading_mm + table_mm

    @property
    def _strip_beside(self) -> bool:
        """Whether the strip takes the place that an odd panel leaves free."""
        return len(self.near) % 2 == 1 and 0 < len(self.differences) <= _MOST_IN_HALF

    @property
    def _strip_below_mm(self) -> float:
        """Height of a strip as wide as the page."""
        if self._strip_beside or not self.differences:
            return 0.0
        lines = max(len(name) for name in names_of(self.differences, width_mm=_FULL_MM))
        return _HEAD_MM + _STRIP_MM + 2.0 + style.LINE_MM * lines

    def _cell(self, number: int, top_mm: float, panel_mm: float) -> tuple[float, float]:
        """Upper left corner of a cell of the grid: of the frame, and of the heading over it."""
        row_mm = _HEAD_MM + _OVER_AXES_MM + panel_mm + _UNDER_AXES_MM
        left_mm = _LEFT_MM + number % 2 * (_HALF_MM + _GUTTER_MM)
        return left_mm, top_mm + number // 2 * row_mm

    def _draw_near(
        self,
        page: Page,
        view: View,
        *,
        left_mm: float,
        top_mm: float,
        width_mm: float,
        height_mm: float,
    ) -> None:
        (row,) = view.rows
        middle_mm = top_mm + 0.5 * style.TEXT_PT * style.MM_PER_PT + 0.1
        page.draw([left_mm + 1.2], [middle_mm], **style.LIKENESSES[row.state].line())
        page.write(left_mm + 3.6, top_mm, f"{name_of(row)}: {row.state.value}", fontweight="bold")
        axes = page.axes(
            left_mm=left_mm,
            top_mm=top_mm + _HEAD_MM + _OVER_AXES_MM,
            width_mm=width_mm,
            height_mm=height_mm,
        )
        draw_near(axes, view, self.pair, agree_ppm=self.result.agree_ppm)

    def _draw_strip(
        self,
        page: Page,
        *,
        left_mm: float,
        top_mm: float,
        width_mm: float,
        height_mm: float,
        reach_db: tuple[float, float],
    ) -> None:
        page.write(left_mm, top_mm, "Suspect against the good set", fontweight="bold")
        axes = page.axes(
            left_mm=left_mm,
            top_mm=top_mm + _HEAD_MM,
            width_mm=width_mm,
            height_mm=height_mm,
        )
        low_db, high_db = reach_db
        draw_strip(
            axes,
            self.differences,
            self.place,
            width_mm=width_mm,
            low_db=low_db,
            high_db=high_db,
        )

    def _labelled(self, view: View) -> list[int]:
        """Which rows of a whole tuning get a label, by their place: what differs comes first."""
        telling = sorted(range(len(view.rows)), key=lambda at: _weight(view.rows[at]))
        return sorted(telling[:_MOST_LABELS], key=lambda at: view.place_hz(view.rows[at]))

    def _labels(self, view: View) -> tuple[labels.Band, list[str], list[float]]:
        rows = [view.rows[at] for at in self._labelled(view)]
        texts = [_label(row) for row in rows]
        part = [(view.place_hz(row) - view.low_hz) / (view.high_hz - view.low_hz) for row in rows]
        at_mm = [_LEFT_MM + _FULL_MM * min(max(x, 0.0), 1.0) for x in part]
        width_mm = max((text_width_mm(text) for text in texts), default=0.0) + _LABEL_SPACE_MM
        band = labels.stagger(at_mm, texts, width_mm=width_mm, low_mm=0.5, high_mm=WIDTH_MM - 0.5)
        return band, texts, at_mm

    def _wide_mm(self, view: View) -> float:
        band, _, _ = self._labels(view)
        return band.height_mm + _WIDE_MM + second_axis_mm(view) + _UNDER_AXES_MM

    def _draw_wide(self, page: Page, view: View, *, top_mm: float) -> None:
        band, texts, at_mm = self._labels(view)
        axes = page.axes(
            left_mm=_LEFT_MM,
            top_mm=top_mm + band.height_mm,
            width_mm=_FULL_MM,
            height_mm=_WIDE_MM,
        )
        heights = draw_wide(axes, view, self.pair, height_mm=_WIDE_MM)
        draw_leaders(
            page,
            axes,
            band,
            levels_dbfs=[heights[at] for at in self._labelled(view)],
            texts=texts,
            at_mm=at_mm,
            top_mm=top_mm,
            axes_height_mm=_WIDE_MM,
        )


def _label(row: ComparedLine) -> str:
    name = name_of(row).replace(" MHz", "\N{NO-BREAK SPACE}MHz")
    state = "stays" if stays(row) else row.state.value
    return "\n".join([*wrap(name, _WIDEST_NAME_MM), state])


def _weight(row: ComparedLine) -> int:
    if stays(row):
        return len(_TELLING) + 1
    return _TELLING.index(row.state) if row.state in _TELLING else len(_TELLING)
