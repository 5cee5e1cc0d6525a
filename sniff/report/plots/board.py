"""The picture of a line board: where each line should be, and what is there."""

from collections.abc import Sequence
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.correction import Correction
from sniff.board import Board, BoardLine, BoardResult, BoardVerdict
from sniff.look import Look, SeenLine
from sniff.report.placing_words import spread_words
from sniff.report.plots import style
from sniff.report.plots.axis import (
    U_WORDS,
    Ruler,
    Scale,
    ruler_about,
    scale_of,
    tunings_in_words,
)
from sniff.report.plots.board_table import reading_text, table_of
from sniff.report.plots.page import WIDTH_MM, Bar, Page, Sheet, open_page
from sniff.report.plots.panels import Panel, is_read_from, panels_of
from sniff.report.plots.style import Shape
from sniff.report.plots.trace import (
    MARKER_PT,
    draw_marker,
    draw_traces,
    height_dbfs,
    label_beside,
    shape_of,
    stroke_keys,
)

_VERDICTS = {
    BoardVerdict.AS_EXPECTED: "As expected",
    BoardVerdict.FAULT: "Fault",
    BoardVerdict.UNDECIDED: "Undecided",
}
_PAGE_MM = 277.0
_PANEL_MM = (25.0, 62.0)
_LEFT_MM, _RIGHT_MM = 15.0, 4.0
_GUTTER_MM = 15.5
_HEAD_ROW_MM = style.LINE_MM
_UNDER_AXES_MM = 12.5
_AFTER_TABLE_MM = 5.0
_BRACKET_MM = 4.5
_CAP_MM = 1.0
_TICK_DOWN: Final = 3
"""matplotlib's number for a marker that looks like the bracket's cap."""
_LEAST_WIDTH = 0.06
"""Half the width of a level's mark, as part of its panel: never too short to be seen."""


def draw_board(board: Board, *, clock: Correction | None = None) -> Figure:
    """Draw the line board: a table, and a panel for each expected line in view.

    Lines near enough to each other share a panel. A panel shows the search window and a little
    more, so that error and tolerance can be told apart.

    Parameters
    ----------
    board : Board
        What was probed.
    clock : Correction, optional
        The correction that was applied; without it the ratio that the lines found carry is taken.

    Returns
    -------
    Figure
        190 mm wide; A4 high at most for up to eight lines.
    """
    with style.context():
        scale = scale_of(board.looks, clock)
        panels = panels_of(board, scale)
        table = table_of(board.result.lines)
        sheet = Sheet(
            title=f"{_VERDICTS[board.result.verdict]}{_at(board)}: {board.result.why}",
            keys=_keys(board, panels),
            footer=_footer(board, scale),
        )
        columns = 1 if len(panels) == 1 else 2
        grid = [panels[at : at + columns] for at in range(0, len(panels), columns)]
        heads_mm = [_HEAD_ROW_MM * 2 * max(len(panel.lines) for panel in row) for row in grid]
        taken_mm = sheet.top_mm + sheet.bottom_mm + table.height_mm + _AFTER_TABLE_MM
        taken_mm += sum(heads_mm) + _UNDER_AXES_MM * len(grid)
        low_mm, high_mm = _PANEL_MM
        panel_mm = max(low_mm, min(high_mm, (_PAGE_MM - taken_mm) / max(1, len(grid))))
        body_mm = taken_mm - sheet.top_mm - sheet.bottom_mm + panel_mm * len(grid)
        page = open_page(sheet, body_mm=body_mm)
        table.draw(page, top_mm=sheet.top_mm)
        y_mm = sheet.top_mm + table.height_mm + _AFTER_TABLE_MM
        width_mm = (WIDTH_MM - _LEFT_MM - _RIGHT_MM - _GUTTER_MM * (columns - 1)) / columns
        for row, head_mm in zip(grid, heads_mm, strict=True):
            for at, panel in enumerate(row):
                left_mm = _LEFT_MM + at * (width_mm + _GUTTER_MM)
                _draw_head(page, panel, left_mm=left_mm, bottom_mm=y_mm + head_mm)
                axes = page.axes(
                    left_mm=left_mm,
                    top_mm=y_mm + head_mm,
                    width_mm=width_mm,
                    height_mm=panel_mm,
                )
                _draw_panel(axes, panel, board, scale, panel_mm)
            y_mm += head_mm + panel_mm + _UNDER_AXES_MM
        return page.figure


