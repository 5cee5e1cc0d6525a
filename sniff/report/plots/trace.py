"""What the pictures of a look and of a board share: a spectrum's traces, a line's marker."""

from collections.abc import Iterable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import ScaledTranslation

from sniff.look import Look, SeenLine
from sniff.model import Doubles
from sniff.report.plots import style
from sniff.report.plots.axis import Ruler, Scale, level_range, thin, to_dbfs
from sniff.report.plots.page import WIDTH_MM
from sniff.report.plots.style import Shape
from sniff.units import to_db

_COLUMNS = 1400
_LABEL_BESIDE_MM = 10.5
MARKER_PT = 6.0
TIP_PT = 0.75 * MARKER_PT
"""A marker hangs this far above its level, so that its tip touches the trace."""


def span_hz(look: Look, scale: Scale) -> tuple[float, float]:
    """True frequencies of the spectrum's outer edges, Hz."""
    spectrum = look.spectrum
    low_hz = spectrum.first_hz - spectrum.bin_hz / 2.0
    return scale.true_hz(low_hz), scale.true_hz(low_hz + spectrum.rate_hz)


def draw_traces(
    axes: Axes,
    look: Look,
    scale: Scale,
    *,
    ruler: Ruler,
    low_hz: float,
    high_hz: float,
    levels_dbfs: Iterable[float],
    headroom: float = 0.0,
) -> None:
    """Draw mean, max-hold, noise floor and threshold, and set both axes' limits.

    Parameters
    ----------
    axes : Axes
    look : Look
    scale : Scale
        From indicated to true.
    ruler : Ruler
        From true frequency to the axis.
    low_hz, high_hz : float
        True frequencies of the picture's left and right edge.
    levels_dbfs : iterable of float
        Levels that must lie inside the picture, beside the traces.
    headroom : float
        Part of the height to keep free at the top.
    """
    spectrum = look.spectrum
    rbw_hz = spectrum.rbw_hz
    frequencies_hz = scale.true_hz(spectrum.frequencies_hz)
    half_hz = spectrum.bin_hz * scale.factor / 2.0
    seen = (frequencies_hz >= low_hz - 2 * half_hz) & (frequencies_hz <= high_hz + 2 * half_hz)
    traces = [
        (spectrum.tone_power, style.TRACE_STROKE),
        (look.noise * rbw_hz, style.NOISE_STROKE),
        (look.threshold * rbw_hz, style.THRESHOLD_STROKE),
    ]
    if spectrum.max_hold is not None:
        traces.append((spectrum.max_hold * rbw_hz, style.HOLD_STROKE))
    drawn = [to_dbfs(power[seen]) for power, _ in traces]
    for level, (_, stroke) in zip(drawn, traces, strict=True):
        x_hz, y = thin(frequencies_hz[seen], level, columns=_COLUMNS)
        if x_hz.size:
            x_hz, y = to_the_edges(x_hz, y, half_hz)
            axes.plot(ruler.place(x_hz), y, **stroke)
    low, high = level_range(drawn, levels_dbfs)
    axes.set_ylim(low, low + (high - low) / (1.0 - headroom))
    axes.set_xlim(ruler.place(low_hz), ruler.place(high_hz))
    ruler.mark(axes.xaxis)
    axes.grid(visible=True)


def to_the_edges(x_hz: Doubles, levels: Doubles, half_hz: float) -> tuple[Doubles, Doubles]:
    """Half a bin more on either side: a bin has a width, and a lone one would not be seen."""
    edges_hz = np.concatenate([[x_hz[0] - half_hz], x_hz, [x_hz[-1] + half_hz]])
    return edges_hz, np.pad(levels, 1, "edge")


def label_beside(axes: Axes, text: str) -> None:
    """Set the vertical axis' label at a fixed distance, and ticks at whole decibels, short enough
    not to meet it."""
    axes.set_ylabel(text)
    axes.yaxis.set_major_locator(
        MaxNLocator("auto", steps=[1, 2, 5, 10], integer=True, min_n_ticks=2)
    )
    width_mm = axes.get_position().width * WIDTH_MM
    axes.yaxis.set_label_coords(-_LABEL_BESIDE_MM / width_mm, 0.5)


def stroke_keys(looks: Iterable[Look]) -> list[Line2D]:
    """Legend entries of the traces."""
    strokes = [style.TRACE_STROKE, style.NOISE_STROKE, style.THRESHOLD_STROKE]
    if any(look.spectrum.max_hold is not None for look in looks):
        strokes.insert(1, style.HOLD_STROKE)
    return [Line2D([], [], **stroke) for stroke in strokes]


def shape_of(line: SeenLine) -> Shape:
    """The shape of its weightiest mark, or that of a line without one."""
    return next((shape for mark, shape in style.MARKS.items() if mark in line.marks), style.FOUND)


def height_dbfs(look: Look, indicated_hz: float, level_dbfs: float) -> float:
    """Where a line's marker belongs: at its level, or on the trace where noise lies over that."""
    spectrum = look.spectrum
    at = round((indicated_hz - spectrum.first_hz) / spectrum.bin_hz)
    power = spectrum.psd[min(max(at, 0), spectrum.psd.size - 1)] * spectrum.rbw_hz
    return max(level_dbfs, to_db(power))


def draw_marker(axes: Axes, x: float, level_dbfs: float, shape: Shape, *, size_pt: float) -> None:
    """Hang a marker over a level, with its tip on it."""
    above = axes.transData + ScaledTranslation(0.0, TIP_PT / 72.0, axes.figure.dpi_scale_trans)
    axes.plot(x, level_dbfs, transform=above, zorder=4, clip_on=False, **shape.line(size_pt))
