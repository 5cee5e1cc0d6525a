"""Drop-outs at close range: level and frequency about the moment the line went."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from sniff.report.plots import style
from sniff.report.plots.page import WIDTH_MM, Page
from sniff.units import format_moment
from sniff.watch.nouns import Dropout, Kind, Passage

_MOST = 3
_GAP_MM = 17.0
_SCALE_MM = 12.0
_RIGHT_MM = 17.0
_WIDEST_MM = 90.0
_LEAST_HALF_HZ = 100.0


def examples(dropouts: Sequence[Dropout]) -> list[Dropout]:
    """The first of each kind whose going was seen, no more than three."""
    found: dict[Kind, Dropout] = {}
    for dropout in dropouts:
        if dropout.kind is not None and dropout.fall is not None:
            found.setdefault(dropout.kind, dropout)
    return list(found.values())[:_MOST]


def draw_passages(
    page: Page, shown: Sequence[Dropout], *, left_mm: float, top_mm: float, height_mm: float
) -> None:
    """A panel for each: level against milliseconds on the left scale, frequency on the right."""
    room_mm = WIDTH_MM - left_mm - _RIGHT_MM - (len(shown) - 1) * (_GAP_MM + _SCALE_MM)
    width_mm = min(room_mm / len(shown), _WIDEST_MM)
    for number, dropout in enumerate(shown):
        at_mm = left_mm + number * (width_mm + _GAP_MM + _SCALE_MM)
        kind = dropout.kind.value if dropout.kind is not None else ""
        page.write(
            at_mm,
            top_mm - 2.0 * style.LINE_MM - 1.6,
            f"{kind} at {format_moment(dropout.start_s)}",
            fontweight="bold",
        )
        page.write(at_mm, top_mm - style.LINE_MM - 1.6, "dBFS (blue)")
        page.write(at_mm + width_mm, top_mm - style.LINE_MM - 1.6, "Hz (dots)", ha="right")
        axes = page.axes(left_mm=at_mm, top_mm=top_mm, width_mm=width_mm, height_mm=height_mm)
        assert dropout.fall is not None
        _draw(axes, dropout.fall, dropout.start_s)


def _draw(axes: Axes, fall: Passage, start_s: float) -> None:
    steps = np.arange(fall.level_dbfs.size)
    ms = 1e3 * (fall.start_s + steps * fall.step_s - start_s)
    axes.axvline(0.0, color=style.FAULTY, linewidth=0.6)
    axes.plot(ms, fall.level_dbfs, color=style.TRACE, linewidth=0.9)
    axes.set_xlabel("ms from its going")
    axes.set_xlim(ms[0], ms[-1])
    axes.locator_params(nbins=4)
    beside = axes.twinx()
    beside.plot(ms, fall.offset_hz, linestyle="none", marker=".", markersize=1.6, color=style.FLOOR)
    known = fall.offset_hz[np.isfinite(fall.offset_hz)]
    reach = 1.2 * float(np.abs(known).max()) if known.size else 0.0
    reach = max(reach, _LEAST_HALF_HZ)
    beside.set_ylim(-reach, reach)
    beside.locator_params(axis="y", nbins=4)
