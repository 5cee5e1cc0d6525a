"""The picture of a batch: all recordings' figures sorted, each with its U, its verdict by shape."""

from collections.abc import Mapping
from typing import Any, Final

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sniff.batch.summary import Summary
from sniff.batch.table import Table
from sniff.report.batch_text import sum_words
from sniff.report.plots import style
from sniff.report.plots.batch_columns import Arrangement, arranged
from sniff.report.plots.batch_names import draw_names, named_places, short_names
from sniff.report.plots.foreign_words import literal
from sniff.report.plots.page import WIDTH_MM, Bar, Sheet, open_page
from sniff.report.plots.ranked import Rows
from sniff.report.plots.ranked_column import (
    BEYOND,
    LOWER_STROKE,
    MEDIAN_STROKE,
    RANGE_STROKE,
    REACH_BAND,
    RING,
    draw_column,
)

_BODY_MM: Final = 190.0
_LEAST_BODY_MM: Final = 20.0
_ROW_MM: Final = 5.0
_MOST_ROWS: Final = int(_BODY_MM // style.LINE_MM)
"""More could not all be named."""
_RIGHT_MM: Final = 6.0
_GUTTER_MM: Final = 9.0
_OVER_MM: Final = 1.5
_UNDER_MM: Final = 12.5


def draw_batch(table: Table, summary: Summary) -> Figure:
    """Draw a batch: one row for each recording, sorted by the first column's figure.

    The columns are, by the question: a carrier's error with its U against the tolerance, and its
    level; the levels of the LO and other wanted lines; the rate of drop-outs with its bounds, and
    the level; lines against the known-good's; the strongest line and the noise.

    Parameters
    ----------
    table : Table
    summary : Summary
        Of the same table.

    Returns
    -------
    Figure
        190 mm wide and no higher than A4, whatever the number of recordings.
    """
    with style.context():
        drawn = arranged(table, summary)
        files = [str(row["file"]) for row in table.as_rows()]
        folder, names = short_names(files)
        named = named_places(drawn, names, summary, most=_MOST_ROWS)
        rows = _rows(len(drawn.places), named)
        sheet = Sheet(
            title=f"{summary.question.capitalize()}: {_title(summary)}",
            keys=_keys(drawn),
            footer=_footer(drawn, summary, folder, named=len(named)),
        )
        body_mm = _OVER_MM + rows.all_mm + _UNDER_MM if drawn.columns else 0.0
        page = open_page(sheet, body_mm=body_mm)
        top_mm = sheet.top_mm + _OVER_MM
        first_mm = left_mm = draw_names(page, named, rows, bottom_mm=top_mm + rows.all_mm)
        gutters_mm = _GUTTER_MM * (len(drawn.columns) - 1)
        weights = sum(column.weight for column in drawn.columns)
        for column in drawn.columns:
            share = column.weight / weights
            width_mm = share * (WIDTH_MM - first_mm - _RIGHT_MM - gutters_mm)
            axes = page.axes(
                left_mm=left_mm, top_mm=top_mm, width_mm=width_mm, height_mm=rows.all_mm
            )
            for place in named:
                axes.axhline(rows.middle_mm[place], color=style.RULE, linewidth=0.4, zorder=0.8)
            draw_column(axes, column, rows)
            left_mm += width_mm + _GUTTER_MM
        return page.figure


def _rows(count: int, named: Mapping[int, str]) -> Rows:
    """Rows that are named as high as their names, the others as high as there is room."""
    if not count:
        return Rows.stacked([])
    unnamed = count - len(named)
    named_mm = max(min(_ROW_MM, _BODY_MM / count), style.LINE_MM)
    other_mm = min(named_mm, (_BODY_MM - named_mm * len(named)) / max(1, unnamed))
    stretch = max(1.0, _LEAST_BODY_MM / (named_mm * len(named) + other_mm * unnamed))
    return Rows.stacked(
        [stretch * (named_mm if place in named else other_mm) for place in range(count)]
    )


def _title(summary: Summary) -> str:
    words = sum_words(summary)
    return f"{words[:1].lower()}{words[1:]}"


def _keys(drawn: Arrangement) -> list[Any]:
    points = [point for column in drawn.columns for point in column.points]
    keys: list[Any] = [
        Line2D([], [], label=shape.words, **shape.line())
        for shape in dict.fromkeys(point.shape for point in points)
    ]
    if any(point.ringed for point in points):
        keys.append(Line2D([], [], label=RING.words, **RING.line(8.0)))
    if any(point.low is not None for point in points):
        bounds = "95 % bounds" if drawn.columns[0].is_rate else "± U (95 %)"
        keys.append(Bar([], [], label=bounds, **RANGE_STROKE))
    if any(point.is_limit for point in points):
        keys.append(Line2D([], [], **LOWER_STROKE))
    if any(column.beyond() for column in drawn.columns):
        keys.append(Line2D([], [], label=BEYOND.words, **BEYOND.line()))
    if any(column.zero for column in drawn.columns):
        words = "nominal" if drawn.columns[0].unit == "ppm" else "as the known-good"
        keys.append(Line2D([], [], **{**style.EXPECTED_STROKE, "label": words}))
    if any(column.median is not None for column in drawn.columns):
        keys.append(Line2D([], [], **MEDIAN_STROKE))
    if any(column.allowed for column in drawn.columns):
        keys.append(Patch(**style.ALLOWED_BAND))
    if any(column.reach is not None for column in drawn.columns):
        keys.append(Patch(**REACH_BAND))
    return keys


def _footer(drawn: Arrangement, summary: Summary, folder: str, *, named: int) -> list[str]:
    rows = len(drawn.places)
    parts = [f"{rows} recordings drawn" if rows != 1 else "1 recording drawn"]
    if folder:
        parts[0] += f", from {folder}"
    if drawn.missing:
        told = [f"{count} {standing.value}" for standing, count in drawn.missing.items()]
        parts.append(f"nothing to draw of {', '.join(told)}")
    if drawn.columns:
        parts.append(f"each row is one, sorted by {drawn.columns[0].name}")
    if 0 < named < rows:
        parts.append(f"named are {named} that failed, are unlike the others, or undecided")
    if drawn.left_out:
        parts.append(f"no room for {', '.join(drawn.left_out)}")
    texts = [" · ".join(parts), *(f"Caution: {caution.text}" for caution in summary.cautions)]
    return [literal(text) for text in texts]
