"""The picture of a look: one spectrum, its noise floor, and the lines found in it."""

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.correction import Correction
from sniff.look import Look, SeenLine
from sniff.model import NOT_SIGNALS
from sniff.report.plots import style
from sniff.report.plots.axis import U_WORDS, Ruler, Scale, how_taken, scale_of
from sniff.report.plots.label_band import AXES_LEFT_MM, AXES_WIDTH_MM, label_band, most_that_fit
from sniff.report.plots.page import (
    Sheet,
    open_page,
    unbroken,
)
from sniff.report.plots.trace import (
    MARKER_PT,
    draw_marker,
    draw_traces,
    height_dbfs,
    label_beside,
    shape_of,
    span_hz,
    stroke_keys,
)
from sniff.units import format_dbfs, format_frequency, format_reading, format_span

_MOST_LABELS = 10
_AXES_HEIGHT_MM = 88.0
_UNDER_AXES_MM = 14.0
_RULER = Ruler()


def draw_look(
    look: Look, *, clock: Correction | None = None, usable_fraction: float = 0.8
) -> Figure:
    """Draw a spectrum with the lines found in it.

    The ten strongest lines are labelled with their reading and U (k = 2), the rest are ticks.

    Parameters
    ----------
    look : Look
        What was seen.
    clock : Correction, optional
        The correction that was applied. Without it the axis is corrected by the ratio that the
        lines found carry; a look without lines is then drawn as indicated, and says so.
    usable_fraction : float
        Part of the span, about the centre, in which levels can be trusted; the rest is shaded.

    Returns
    -------
    Figure
        190 mm wide.
    """
    with style.context():
        scale = scale_of([look], clock)
        low_hz, high_hz = span_hz(look, scale)
        named, others = _choose(look.result.peaks)
        band = label_band(
            [line.frequency_hz for line in named],
            [_label(line) for line in named],
            low_hz=low_hz,
            high_hz=high_hz,
        )
        sheet = Sheet(
            title=_title(look, low_hz, high_hz),
            keys=_keys(look, named, others, usable_fraction),
            footer=[
                f"{how_taken(look.result)} · {scale.statement} · {U_WORDS}",
                *(f"Caution: {caution.text}" for caution in look.cautions),
            ],
        )
        page = open_page(sheet, body_mm=band.height_mm + _AXES_HEIGHT_MM + _UNDER_AXES_MM)
        axes = page.axes(
            left_mm=AXES_LEFT_MM,
            top_mm=sheet.top_mm + band.height_mm,
            width_mm=AXES_WIDTH_MM,
            height_mm=_AXES_HEIGHT_MM,
        )
        _draw_axes(axes, look, scale, usable_fraction)
        for line in look.result.peaks:
            _mark(axes, look, line, named=line in named)
        heights = [height_dbfs(look, line.indicated_hz, line.level_dbfs) for line in named]
        band.draw(page, axes, heights, top_mm=sheet.top_mm, axes_height_mm=_AXES_HEIGHT_MM)
        return page.figure


def _label(line: SeenLine) -> str:
    text = format_reading(line.frequency_hz, line.expanded_hz).replace(" ± ", "\n± ")
    words = [mark.value for mark in line.marks]
    if line.width_hz > 0:
        words.append(f"{format_span(line.width_hz)} wide")
    elif not line.steady:
        words.append("not steady")
    return "\n".join([text, *words])


def _choose(lines: Sequence[SeenLine]) -> tuple[list[SeenLine], list[SeenLine]]:
    """Lines that get a label, by frequency, and the rest.

    Ten, or as many as fit when their uncertainties are so small that the labels are long.
    """
    room = most_that_fit([_label(line) for line in lines[:_MOST_LABELS]])
    count = min(_MOST_LABELS, room)
    return sorted(lines[:count], key=lambda line: line.frequency_hz), list(lines[count:])


def _unusable_hz(
    low_hz: float, high_hz: float, usable_fraction: float
) -> list[tuple[float, float]]:
    edge_hz = (high_hz - low_hz) * (1.0 - usable_fraction) / 2.0
    return [(low_hz, low_hz + edge_hz), (high_hz - edge_hz, high_hz)] if edge_hz > 0 else []


def _draw_axes(axes: Axes, look: Look, scale: Scale, usable_fraction: float) -> None:
    low_hz, high_hz = span_hz(look, scale)
    draw_traces(
        axes,
        look,
        scale,
        ruler=_RULER,
        low_hz=low_hz,
        high_hz=high_hz,
        levels_dbfs=[line.level_dbfs for line in look.result.peaks],
    )
    for low, high in _unusable_hz(low_hz, high_hz, usable_fraction):
        axes.axvspan(
            _RULER.place(low), _RULER.place(high), color=style.SHADE, linewidth=0.0, zorder=0
        )
    axes.set_xlabel(f"frequency, MHz ({scale.words})")
    label_beside(axes, f"level in {format_span(look.spectrum.rbw_hz)}, dBFS")


def _mark(axes: Axes, look: Look, line: SeenLine, *, named: bool) -> None:
    shape = shape_of(line)
    if not named and shape is style.FOUND:
        shape = style.WEAKER
    size_pt = MARKER_PT if named else 0.75 * MARKER_PT
    level = height_dbfs(look, line.indicated_hz, line.level_dbfs)
    draw_marker(axes, _RULER.place(line.frequency_hz), level, shape, size_pt=size_pt)


def _title(look: Look, low_hz: float, high_hz: float) -> str:
    lines = look.result.peaks
    digits_hz = high_hz - low_hz
    low = unbroken(format_frequency(low_hz, digits_hz))
    where = f"between {low} and {unbroken(format_frequency(high_hz, digits_hz))}"
    if not lines:
        return f"No line above the detection threshold {where}"
    signals = [line for line in lines if not NOT_SIGNALS.intersection(line.marks)]
    own = len(lines) - len(signals)
    if not signals:
        return f"{_count(own)} {where}, made by the receiver itself"
    best = max(signals, key=lambda line: line.level_dbfs)
    which = "" if len(signals) == 1 else "the strongest "
    marks = f" ({', '.join(mark.value for mark in best.marks)})" if best.marks else ""
    strongest = (
        f"{which}{unbroken(format_reading(best.frequency_hz, best.expanded_hz))} "
        f"at {unbroken(format_dbfs(best.level_dbfs))}{marks}"
    )
    aside = f"; {own} more made by the receiver itself" if own else ""
    return f"{_count(len(signals))} {where}: {strongest}{aside}"


def _count(lines: int) -> str:
    return "1 line" if lines == 1 else f"{lines} lines"


def _keys(
    look: Look, named: Sequence[SeenLine], others: Sequence[SeenLine], usable_fraction: float
) -> list[Line2D | Patch]:
    shapes = [style.FOUND] if any(shape_of(line) is style.FOUND for line in named) else []
    shapes += [style.WEAKER] if any(shape_of(line) is style.FOUND for line in others) else []
    marked = [shape_of(line) for line in look.result.peaks]
    shapes += [shape for shape in style.MARKS.values() if shape in marked]
    keys: list[Line2D | Patch] = [
        *stroke_keys([look]),
        *(Line2D([], [], label=shape.words, **shape.line()) for shape in shapes),
    ]
    if usable_fraction < 1.0:
        words = f"outside the usable {100.0 * usable_fraction:.0f} %"
        keys.append(Patch(facecolor=style.SHADE, label=words))
    return keys
