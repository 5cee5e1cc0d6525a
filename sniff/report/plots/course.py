"""The picture of a course: spectrum against time.

Time runs to the right. The question at the bench is *when* a line went: read that way, a line is a
written trace that breaks off and comes back, the sheet's long side goes to time, the strip with the
line's level hangs below on the same time axis, and the names of the expected lines stand upright
beside the frequency axis.
"""

from collections.abc import Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.correction import Correction
from sniff.board import Board, BoardLine, LineState
from sniff.model import Course, Doubles
from sniff.report.plots import labels, style
from sniff.report.plots.axis import Ruler, Scale, level_range, ruler_about, ruler_of_time, scale_of
from sniff.report.plots.page import WIDTH_MM, Page, Sheet, open_page, text_width_mm, unbroken
from sniff.report.plots.stretch import Stretch, level_of, stretch_of, unobserved_s
from sniff.units import format_frequency, format_seconds, format_share, format_span

_LEFT_MM = 20.0
_NAME_OVER_MM = 5.5
_SCALE_MM, _SCALE_TEXT_MM = 3.5, 14.0
_IMAGE_MM = 100.0
_STRIP_MM = 34.0
_BETWEEN_MM = 8.0
_UNDER_AXES_MM = 14.0
_BRACKET_MM, _NAME_MM = 1.4, 9.5
_LEAST_BRACKET_MM = 1.2
_LEAST_REACH_COLUMNS = 3
_MOST_DB, _LEAST_DB = 50.0, 10.0
"""Range of the lightness scale. More would leave nothing for a weak line beside a strong one."""


def draw_course(
    course: Course,
    *,
    board: Board | None = None,
    line: BoardLine | None = None,
    clock: Correction | None = None,
) -> Figure:
    """Draw spectrum against time.

    Parameters
    ----------
    course : Course
        Power by time and frequency; NaN where nothing was observed.
    board : Board, optional
        Its expected lines are drawn beside the frequency axis.
    line : BoardLine, optional
        Show only this line's search window and a little more, and its level against time below.
    clock : Correction, optional
        The correction that was applied; without it what the board's lines tell, else none.

    Returns
    -------
    Figure
        190 mm wide.

    Raises
    ------
    UsageError
        When `line` lies outside the course.
    """
    with style.context():
        scale = scale_of(board.looks if board is not None else (), clock)
        stretch = stretch_of(course, scale, line)
        expected = _expected(board, line)
        inside = [item for item in expected if _holds(stretch, item)]
        outside = [item for item in expected if item not in inside]
        sheet = Sheet(
            title=_title(course, inside, line),
            keys=_keys(stretch, inside, line),
            footer=_footer(stretch, scale, board, outside),
        )
        strip_mm = 0.0 if line is None else _BETWEEN_MM + _STRIP_MM
        page = open_page(sheet, body_mm=_NAME_OVER_MM + _IMAGE_MM + strip_mm + _UNDER_AXES_MM)
        top_mm = sheet.top_mm + _NAME_OVER_MM
        names_mm = max((_NAME_MM + text_width_mm(item.name) for item in inside), default=0.0)
        width_mm = WIDTH_MM - _LEFT_MM - names_mm - 4.0 - _SCALE_MM - _SCALE_TEXT_MM
        axes = page.axes(left_mm=_LEFT_MM, top_mm=top_mm, width_mm=width_mm, height_mm=_IMAGE_MM)
        time, unit = ruler_of_time(stretch.stop_s - stretch.start_s)
        ruler, words = _ruler(stretch, line)
        _name_axis(page, f"{words} ({scale.words})", left_mm=_LEFT_MM, top_mm=top_mm)
        # With one line in view its whole range may be shown; else weak lines need lightness too.
        foot, top, clipped = _lightness(stretch, most_db=_MOST_DB if line is None else None)
        image = _draw_image(axes, stretch, ruler, time, foot_dbfs=foot, top_dbfs=top)
        _draw_scale(page, image, clipped=clipped, top_mm=top_mm)
        _draw_brackets(page, stretch, inside, left_mm=_LEFT_MM + width_mm, top_mm=top_mm)
        if line is not None:
            axes.tick_params(labelbottom=False)
            strip_top_mm = top_mm + _IMAGE_MM + _BETWEEN_MM
            level_dbfs, name = _read_strip(course, scale, line)
            _name_axis(page, name, left_mm=_LEFT_MM, top_mm=strip_top_mm)
            axes = page.axes(
                left_mm=_LEFT_MM,
                top_mm=strip_top_mm,
                width_mm=width_mm,
                height_mm=_STRIP_MM,
                sharex=axes,
            )
            _draw_strip(axes, course, level_dbfs, time)
        time.mark(axes.xaxis)
        axes.set_xlabel(f"time since the start, {unit}")
        return page.figure


