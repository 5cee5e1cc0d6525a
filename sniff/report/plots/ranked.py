"""Ranked figures: a row for each recording, the same rows in all columns, and each axis' ends."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from math import isfinite
from typing import Final

import numpy as np

from sniff.report.plots.style import Shape

_OFF_SCALE: Final = 4.0
"""An axis of more than so many times what most need is cut; what lies beyond is told as such."""
_MOST: Final = (0.05, 0.95)
_AIR: Final = 0.05


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
    least : float
        The axis reaches so far from the median at least: figures that agree must look so.
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
    least: float = 0.0
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
    """Where each place lies, in millimetres from below, and how high it is.

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


def _span(column: Column) -> tuple[float, float]:
    """All of it, or, where few lie far out, what most need; all lines and bands in any case."""
    lows = [point.value if point.low is None else point.low for point in column.points]
    highs = [point.value if point.high is None else point.high for point in column.points]
    must = [0.0] if column.zero else []
    widest = max(column.allowed.values(), default=0.0)
    must += [-widest, widest] if column.allowed else []
    if column.median is not None:
        reach = max(column.reach or 0.0, column.least)
        must += [column.median - reach, column.median + reach]
    half_bar = float(np.median(np.subtract(highs, lows))) / 2.0
    left, right = np.quantile([point.value for point in column.points], _MOST)
    most_low, most_high = min([left - half_bar, *must]), max([right + half_bar, *must])
    low, high = min([*lows, *must]), max([*highs, *must])
    if high - low > _OFF_SCALE * (most_high - most_low) > 0:
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