def _draw_head(page: Page, panel: Panel, *, left_mm: float, bottom_mm: float) -> None:
    """Shape, name, state and reading of each line, over its panel."""
    y_mm = bottom_mm - 0.8 - 2 * _HEAD_ROW_MM * len(panel.lines)
    for line in panel.lines:
        shape = style.STATES[line.state]
        middle_mm = y_mm + 0.5 * style.TEXT_PT * style.MM_PER_PT + 0.1
        page.draw([left_mm + 1.2], [middle_mm], **shape.line())
        page.write(left_mm + 3.6, y_mm, f"{line.name}: {line.state.value}", fontweight="bold")
        page.write(left_mm + 3.6, y_mm + _HEAD_ROW_MM, reading_text(line))
        y_mm += 2 * _HEAD_ROW_MM


def _draw_panel(axes: Axes, panel: Panel, board: Board, scale: Scale, height_mm: float) -> None:
    ruler, words = _ruler(panel)
    levels = [
        line.level_dbfs + up * (line.level_sd_db or 0.0)
        for line in panel.lines
        if line.level_dbfs is not None
        for up in (-1, 1)
    ]
    levels += [line.stated_dbfs for line in panel.lines if line.stated_dbfs is not None]
    levels += [
        line.would_see_dbfs
        for line in panel.lines
        if line.would_see_dbfs is not None and line.frequency_hz is None
    ]
    draw_traces(
        axes,
        panel.look,
        scale,
        ruler=ruler,
        low_hz=panel.low_hz,
        high_hz=panel.high_hz,
        levels_dbfs=levels,
        headroom=(_BRACKET_MM * len(panel.lines) + 1.0) / height_mm,
    )
    axes.set_xlabel(f"{words} ({scale.words})")
    label_beside(axes, "level, dBFS")
    for number, line in enumerate(panel.lines):
        _draw_expected(axes, line, ruler, (number + 0.7) * _BRACKET_MM, height_mm)
        _draw_finding(axes, panel.look, line, ruler, scale)
    for peak in _others(panel, board):
        x = ruler.place(peak.frequency_hz)
        draw_marker(
            axes,
            x,
            height_dbfs(panel.look, peak.indicated_hz, peak.level_dbfs),
            _other_shape(peak),
            size_pt=0.75 * MARKER_PT,
        )


def _ruler(panel: Panel) -> tuple[Ruler, str]:
    if len(panel.lines) > 1:
        return Ruler(most_ticks=5), "frequency, MHz"
    return ruler_about(panel.lines[0].expected_hz, panel.high_hz - panel.low_hz)


def _draw_expected(
    axes: Axes, line: BoardLine, ruler: Ruler, from_top_mm: float, height_mm: float
) -> None:
    """Tolerance as a band, expected frequency as a line, search window as a bracket on top."""
    low, high = (ruler.place(line.expected_hz + s * line.tolerance_hz) for s in (-1, 1))
    axes.axvspan(low, high, **style.ALLOWED_BAND)
    axes.axvline(ruler.place(line.expected_hz), **style.EXPECTED_STROKE)
    y = 1.0 - from_top_mm / height_mm
    cap = _CAP_MM / height_mm
    left, right = (ruler.place(line.expected_hz + s * line.window_hz) for s in (-1, 1))
    axes.plot(
        [left, left, right, right],
        [y - cap, y, y, y - cap],
        transform=axes.get_xaxis_transform(),
        **style.WINDOW_STROKE,
    )
    axes.text(
        ruler.place(line.expected_hz),
        y,
        line.name,
        transform=axes.get_xaxis_transform(),
        ha="center",
        va="center",
        zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
    )