def _name_axis(page: Page, name: str, *, left_mm: float, top_mm: float) -> None:
    """Set a vertical axis' name over it: upright, and clear of tick labels of any length."""
    page.write(left_mm, top_mm - style.LINE_MM - 1.6, name)


def _expected(board: Board | None, line: BoardLine | None) -> Sequence[BoardLine]:
    if line is not None:
        return (line,)
    return () if board is None else board.result.lines


def _holds(stretch: Stretch, line: BoardLine) -> bool:
    return stretch.low_hz <= line.expected_hz <= stretch.high_hz


def _ruler(stretch: Stretch, line: BoardLine | None) -> tuple[Ruler, str]:
    if line is None:
        return Ruler(), "frequency, MHz"
    return ruler_about(line.expected_hz, stretch.high_hz - stretch.low_hz)


def _lightness(stretch: Stretch, *, most_db: float | None) -> tuple[float, float, bool]:
    """Levels of darkest and lightest, dBFS, and whether some lie above the lightest."""
    levels = stretch.levels_dbfs[~np.isnan(stretch.levels_dbfs)]
    if not levels.size:
        return -150.0, 0.0, False
    foot = float(np.quantile(levels, 0.05))
    highest = float(levels.max())
    top = max(highest, foot + _LEAST_DB)
    if most_db is not None:
        top = min(top, foot + most_db)
    return foot, top, highest > top


def _draw_image(
    axes: Axes, stretch: Stretch, ruler: Ruler, time: Ruler, *, foot_dbfs: float, top_dbfs: float
) -> AxesImage:
    """Levels as lightness; unobserved time is left open, and hatched from behind."""
    axes.patch.set(**style.UNOBSERVED)
    first_s, last_s, low_hz, high_hz = stretch.extent
    image = axes.imshow(
        np.ma.masked_invalid(stretch.levels_dbfs.T),
        cmap=matplotlib.colormaps[style.MAP].with_extremes(bad=(0.0, 0.0, 0.0, 0.0)),
        vmin=foot_dbfs,
        vmax=top_dbfs,
        origin="lower",
        aspect="auto",
        interpolation="nearest",
        extent=(
            *time.place(np.array([first_s, last_s])),
            *ruler.place(np.array([low_hz, high_hz])),
        ),
    )
    axes.set_xlim(time.place(stretch.start_s), time.place(stretch.stop_s))
    axes.set_ylim(ruler.place(stretch.low_hz), ruler.place(stretch.high_hz))
    ruler.mark(axes.yaxis)
    return image


def _draw_scale(page: Page, image: AxesImage, *, clipped: bool, top_mm: float) -> None:
    left_mm = WIDTH_MM - _SCALE_MM - _SCALE_TEXT_MM
    bar = page.axes(left_mm=left_mm, top_mm=top_mm, width_mm=_SCALE_MM, height_mm=_IMAGE_MM)
    page.figure.colorbar(image, cax=bar, extend="max" if clipped else "neither")
    _name_axis(page, "level, dBFS", left_mm=left_mm, top_mm=top_mm)


def _draw_brackets(
    page: Page, stretch: Stretch, lines: Sequence[BoardLine], *, left_mm: float, top_mm: float
) -> None:
    """Search window as a bracket, tolerance as a thick stroke in it, state and name beside."""
    if not lines:
        return
    mm_per_hz = _IMAGE_MM / (stretch.high_hz - stretch.low_hz)
    upwards = sorted(lines, key=lambda line: -line.expected_hz)
    at_mm = [top_mm + (stretch.high_hz - line.expected_hz) * mm_per_hz for line in upwards]
    gap_mm = min(1.1 * style.LINE_MM, _IMAGE_MM / len(upwards))
    low_mm, high_mm = top_mm + style.LINE_MM / 2.0, top_mm + _IMAGE_MM - style.LINE_MM / 2.0
    names_mm = labels.spread(at_mm, gap_mm=gap_mm, low_mm=low_mm, high_mm=high_mm)
    for number, (line, y_mm, name_mm) in enumerate(zip(upwards, at_mm, names_mm, strict=True)):
        half_mm = max(line.window_hz * mm_per_hz, _LEAST_BRACKET_MM)
        upper_mm, lower_mm = max(y_mm - half_mm, top_mm), min(y_mm + half_mm, top_mm + _IMAGE_MM)
        # Windows of neighbours may overlap: their brackets stand side by side.
        x_mm = left_mm + 2.2 + 1.8 * (number % 2)
        page.draw(
            [x_mm - _BRACKET_MM, x_mm, x_mm, x_mm - _BRACKET_MM],
            [upper_mm, upper_mm, lower_mm, lower_mm],
            **style.WINDOW_STROKE,
        )
        allowed_mm = max(line.tolerance_hz * mm_per_hz, 0.2)
        page.draw(
            [x_mm, x_mm],
            [max(y_mm - allowed_mm, top_mm), min(y_mm + allowed_mm, top_mm + _IMAGE_MM)],
            **style.ALLOWED_STROKE,
        )
        page.draw([x_mm, left_mm + 6.0], [y_mm, name_mm], color=style.PALE_INK, linewidth=0.5)
        page.draw([left_mm + 7.4], [name_mm], **style.STATES[line.state].line())
        text = page.write(left_mm + 9.2, name_mm, line.name, va="center_baseline")
        text.set_gid(f"expected-{number}")


