"""One panel of a comparison: both spectra on the suspect's axis, the good set's own beside it."""

from collections.abc import Sequence
from typing import Any, Literal

from matplotlib.axes import Axes

from sniff.compare import ComparedLine, Pair, Sight
from sniff.look import Look, SeenLine
from sniff.model import Doubles
from sniff.report.plots import style
from sniff.report.plots.axis import Ruler, level_range, thin, to_dbfs
from sniff.report.plots.compare_views import View, scale_of_sight, stays
from sniff.report.plots.style import Shape
from sniff.report.plots.trace import (
    MARKER_PT,
    draw_marker,
    height_dbfs,
    label_beside,
    shape_of,
    to_the_edges,
)
from sniff.units import format_frequency

_COLUMNS = 1400
_LEAST_WOULD_SEE = 0.05
"""Half the width of a would-see mark, as part of its panel."""
_APART = 0.004
"""Markers nearer than this part of a panel are one."""
_SECOND_AXIS_MM = 10.5


def draw_near(axes: Axes, view: View, pair: Pair, *, agree_ppm: float) -> None:
    """Draw one line of the plan: where it should be, what agrees, and both readings."""
    levels = _levels(view.rows[0], pair.gain_step_db)
    ruler = _draw_traces(axes, view, pair, levels_dbfs=levels, most_ticks=5)
    _name_axes(axes, view, ruler, second="top")
    (row,) = view.rows
    step_db = pair.gain_step_db
    assert row.expected_suspect_hz is not None  # else there were no such view
    axes.axvline(ruler.place(row.expected_suspect_hz), **style.EXPECTED_STROKE)
    meant_hz = _meant_hz(row)
    if meant_hz is not None:
        reach_hz = agree_ppm * 1e-6 * meant_hz
        ends = (ruler.place(meant_hz + side * reach_hz) for side in (-1.0, 1.0))
        axes.axvspan(*ends, **style.ALLOWED_BAND)
    if row.good_dbfs is not None and view.good is not None:
        _mark_good(axes, row, view, pair, ruler, style.GOOD_ONE)
    elif row.would_see_good_dbfs is not None and row.suspect_hz is not None:
        _would_see(axes, ruler.place(row.suspect_hz), row.would_see_good_dbfs + step_db)
    shape = style.LIKENESSES[row.state]
    if row.suspect_hz is not None and row.suspect_dbfs is not None and view.suspect is not None:
        axes.errorbar(
            ruler.place(row.suspect_hz),
            _height_dbfs(view.suspect, pair.suspect, row.suspect_hz, row.suspect_dbfs),
            xerr=2.0 * (row.u_shift_ppm or 0.0) * row.suspect_hz / 1e12,
            zorder=5,
            **style.READING_BAR,
            **shape.line(MARKER_PT),
        )
    elif row.would_see_suspect_dbfs is not None:
        place = ruler.place(row.expected_suspect_hz)
        _would_see(axes, place, row.would_see_suspect_dbfs)
        draw_marker(axes, place, row.would_see_suspect_dbfs, shape, size_pt=MARKER_PT)


def draw_wide(axes: Axes, view: View, pair: Pair, *, height_mm: float) -> list[float]:
    """Draw a whole tuning with a marker for each row; returns the markers' heights, dBFS."""
    ruler = _draw_traces(axes, view, pair, levels_dbfs=(), most_ticks=8)
    _name_axes(axes, view, ruler, second=-_SECOND_AXIS_MM / height_mm)
    for look, sight, move_hz in _looks(view, pair):
        for peak in not_of_the_set(look, view):
            place_hz = scale_of_sight(sight).true_hz(peak.indicated_hz) + move_hz
            level = height_dbfs(look, peak.indicated_hz, peak.level_dbfs)
            if view.low_hz <= place_hz <= view.high_hz:
                place = ruler.place(place_hz)
                draw_marker(axes, place, level, shape_of(peak), size_pt=0.75 * MARKER_PT)
    return [_mark(axes, row, view, pair, ruler) for row in view.rows]


def not_of_the_set(look: Look, view: View) -> list[SeenLine]:
    """What a tuning shows that the receiver itself may have made."""
    rows = {hz for row in view.rows for hz in (row.suspect_hz, row.good_hz)}
    return [peak for peak in look.result.peaks if peak.marks and peak.frequency_hz not in rows]


def second_axis_mm(view: View) -> float:
    """Height that the good set's own axis takes below a wide panel."""
    both = view.suspect is not None and view.good is not None
    return _SECOND_AXIS_MM if view.move_hz and both else 0.0


def _looks(view: View, pair: Pair) -> list[tuple[Look, Sight, float]]:
    """Each tuning in view with its set, and by how much it is moved, Hz."""
    both = ((view.suspect, pair.suspect, 0.0), (view.good, pair.good, view.move_hz))
    return [(look, sight, move_hz) for look, sight, move_hz in both if look is not None]


