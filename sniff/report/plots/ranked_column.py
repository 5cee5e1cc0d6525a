"""One column of ranked figures as axes: points, bars, tolerance, median, and what lies beyond."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter, NullLocator

from sniff.report.plots import style
from sniff.report.plots.axis import Ruler
from sniff.report.plots.foreign_words import elided, literal
from sniff.report.plots.page import WIDTH_MM, text_width_mm
from sniff.report.plots.ranked import Column, Point, Rows
from sniff.report.plots.style import Shape

_SIZE_PT: Final = (2.2, 5.5)
_SIZE_PER_ROW: Final = 0.55
_LEAST_TOLD_PT: Final = 4.0
_RING_PT: Final = 8.0
_BESIDE_PT: Final = 7.0
_BAR_PT: Final = 1.1
_RIGHT, _LEFT = 5, 4  # matplotlib's markers: carets with their tips at the place

RANGE_STROKE: Final[dict[str, Any]] = {"color": style.HOLD, "zorder": 2.0}
MEDIAN_STROKE: Final[dict[str, Any]] = {
    "color": style.TRACE,
    "linewidth": 0.9,
    "linestyle": (0, (5, 3)),
    "label": "median of all",
    "zorder": 1.8,
}
REACH_BAND: Final[dict[str, Any]] = {
    "facecolor": style.SHADE,
    "linewidth": 0.0,
    "label": "like the others",
    "zorder": 0.4,
}
LOWER_STROKE: Final[dict[str, Any]] = {
    "color": style.FAULTY,
    "linewidth": 0.6,
    "linestyle": (0, (2, 2)),
    "label": "not seen: lower than this",
    "zorder": 2.0,
}
RING: Final = Shape(marker="o", filled=False, color=style.INK, words="unlike the others")
BEYOND: Final = Shape(marker=">", filled=True, color=style.INK, words="beyond the axis")


def draw_column(axes: Axes, column: Column, rows: Rows) -> None:
    """Draw a column and set its axes' limits."""
    low, high = column.span()
    if column.is_rate:
        axes.set_xscale("log")
    axes.set_xlim(low, high)
    axes.set_ylim(0.0, rows.all_mm)
    if column.reach is not None and column.median is not None:
        axes.axvspan(column.median - column.reach, column.median + column.reach, **REACH_BAND)
    _draw_allowed(axes, column.allowed, rows)
    if column.zero:
        axes.axvline(0.0, **style.EXPECTED_STROKE)
    if column.median is not None:
        axes.axvline(column.median, **MEDIAN_STROKE)
    _draw_bars(axes, column.points, rows, low=low)
    beyond = column.beyond()
    _draw_points(axes, [p for p in column.points if p.place not in beyond], rows, low=low)
    _draw_beyond(axes, [p for p in column.points if p.place in beyond], rows)
    _mark(axes, column)


def _mark(axes: Axes, column: Column) -> None:
    unit = f", {column.unit}{' (none: left end)' if column.is_rate else ''}"
    width_mm = axes.get_position().width * WIDTH_MM
    axes.set_xlabel(f"{literal(elided(column.name, width_mm - text_width_mm(unit)))}{unit}")
    axes.yaxis.set_major_locator(NullLocator())
    axes.grid(visible=True, axis="x")
    if column.is_rate:
        low, high = axes.get_xlim()
        steps = (1.0, 2.0, 5.0) if high < 100.0 * low else (1.0,)  # one tick alone is no scale
        axes.xaxis.set_major_locator(LogLocator(subs=steps, numticks=6))
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axes.xaxis.set_minor_formatter(NullFormatter())
    else:
        Ruler(unit=1.0, most_ticks=4).mark(axes.xaxis)


def _draw_allowed(axes: Axes, allowed: Mapping[int, float], rows: Rows) -> None:
    """A step for each stretch of rows that share a tolerance."""
    places = sorted(allowed)
    first = 0
    for at in range(1, len(places) + 1):
        half = allowed[places[first]]
        on = at < len(places) and places[at] == places[at - 1] + 1 and allowed[places[at]] == half
        if not on:
            ends = [places[first], places[at - 1]]
            edges = [
                rows.middle_mm[place] + side * rows.height_mm[place] / 2.0
                for place, side in zip(ends, (-1, 1), strict=True)
            ]
            axes.fill_betweenx(edges, -half, half, **style.ALLOWED_BAND)
            first = at


def _draw_bars(axes: Axes, points: Sequence[Point], rows: Rows, *, low: float) -> None:
    """Bars as thin as their rows, so that many make one band."""
    bars = [(p, p.low, p.high) for p in points if p.low is not None and p.high is not None]
    if bars:
        axes.hlines(
            [rows.middle_mm[point.place] for point, _, _ in bars],
            [max(left, low) for _, left, _ in bars],
            [right for _, _, right in bars],
            linewidth=[
                min(_BAR_PT, 1.1 * rows.height_mm[point.place] / style.MM_PER_PT)
                for point, _, _ in bars
            ],
            **RANGE_STROKE,
        )
    limits = [point for point in points if point.is_limit]
    if limits:
        axes.hlines(
            [rows.middle_mm[point.place] for point in limits],
            low,
            [point.value for point in limits],
            **{**LOWER_STROKE, "label": None},
        )


def _draw_beyond(axes: Axes, points: Sequence[Point], rows: Rows) -> None:
    """A caret at the edge, and the figure in words where its row has room for them."""
    low, high = axes.get_xlim()
    for point in points:
        right = point.value > high
        y_mm = rows.middle_mm[point.place]
        axes.plot(
            [high if right else low],
            [y_mm],
            marker=_RIGHT if right else _LEFT,
            markersize=5.0,
            color=point.shape.color,
            linestyle="none",
            clip_on=False,
            zorder=5,
        )
        if rows.height_mm[point.place] >= style.LINE_MM:
            axes.annotate(
                f"{'below ' if point.is_limit else ''}{point.words}",
                (high if right else low, y_mm),
                xytext=(-_BESIDE_PT if right else _BESIDE_PT, 0.0),
                textcoords="offset points",
                ha="right" if right else "left",
                va="center",
                zorder=6,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
            )


def _draw_points(axes: Axes, points: Sequence[Point], rows: Rows, *, low: float) -> None:
    """Those that are as expected by the height of their rows, all others large enough to see."""
    sizes_pt = [
        min(max(_SIZE_PER_ROW * height / style.MM_PER_PT, _SIZE_PT[0]), _SIZE_PT[1])
        for height in rows.height_mm
    ]
    kinds: dict[tuple[Shape, float], list[Point]] = {}
    for point in points:
        plain = point.shape.color in (style.FINE, style.INK)
        size_pt = sizes_pt[point.place] if plain else max(sizes_pt[point.place], _LEAST_TOLD_PT)
        kinds.setdefault((point.shape, size_pt), []).append(point)
    for (shape, size_pt), mine in kinds.items():
        axes.plot(
            [max(point.value, low) for point in mine],
            [rows.middle_mm[point.place] for point in mine],
            label=shape.words,
            clip_on=False,
            zorder=3.0 if shape.color in (style.FINE, style.INK) else 4.0,
            **shape.line(size_pt),
        )
    ringed = [point for point in points if point.ringed]
    axes.plot(
        [max(point.value, low) for point in ringed],
        [rows.middle_mm[point.place] for point in ringed],
        label=RING.words,
        clip_on=False,
        zorder=3.5,
        **{**RING.line(_RING_PT), "markerfacecolor": "none"},
    )
