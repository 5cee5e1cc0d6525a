"""The picture of a watch: level and frequency against time, how lines went, and days as rows."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.correction import Correction
from sniff.model import Caution, Doubles
from sniff.report.plots import style
from sniff.report.plots.axis import Ruler, ruler_about, ruler_of_time, scale_of, to_dbfs
from sniff.report.plots.page import WIDTH_MM, Page, Sheet, open_page, unbroken
from sniff.report.plots.style import Shape
from sniff.report.plots.watch_days import DAY_S, draw_days, height_mm
from sniff.report.plots.watch_passage import draw_passages, examples
from sniff.units import format_reading, format_seconds
from sniff.watch.nouns import Dropout, Kind, WatchResult
from sniff.watch.trace import Trace

_LEFT_MM, _RIGHT_MM = 20.0, 4.0
_NAME_MM = 5.5
_LEVEL_MM, _FREQUENCY_MM, _PASSAGE_MM = 62.0, 40.0, 34.0
_BETWEEN_MM = 9.0
_UNDER_MM = 13.0
_COLUMNS = 1400
_MOST_SHADES = 500
_LEAST_SHADE_MM = 0.3
_LEAST_SPAN_DB = 10.0
_LEAST_SPAN_HZ = 20.0

KIND_SHAPES: dict[Kind | None, Shape] = {
    Kind.BREAK: Shape(marker="x", filled=False, color=style.FAULTY, words="break: abrupt"),
    Kind.PULL: Shape(marker=">", filled=True, color=style.INK, words="pull: frequency moved"),
    Kind.FADE: Shape(marker="v", filled=False, color=style.OPEN_QUESTION, words="fade: slow"),
    None: Shape(marker="_", filled=False, color=style.PALE_INK, words="not seen going"),
}
_SHADE: dict[str, Any] = {
    "facecolor": "#f3d9d2",
    "edgecolor": style.FAULTY,
    "linewidth": 0.3,
    "label": "not there",
    "zorder": 1.0,
}
_RANGE: dict[str, Any] = {
    "facecolor": "#b9cbd9",
    "linewidth": 0.0,
    "label": "lowest to highest",
    "zorder": 2.0,
}
_MEAN: dict[str, Any] = {
    "color": style.TRACE,
    "linewidth": 0.9,
    "label": "mean while there",
    "zorder": 2.5,
}
_MARK: dict[str, Any] = {
    "color": style.INK,
    "linewidth": 0.7,
    "linestyle": (0, (4, 2)),
    "label": "marked",
    "zorder": 2.2,
}


def draw_watch(
    result: WatchResult,
    trace: Trace,
    *,
    clock: Correction | None = None,
    cautions: Sequence[Caution] = (),
) -> Any:
    """Draw level and frequency against time, the drop-outs shaded and their kinds marked.

    Below, one drop-out of each kind at close range, and for runs of more than a day each day as a
    row.

    Parameters
    ----------
    result : WatchResult
    trace : Trace
        At least one step.
    clock : Correction, optional
        Applied to the frequency axis.
    cautions : sequence of Caution
        For the small print.

    Returns
    -------
    Figure
        190 mm wide.
    """
    with style.context():
        scale = scale_of((), clock)
        end_s = trace.start_s + trace.step_s * trace.hz.size
        days = draw_days if end_s - trace.start_s > DAY_S else None
        shown = examples(result.dropouts)
        sheet = Sheet(
            title=_title(result),
            keys=_keys(result, trace),
            footer=[
                f"one step {format_seconds(trace.step_s)}; resolution "
                f"{format_seconds(result.resolution_s)} · {scale.statement}",
                *(f"Caution: {caution.text}" for caution in cautions),
            ],
        )
        days_mm = 0.0 if days is None else height_mm(trace) + _BETWEEN_MM + _NAME_MM
        close_mm = _PASSAGE_MM + _UNDER_MM + _NAME_MM + 2.0 if shown else 0.0
        body_mm = (
            _NAME_MM + _LEVEL_MM + _BETWEEN_MM + _FREQUENCY_MM + _UNDER_MM + close_mm + days_mm
        )
        page = open_page(sheet, body_mm=body_mm)
        time, unit = ruler_of_time(end_s - trace.start_s)
        width_mm = WIDTH_MM - _LEFT_MM - _RIGHT_MM
        top_mm = sheet.top_mm + _NAME_MM
        level = page.axes(left_mm=_LEFT_MM, top_mm=top_mm, width_mm=width_mm, height_mm=_LEVEL_MM)
        _name(page, "level, dBFS", top_mm)
        _draw_level(level, trace, time)
        level.tick_params(labelbottom=False)
        top_mm += _LEVEL_MM + _BETWEEN_MM
        frequency = page.axes(
            left_mm=_LEFT_MM,
            top_mm=top_mm,
            width_mm=width_mm,
            height_mm=_FREQUENCY_MM,
            sharex=level,
        )
        words = _draw_frequency(frequency, trace, time, scale.true_hz)
        _name(page, f"{words} ({scale.words})", top_mm)
        least = _LEAST_SHADE_MM / width_mm * (end_s - trace.start_s)
        for axes in (level, frequency):
            axes.set_xlim(time.place(trace.start_s), time.place(end_s))
            _shade(axes, result, trace, time, least_s=least)
            axes.grid(visible=True)
        _mark_kinds(level, result.dropouts, time)
        time.mark(frequency.xaxis)
        frequency.set_xlabel(f"time since the start, {unit}")
        top_mm += _FREQUENCY_MM + _UNDER_MM
        if shown:
            top_mm += _NAME_MM + 2.0
            draw_passages(page, shown, left_mm=_LEFT_MM, top_mm=top_mm, height_mm=_PASSAGE_MM)
            top_mm += _PASSAGE_MM + _UNDER_MM
        if days is not None:
            _name(
                page,
                "each day as a row: dark there, light not, hatched unobserved",
                top_mm + _NAME_MM,
            )
            days(page, trace, left_mm=_LEFT_MM, top_mm=top_mm + _NAME_MM, width_mm=width_mm)
        return page.figure


def _title(result: WatchResult) -> str:
    where = "The line"
    if result.frequency_hz is not None and result.u_hz is not None:
        where = unbroken(format_reading(result.frequency_hz, 2.0 * result.u_hz))
    return f"{where}: {result.verdict.value}, {result.why}"


def _name(page: Page, name: str, top_mm: float) -> None:
    """Over its axes, upright."""
    page.write(_LEFT_MM, top_mm - style.LINE_MM - 1.6, name)


def _columns(trace: Trace) -> list[slice]:
    """Steps that share a column of paper."""
    group = max(1, -(-trace.hz.size // _COLUMNS))
    return [slice(at, at + group) for at in range(0, trace.hz.size, group)]


def _over(values: Doubles, columns: list[slice], how: Any) -> Doubles:
    """One value a column; NaN where there is none."""
    kept = [values[column][np.isfinite(values[column])] for column in columns]
    return np.array([how(part) if part.size else np.nan for part in kept], dtype=np.float64)


def _edges(trace: Trace, columns: list[slice]) -> Doubles:
    stops = [min(column.stop, trace.hz.size) for column in columns]
    return trace.start_s + trace.step_s * np.array([0, *stops], dtype=np.float64)


def _draw_level(axes: Axes, trace: Trace, time: Ruler) -> None:
    columns = _columns(trace)
    edges = time.place(_edges(trace, columns))
    low = to_dbfs(_over(trace.lowest, columns, np.min))
    high = to_dbfs(_over(trace.highest, columns, np.max))
    axes.fill_between(
        edges, np.append(low, low[-1]), np.append(high, high[-1]), step="post", **_RANGE
    )
    mean = to_dbfs(_over(trace.power, columns, np.mean))
    axes.stairs(mean, edges, baseline=None, **_MEAN)
    bottom, top = float(np.nanmin(low)), float(np.nanmax(high))
    air = max(1.0, 0.06 * (top - bottom))
    if top - bottom < _LEAST_SPAN_DB:
        bottom = top - _LEAST_SPAN_DB
    axes.set_ylim(bottom - air, top + 2.0 * air)


def _draw_frequency(axes: Axes, trace: Trace, time: Ruler, true_hz: Any) -> str:
    columns = _columns(trace)
    edges = time.place(_edges(trace, columns))
    hz = true_hz(trace.hz)
    known = hz[np.isfinite(hz)]
    middle_hz = float(np.round(np.median(known))) if known.size else 0.0
    span_hz = max(_LEAST_SPAN_HZ, float(np.ptp(known)) if known.size else 0.0)
    ruler, words = ruler_about(middle_hz, span_hz)
    low, high = (_over(hz, columns, how) for how in (np.min, np.max))
    axes.fill_between(
        edges,
        ruler.place(np.append(low, low[-1])),
        ruler.place(np.append(high, high[-1])),
        step="post",
        **{**_RANGE, "label": None},
    )
    axes.stairs(ruler.place(_over(hz, columns, np.mean)), edges, baseline=None, **_MEAN)
    if known.size:
        center = ruler.place((known.min() + known.max()) / 2.0)
        half = 0.6 * span_hz / ruler.unit
        axes.set_ylim(center - half, center + half)
    ruler.mark(axes.yaxis)
    return words


def _shade(axes: Axes, result: WatchResult, trace: Trace, time: Ruler, *, least_s: float) -> None:
    """Drop-outs, what was not observed, and marks."""
    for dropout in result.dropouts[:_MOST_SHADES]:
        end_s = max(dropout.end_s, dropout.start_s + least_s)
        axes.axvspan(time.place(dropout.start_s), time.place(end_s), **_SHADE)
    for first, stop in _runs(trace.observed < 0.05):
        if stop - first > 1:
            from_s, to_s = (trace.start_s + trace.step_s * at for at in (first, stop))
            axes.axvspan(time.place(from_s), time.place(to_s), **style.UNOBSERVED)
    for mark in result.marks:
        axes.axvline(time.place(mark.at_s), **_MARK)


def _mark_kinds(axes: Axes, dropouts: Sequence[Dropout], time: Ruler) -> None:
    """A shape over each drop-out, at the top."""
    for kind, shape in KIND_SHAPES.items():
        mine = [d for d in dropouts[:_MOST_SHADES] if d.kind is kind]
        axes.plot(
            [time.place(d.start_s + d.duration_s / 2.0) for d in mine],
            [0.95] * len(mine),
            transform=axes.get_xaxis_transform(),
            clip_on=False,
            **shape.line(),
        )


def _runs(flags: Any) -> list[tuple[int, int]]:
    steps = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(steps[::2], steps[1::2], strict=True)]


def _keys(result: WatchResult, trace: Trace) -> list[Any]:
    keys: list[Any] = [Line2D([], [], **_MEAN), Patch(**_RANGE)]
    if result.dropouts:
        keys.append(Patch(**_SHADE))
    for kind, shape in KIND_SHAPES.items():
        if any(dropout.kind is kind for dropout in result.dropouts):
            keys.append(Line2D([], [], label=shape.words, **shape.line()))
    if any(stop - first > 1 for first, stop in _runs(trace.observed < 0.05)):
        keys.append(Patch(**style.UNOBSERVED))
    if result.marks:
        keys.append(Line2D([], [], **_MARK))
    return keys