def _read_strip(course: Course, scale: Scale, line: BoardLine) -> tuple[Doubles, str]:
    """The line's level in each row, and what it was read from.

    About its reading when it has one: elsewhere in the search window a stronger neighbour would
    hide its drop-outs.
    """
    center_hz, reach_hz, where = line.expected_hz, line.window_hz, "the expected frequency"
    if line.frequency_hz is not None:
        center_hz, where = line.frequency_hz, "the reading"
        reach_hz = max(line.tolerance_hz, _LEAST_REACH_COLUMNS * course.column_hz)
    level = level_of(course, scale, center_hz=center_hz, reach_hz=reach_hz)
    return level, f"highest level within ± {format_span(reach_hz)} of {where}, dBFS"


def _draw_strip(axes: Axes, course: Course, level_dbfs: Doubles, time: Ruler) -> None:
    edges = time.place(course.start_s + course.row_s * np.arange(level_dbfs.size + 1))
    axes.stairs(level_dbfs, edges, baseline=None, **style.LEVEL_STROKE)
    for first, stop in _runs(np.isnan(level_dbfs)):
        axes.axvspan(edges[first], edges[stop], **style.UNOBSERVED)
    low, high = level_range([level_dbfs], [])
    axes.set_ylim(low, max(high, low + _LEAST_DB))
    axes.grid(visible=True)


def _runs(flags: Any) -> list[tuple[int, int]]:
    """First and one past the last index of each run of true values."""
    steps = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(steps[::2], steps[1::2], strict=True)]


def _title(course: Course, inside: Sequence[BoardLine], line: BoardLine | None) -> str:
    gone_s = unobserved_s(course)
    seen_s = course.row_s * course.tone_power.shape[0] - gone_s
    if seen_s <= 0.0:
        return f"Nothing observed in {format_seconds(gone_s)}"
    seen = f"{format_seconds(seen_s)} observed"
    gone = f", {format_seconds(gone_s)} not observed" if gone_s > 0 else ""
    if line is not None:
        where = unbroken(format_frequency(line.expected_hz))
        lead = f"{line.name} at {where}: {line.state.value}{_part(line)}"
    else:
        unsteady = [item for item in inside if item.state is LineState.UNSTEADY]
        lead = "; ".join(f"{item.name} comes and goes{_part(item)}" for item in unsteady)
    return f"{lead or 'Spectrum against time'}; {seen}{gone}"


def _part(line: BoardLine) -> str:
    if line.present_fraction is None or line.state is not LineState.UNSTEADY:
        return ""
    return f", there {format_share(line.present_fraction, digits=1)} of the time"


def _keys(stretch: Stretch, inside: Sequence[BoardLine], line: BoardLine | None) -> list[Any]:
    keys: list[Any] = []
    if line is not None:
        keys.append(Line2D([], [], **style.LEVEL_STROKE))
    if inside:
        keys += [Line2D([], [], **style.WINDOW_STROKE), Line2D([], [], **style.ALLOWED_STROKE)]
    if np.isnan(stretch.levels_dbfs).any():
        keys.append(Patch(**style.UNOBSERVED))
    return keys


def _footer(
    stretch: Stretch, scale: Scale, board: Board | None, outside: Sequence[BoardLine]
) -> list[str]:
    cautions = () if board is None else board.cautions
    cells = (
        f"one cell {format_seconds(stretch.row_s)} (mean) by "
        f"{format_span(stretch.column_hz)} (highest bin) · {scale.statement}"
    )
    names = ", ".join(f"{i.name} ({format_frequency(i.expected_hz)})" for i in outside)
    return [
        cells,
        *([f"Outside this span: {names}"] if outside else []),
        *(f"Caution: {caution.text}" for caution in cautions),
    ]
