"""The picture of a sweep: the stitched spectrum, and what each line may be."""

from collections.abc import Sequence
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.correction import Correction
from sniff.naming import Family
from sniff.report.plots import style
from sniff.report.plots.axis import U_WORDS, Ruler, Scale, scale_of
from sniff.report.plots.label_band import AXES_LEFT_MM, AXES_WIDTH_MM, label_band, most_that_fit
from sniff.report.plots.page import (
    Sheet,
    open_page,
    unbroken,
    wrap,
)
from sniff.report.plots.trace import (
    MARKER_PT,
    draw_marker,
    draw_traces,
    height_dbfs,
    label_beside,
    span_hz,
    stroke_keys,
)
from sniff.sweep.hops import Span
from sniff.sweep.swept import Sweep, SweptLine
from sniff.units import format_dbfs, format_frequency, format_reading, format_seconds, format_span

_MOST_LABELS = 12
_AXES_HEIGHT_MM = 92.0
_UNDER_AXES_MM = 14.0
_WIDEST_NAME_MM = 27.0
_RULER = Ruler()

_EXPLAINED = style.Shape(marker="v", filled=True, color=style.INK, words="line explained")
_UNEXPLAINED = style.Shape(marker="D", filled=True, color=style.FAULTY, words="line unexplained")
_NO_SIGNAL = style.Shape(
    marker="v",
    filled=False,
    color=style.FAULTY,
    words="no signal: gone again, or made by the receiver",
)
_BLIND: Final[dict[str, Any]] = {
    "facecolor": style.SHADE,
    "label": "under a hop's spike, interpolated",
}


def draw_sweep(sweep: Sweep, *, clock: Correction | None = None) -> Figure:
    """Draw a sweep with its lines named.

    Up to twelve lines are labelled: by turns the strongest unexplained ones and the most telling
    explained ones, the set's oscillators first. The rest are markers without words.

    Parameters
    ----------
    sweep : Sweep
    clock : Correction, optional
        The correction that was applied.

    Returns
    -------
    Figure
        190 mm wide.
    """
    with style.context():
        look = sweep.look
        scale = scale_of([look], clock)
        low_hz, high_hz = span_hz(look, scale)
        named = _choose(sweep.result.peaks)
        band = label_band(
            [line.frequency_hz for line in named],
            [_label(line) for line in named],
            low_hz=low_hz,
            high_hz=high_hz,
        )
        sheet = Sheet(
            title=_title(sweep, low_hz, high_hz),
            keys=_keys(sweep),
            footer=[
                f"{_how_swept(sweep)} · {scale.statement} · {U_WORDS}",
                *(f"Caution: {caution.text}" for caution in sweep.cautions),
            ],
        )
        page = open_page(sheet, body_mm=band.height_mm + _AXES_HEIGHT_MM + _UNDER_AXES_MM)
        axes = page.axes(
            left_mm=AXES_LEFT_MM,
            top_mm=sheet.top_mm + band.height_mm,
            width_mm=AXES_WIDTH_MM,
            height_mm=_AXES_HEIGHT_MM,
        )
        _draw_axes(axes, sweep, scale, low_hz, high_hz)
        heights = [height_dbfs(look, line.indicated_hz, line.level_dbfs) for line in named]
        for line in sweep.result.peaks:
            size_pt = MARKER_PT if line in named else 0.75 * MARKER_PT
            level = height_dbfs(look, line.indicated_hz, line.level_dbfs)
            place = _RULER.place(line.frequency_hz)
            draw_marker(axes, place, level, _shape(line), size_pt=size_pt)
        band.draw(page, axes, heights, top_mm=sheet.top_mm, axes_height_mm=_AXES_HEIGHT_MM)
        return page.figure


def _shape(line: SweptLine) -> style.Shape:
    if not line.is_signal:
        return _NO_SIGNAL
    return _EXPLAINED if line.explained else _UNEXPLAINED


def _label(line: SweptLine) -> str:
    best = line.explanations[0] if line.explained else None
    if best is None:
        name = "unexplained"
    elif best.family is Family.REFERENCE:
        name = f"may be {best.name}"
    else:
        name = f"{best.name}{', off frequency' if best.off else ''}"
    words = wrap(name.replace(" MHz", "\N{NO-BREAK SPACE}MHz"), _WIDEST_NAME_MM)
    reading = format_reading(line.frequency_hz, line.expanded_hz).replace(" ± ", "\n± ")
    return "\n".join([*words, reading])


