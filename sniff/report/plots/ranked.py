"""Columns of ranked figures: one row for each recording, the same rows in all columns."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from math import isfinite
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter, NullLocator

from sniff.report.plots import style
from sniff.report.plots.axis import Ruler
from sniff.report.plots.style import Shape

_SIZE_PT: Final = (2.2, 5.5)
_SIZE_PER_ROW: Final = 0.55
_LEAST_TOLD_PT: Final = 4.0
_RING_PT: Final = 8.0
_BESIDE_PT: Final = 7.0
_BAR_PT: Final = 1.1
_OFF_SCALE: Final = 4.0
"""An axis of more than so many times what most need is cut; what lies beyond is told as such."""
_MOST: Final = (0.05, 0.95)
_AIR: Final = 0.05
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One recording's figure.

    Attributes
    ----------
    place : int
        Row from below.
    value : float
    low, high : float or None
        Where its true value may lie; None without a bar.
    words : str
        The value with its unit.
    shape : Shape
    ringed : bool
        Whether it stands out of the fleet.
    is_limit : bool
        Whether the true value lies below.
    """

    place: int
    value: float
    low: float | None = None
    high: float | None = None
    words: str
    shape: Shape
    ringed: bool = False
    is_limit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One figure of all recordings.

    Attributes
    ----------
    name, unit : str
        Of its axis.
    points : tuple of Point
    median, reach : float or None
        Of the fleet, and how far from it nobody is unlike.
    allowed : mapping of int to float
        Tolerance about zero, by place.
    zero : bool
        Whether zero is what is expected.
    is_rate : bool
        Drawn on a logarithmic axis, zero at its left end.
    weight : float
        Its share of the width.
    """

    name: str
    unit: str
    points: tuple[Point, ...]
    median: float | None = None
    reach: float | None = None
    allowed: Mapping[int, float] = field(default_factory=dict)
    zero: bool = False
    is_rate: bool = False
    weight: float = 1.0

    def span(self) -> tuple[float, float]:
        """Both ends of its axis."""
        return _rate_span(self.points) if self.is_rate else _span(self)

    def beyond(self) -> frozenset[int]:
        """Places of the figures that lie beyond the axis; a rate of zero has its left end."""
        low, high = self.span()
        return frozenset(
            point.place
            for point in self.points
            if not low <= point.value <= high and not self.is_rate
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Where each place lies, in millimeters from below, and how high it is.

    Attributes
    ----------
    middle_mm, height_mm : tuple of float
        By place.
    """

    middle_mm: tuple[float, ...]
    height_mm: tuple[float, ...]

    @classmethod
    def stacked(cls, heights_mm: Sequence[float]) -> "Rows":
        """Rows of these heights, the first at the bottom."""
        tops = list(accumulate(heights_mm))
        middles = tuple(top - height / 2.0 for top, height in zip(tops, heights_mm, strict=True))
        return cls(middle_mm=middles, height_mm=tuple(heights_mm))

    @property
    def all_mm(self) -> float:
        """Height of all."""
        return sum(self.height_mm)


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
    none = " (none: left end)" if column.is_rate else ""
    axes.set_xlabel(f"{column.name}, {column.unit}{none}")
    axes.yaxis.set_major_locator(NullLocator())
    axes.grid(visible=True, axis="x")
    if column.is_rate:
        axes.xaxis.set_major_locator(LogLocator(numticks=6))
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


def _span(column: Column) -> tuple[float, float]:
    """All of it, or, where few lie far out, what most need."""
    values = np.array([point.value for point in column.points])
    lows = np.array([p.value if p.low is None else p.low for p in column.points])
    highs = np.array([p.value if p.high is None else p.high for p in column.points])
    must = [column.median] if column.median is not None else []
    must += [0.0] if column.zero else []
    if column.allowed:
        widest = max(column.allowed.values())
        must += [-widest, widest]
    all_low, all_high = min([*lows, *must]), max([*highs, *must])
    left, right = np.quantile(values, _MOST)
    half_bar = float(np.median(highs - lows)) / 2.0
    reach = column.reach or 0.0
    middle = column.median if column.median is not None else float(np.median(values))
    most_low = min([left - half_bar, middle - 1.2 * reach, *must])
    most_high = max([right + half_bar, middle + 1.2 * reach, *must])
    low, high = all_low, all_high
    if all_high - all_low > _OFF_SCALE * (most_high - most_low) > 0:
        low, high = most_low, most_high
    air = _AIR * (high - low) or max(1.0, 0.01 * abs(high))
    return float(low - air), float(high + air)


def _rate_span(points: Sequence[Point]) -> tuple[float, float]:
    """From under the least bound above zero to over the highest."""
    ends = [
        end
        for point in points
        for end in (point.low, point.value, point.high)
        if end is not None and end > 0 and isfinite(end)
    ]
    return min(ends, default=0.1) / 2.0, max(ends, default=10.0) * 1.5