def _draw_finding(axes: Axes, look: Look, line: BoardLine, ruler: Ruler, scale: Scale) -> None:
    """The reading with U and the scatter of its level, or the level from which on the line would
    have been seen; and the level that a good set shows."""
    if line.stated_dbfs is not None:
        _draw_level(axes, line, line.stated_dbfs, ruler, style.STATED_STROKE)
    if line.frequency_hz is not None and line.u_hz is not None and line.level_dbfs is not None:
        axes.errorbar(
            ruler.place(line.frequency_hz),
            height_dbfs(look, scale.indicated_hz(line.frequency_hz), line.level_dbfs),
            xerr=2.0 * line.u_hz / ruler.unit,
            yerr=line.level_sd_db,
            zorder=5,
            **style.READING_BAR,
            **style.STATES[line.state].line(MARKER_PT),
        )
    elif line.would_see_dbfs is not None:
        _draw_level(axes, line, line.would_see_dbfs, ruler, style.WOULD_SEE_STROKE)


def _draw_level(
    axes: Axes, line: BoardLine, level_dbfs: float, ruler: Ruler, stroke: dict[str, Any]
) -> None:
    low, high = axes.get_xlim()
    middle = ruler.place(line.expected_hz)
    half = max(line.tolerance_hz / ruler.unit, _LEAST_WIDTH * (high - low))
    axes.plot([middle - half, middle + half], [level_dbfs, level_dbfs], **stroke)


def _others(panel: Panel, board: Board) -> list[SeenLine]:
    """Lines found in a panel that are no expected line's reading."""
    return [
        peak
        for peak in panel.look.result.peaks
        if panel.low_hz <= peak.frequency_hz <= panel.high_hz
        and not any(is_read_from(line, peak, panel.look) for line in board.result.lines)
    ]


def _other_shape(peak: SeenLine) -> Shape:
    shape = shape_of(peak)
    return style.OTHER if shape is style.FOUND else shape


def _footer(board: Board, scale: Scale) -> list[str]:
    return [
        *tunings_in_words(board.looks),
        f"{scale.statement} · {U_WORDS}",
        *_placed(board.result),
        *(f"Caution: {caution.text}" for caution in board.cautions),
    ]


def _at(board: Board) -> str:
    return "" if board.result.place is None else f" at {board.result.place}"


def _placed(result: BoardResult) -> list[str]:
    if result.placings == 1:
        return []
    traces = (
        f"readings and levels are means of {result.placings} placings (scatter: standard "
        "deviation), traces are of one"
    )
    return [text for text in (traces, spread_words(result)) if text]


def _keys(board: Board, panels: Sequence[Panel]) -> list[Any]:
    if not panels:
        return []
    shown = [line for panel in panels for line in panel.lines]
    keys: list[Any] = stroke_keys([panel.look for panel in panels])
    keys += [
        Line2D([], [], **style.EXPECTED_STROKE),
        Patch(**style.ALLOWED_BAND),
        Bar([], [], marker=_TICK_DOWN, **style.WINDOW_STROKE),
    ]
    if any(line.frequency_hz is not None for line in shown):
        keys.append(
            Bar(
                [],
                [],
                color=style.INK,
                linewidth=1.0,
                marker="|",
                label="reading ± U; shape: state",
            )
        )
    if any(line.level_sd_db is not None for line in shown):
        keys.append(Line2D([], [], **style.SCATTER_KEY))
    if any(line.stated_dbfs is not None for line in shown):
        keys.append(Line2D([], [], **style.STATED_STROKE))
    if any(line.frequency_hz is None and line.would_see_dbfs is not None for line in shown):
        keys.append(Line2D([], [], **style.WOULD_SEE_STROKE))
    others = [_other_shape(peak) for panel in panels for peak in _others(panel, board)]
    return keys + [
        Line2D([], [], label=shape.words, **shape.line())
        for shape in (style.OTHER, *style.MARKS.values())
        if shape in others
    ]
