"""Long runs: each day as a row, so that what comes at an hour of the day stands in a column."""

import numpy as np
from matplotlib.colors import ListedColormap

from sniff.model import Doubles
from sniff.report.plots import style
from sniff.report.plots.page import Page
from sniff.watch.trace import Trace

DAY_S = 86_400.0

_ROW_MM = 4.0
_MOST_DAYS = 31
_CELLS = 288  # five minutes each
_UNDER_MM = 12.0


def height_mm(trace: Trace) -> float:
    """Height that the rows take, with their axis."""
    return _ROW_MM * len(presence_by_day(trace)) + _UNDER_MM


def presence_by_day(trace: Trace) -> Doubles:
    """Part of the observed time in which the line was there, by day and five minutes; NaN where
    nothing was observed. Shape (days, 288), the last 31 days at the most."""
    # By a step's beginning; a microsecond keeps rounding from moving one into the cell before.
    since_s = trace.step_s * np.arange(trace.hz.size) + 1e-6
    cells = (since_s / DAY_S * _CELLS).astype(np.intp)
    days = int(cells[-1]) // _CELLS + 1
    observed = np.bincount(cells, trace.observed, days * _CELLS)
    there = np.bincount(cells, trace.observed * np.nan_to_num(trace.present), days * _CELLS)
    with np.errstate(invalid="ignore"):
        part = np.where(observed > 0, there / observed, np.nan)
    # A step may be longer than a cell: what it observed holds for the cells that it covers.
    steps = max(1, int(np.ceil(trace.step_s / DAY_S * _CELLS)))
    for _ in range(steps - 1):
        empty = np.flatnonzero(~np.isfinite(part[1:])) + 1
        part[empty] = part[empty - 1]
    return np.asarray(part.reshape(days, _CELLS)[-_MOST_DAYS:], dtype=np.float64)


def draw_days(page: Page, trace: Trace, *, left_mm: float, top_mm: float, width_mm: float) -> None:
    """Draw a row for each day since the start."""
    part = presence_by_day(trace)
    axes = page.axes(
        left_mm=left_mm, top_mm=top_mm, width_mm=width_mm, height_mm=_ROW_MM * len(part)
    )
    axes.patch.set(**style.UNOBSERVED)
    # Few drop-outs in five minutes are a small part of them, and must still be seen.
    levels = np.where(part >= 1.0, 2.0, np.where(part >= 0.99, 1.0, 0.0))
    axes.imshow(
        np.ma.masked_invalid(np.where(np.isfinite(part), levels, np.nan)),
        cmap=ListedColormap(["#f7e6a8", "#7fa3bd", style.TRACE]).with_extremes(bad=(0, 0, 0, 0)),
        vmin=0.0,
        vmax=2.0,
        aspect="auto",
        interpolation="nearest",
        extent=(0.0, 24.0, len(part) + 0.5, 0.5),
    )
    axes.set_xticks(range(0, 25, 3))
    axes.set_yticks(range(1, len(part) + 1, max(1, len(part) // 8)))
    axes.set_xlabel("hours since the start, day by day")