def _mark(axes: Axes, row: ComparedLine, view: View, pair: Pair, ruler: Ruler) -> float:
    """Mark a row where it is in each set; returns the height at `View.place_hz`."""
    state = style.STAYS if stays(row) else style.LIKENESSES[row.state]
    moved_hz = view.moved_hz(row)
    heights: dict[float, float] = {}
    if row.suspect_hz is not None and row.suspect_dbfs is not None and view.suspect is not None:
        level = _height_dbfs(view.suspect, pair.suspect, row.suspect_hz, row.suspect_dbfs)
        heights[row.suspect_hz] = level
        if view.low_hz <= row.suspect_hz <= view.high_hz:
            draw_marker(axes, ruler.place(row.suspect_hz), level, state, size_pt=MARKER_PT)
    if moved_hz is not None and row.good_dbfs is not None and view.good is not None:
        apart_hz = [abs(moved_hz - hz) for hz in heights]
        if not apart_hz or apart_hz[0] > _APART * (view.high_hz - view.low_hz):
            shape = style.GOOD_ONE if heights and not stays(row) else state
            heights[moved_hz] = _mark_good(axes, row, view, pair, ruler, shape)
    at_hand = next(iter(heights.values()), axes.get_ylim()[0])
    return heights.get(view.place_hz(row), at_hand)


def _mark_good(
    axes: Axes, row: ComparedLine, view: View, pair: Pair, ruler: Ruler, shape: Shape
) -> float:
    moved_hz = view.moved_hz(row)
    assert moved_hz is not None
    assert row.good_hz is not None
    assert row.good_dbfs is not None
    assert view.good is not None
    level = _height_dbfs(view.good, pair.good, row.good_hz, row.good_dbfs) + pair.gain_step_db
    if view.low_hz <= moved_hz <= view.high_hz:
        draw_marker(axes, ruler.place(moved_hz), level, shape, size_pt=MARKER_PT)
    return level


def _draw_traces(
    axes: Axes, view: View, pair: Pair, *, levels_dbfs: Sequence[float], most_ticks: int
) -> Ruler:
    ruler = Ruler(most_ticks=most_ticks)
    step_db = pair.gain_step_db
    suspect = _trace(view.suspect, pair.suspect, view, move_hz=0.0)
    good = _trace(view.good, pair.good, view, move_hz=view.move_hz)
    traces = [trace[1] for trace in (suspect,) if trace is not None]
    traces += [trace[1] + step_db for trace in (good,) if trace is not None]
    low, high = level_range(traces, levels_dbfs)
    if good is not None:
        axes.fill_between(ruler.place(good[0]), good[1] + step_db, low, **style.GOOD_AREA)
    if suspect is not None:
        axes.plot(ruler.place(suspect[0]), suspect[1], **style.SUSPECT_STROKE)
    axes.set_ylim(low, high)
    axes.set_xlim(ruler.place(view.low_hz), ruler.place(view.high_hz))
    ruler.mark(axes.xaxis)
    axes.grid(visible=True)
    label_beside(axes, "level, dBFS")
    return ruler


def _trace(
    look: Look | None, sight: Sight, view: View, *, move_hz: float
) -> tuple[Doubles, Doubles] | None:
    """Places (Hz, suspect's axis) and levels (dBFS) of what lies in view; NaN stays NaN."""
    if look is None:
        return None
    spectrum, scale = look.spectrum, scale_of_sight(sight)
    at_hz = scale.true_hz(spectrum.frequencies_hz) + move_hz
    half_hz = spectrum.bin_hz * scale.factor / 2.0
    seen = (at_hz >= view.low_hz - 2 * half_hz) & (at_hz <= view.high_hz + 2 * half_hz)
    if not seen.any():
        return None
    x_hz, level = thin(at_hz[seen], to_dbfs(spectrum.tone_power[seen]), columns=_COLUMNS)
    return to_the_edges(x_hz, level, half_hz)


def _levels(row: ComparedLine, step_db: float) -> list[float]:
    """Levels of a line, or from which on it would have been seen, dBFS at the suspect's gain."""
    suspect = row.would_see_suspect_dbfs if row.suspect_dbfs is None else row.suspect_dbfs
    good = row.would_see_good_dbfs if row.good_dbfs is None else row.good_dbfs
    levels = [] if suspect is None else [suspect]
    return levels if good is None else [*levels, good + step_db]


def _name_axes(axes: Axes, view: View, ruler: Ruler, *, second: Literal["top"] | float) -> None:
    """Name the suspect's axis, and set the good set's own where it is not the same."""
    sets = [view.suspect is not None and "suspect", view.good is not None and "good set"]
    named = [name for name in sets if name]
    if not view.move_hz or not named[1:]:
        who = "both sets" if named[1:] else named[0]
        axes.set_xlabel(f"{who}, MHz (clock-corrected)")
        return
    move = view.move_hz / 1e6

    def to_good(x: Any) -> Any:
        return x - move

    def to_suspect(x: Any) -> Any:
        return x + move

    own = axes.secondary_xaxis(second, functions=(to_good, to_suspect))
    ruler.mark(own.xaxis)
    sign = "+" if move > 0 else "\N{MINUS SIGN}"
    own.set_xlabel(f"good set, MHz (moved by {sign}{format_frequency(abs(view.move_hz))})")
    axes.set_xlabel("suspect, MHz (clock-corrected)")


def _meant_hz(row: ComparedLine) -> float | None:
    """Where the suspect's would be if it were as far off its place as the good set's."""
    if row.good_hz is None or row.expected_good_hz is None or row.expected_suspect_hz is None:
        return None
    return row.expected_suspect_hz * row.good_hz / row.expected_good_hz


def _height_dbfs(look: Look, sight: Sight, true_hz: float, level_dbfs: float) -> float:
    return height_dbfs(look, scale_of_sight(sight).indicated_hz(true_hz), level_dbfs)


def _would_see(axes: Axes, x: float, level_dbfs: float) -> None:
    low, high = axes.get_xlim()
    half = _LEAST_WOULD_SEE * (high - low)
    axes.plot([x - half, x + half], [level_dbfs, level_dbfs], **style.WOULD_SEE_STROKE)