def _choose(lines: Sequence[SweptLine]) -> list[SweptLine]:
    """Lines that get a label, by frequency, as many as fit."""
    there = [line for line in lines if line.is_signal]
    order = list(Family)
    unexplained = [line for line in there if not line.explained]
    explained = sorted(
        (line for line in there if line.explained),
        key=lambda line: (order.index(line.explanations[0].family), -line.level_dbfs),
    )
    turns: list[SweptLine] = []
    for place in range(max(len(unexplained), len(explained))):
        turns += unexplained[place : place + 1] + explained[place : place + 1]
    chosen = turns[:_MOST_LABELS]
    room = most_that_fit([_label(line) for line in chosen])
    return sorted(chosen[:room], key=lambda line: line.frequency_hz)


def _draw_axes(axes: Axes, sweep: Sweep, scale: Scale, low_hz: float, high_hz: float) -> None:
    look = sweep.look
    draw_traces(
        axes,
        look,
        scale,
        ruler=_RULER,
        low_hz=low_hz,
        high_hz=high_hz,
        levels_dbfs=[line.level_dbfs for line in sweep.result.peaks],
    )
    for spans, patch in (
        (sweep.result.unobserved, style.UNOBSERVED),
        (sweep.result.interpolated, _BLIND),
    ):
        for span in _inside(spans, low_hz, high_hz):
            axes.axvspan(
                _RULER.place(span.low_hz),
                _RULER.place(span.high_hz),
                **{"linewidth": 0.0, "zorder": 0, **patch},
            )
    axes.set_xlabel(f"frequency, MHz ({scale.words})")
    label_beside(axes, f"level in {format_span(sweep.result.rbw_hz)}, dBFS")


def _inside(spans: Sequence[Span], low_hz: float, high_hz: float) -> list[Span]:
    cut = [
        Span(low_hz=max(span.low_hz, low_hz), high_hz=min(span.high_hz, high_hz)) for span in spans
    ]
    return [span for span in cut if span.low_hz < span.high_hz]


def _how_swept(sweep: Sweep) -> str:
    result = sweep.result
    passes = "" if result.passes == 1 else f", {result.passes} passes"
    return (
        f"RBW {format_span(result.rbw_hz)} · {result.hops} hops{passes} · "
        f"{format_seconds(result.seconds)} and {format_seconds(result.stay_seconds)} at lines · "
        f"window {result.window}"
    )


def _title(sweep: Sweep, low_hz: float, high_hz: float) -> str:
    digits_hz = high_hz - low_hz
    where = (
        f"between {unbroken(format_frequency(low_hz, digits_hz))} and "
        f"{unbroken(format_frequency(high_hz, digits_hz))}"
    )
    there = [line for line in sweep.result.peaks if line.is_signal]
    if not there:
        return f"No line above the detection threshold {where}"
    lines = "1 line" if len(there) == 1 else f"{len(there)} lines"
    unexplained = [line for line in there if not line.explained]
    if not unexplained:
        return f"{lines} {where}, all explained"
    best = max(unexplained, key=lambda line: line.level_dbfs)
    strongest = (
        f"{unbroken(format_frequency(best.frequency_hz, best.expanded_hz))} at "
        f"{unbroken(format_dbfs(best.level_dbfs))}"
    )
    if len(unexplained) == 1:
        return f"{lines} {where}; 1 unexplained: {strongest}"
    return f"{lines} {where}; {len(unexplained)} unexplained, the strongest {strongest}"


def _keys(sweep: Sweep) -> list[Line2D | Patch]:
    shown = [_shape(line) for line in sweep.result.peaks]
    shapes = [shape for shape in (_EXPLAINED, _UNEXPLAINED, _NO_SIGNAL) if shape in shown]
    keys: list[Line2D | Patch] = [
        *stroke_keys([sweep.look]),
        *(Line2D([], [], label=shape.words, **shape.line()) for shape in shapes),
    ]
    if sweep.result.unobserved:
        keys.append(Patch(**style.UNOBSERVED))
    if sweep.result.interpolated:
        keys.append(Patch(**_BLIND))
    return keys
