"""A course cut to what one picture can show, unobserved time kept as such."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.board import BoardLine
from sniff.errors import UsageError
from sniff.model import Course, Doubles
from sniff.report.plots.axis import Scale, to_dbfs
from sniff.units import format_frequency

_MARGIN = 1.3
_LEAST_COLUMNS = 12
_MOST_ROWS, _MOST_COLUMNS = 900, 160
"""Pixels along time and frequency; in frequency few, so that a line is at least 0.6 mm thick."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretch:
    """Part of a course, ready to be drawn.

    Attributes
    ----------
    levels_dbfs : ndarray of float64, shape (rows, columns)
        NaN where nothing was observed.
    start_s, stop_s, low_hz, high_hz : float
        Outer edges, frequencies true.
    row_s, column_hz : float
        Size of a cell. The last row and column may reach past the outer edges.
    """

    levels_dbfs: Doubles
    start_s: float
    stop_s: float
    row_s: float
    low_hz: float
    high_hz: float
    column_hz: float

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Edges of the cells: first and last time (s), first and last frequency (Hz)."""
        rows, columns = self.levels_dbfs.shape
        return (
            self.start_s,
            self.start_s + rows * self.row_s,
            self.low_hz,
            self.low_hz + columns * self.column_hz,
        )


def stretch_of(course: Course, scale: Scale, line: BoardLine | None = None) -> Stretch:
    """Cut out a line's search window and a little more, or keep the whole span.

    Raises
    ------
    UsageError
        When the line lies outside the course.
    """
    columns = course.tone_power.shape[1]
    first, stop = (0, columns) if line is None else _columns_about(course, scale, line)
    power = course.tone_power[:, first:stop]
    by_column = -(-power.shape[1] // _MOST_COLUMNS)
    by_row = -(-power.shape[0] // _MOST_ROWS)
    edge_hz = course.first_hz - course.column_hz / 2.0
    return Stretch(
        levels_dbfs=to_dbfs(_fewer_rows(_fewer_columns(power, by_column), by_row)),
        start_s=course.start_s,
        stop_s=course.start_s + power.shape[0] * course.row_s,
        row_s=course.row_s * by_row,
        low_hz=scale.true_hz(edge_hz + first * course.column_hz),
        high_hz=scale.true_hz(edge_hz + stop * course.column_hz),
        column_hz=course.column_hz * by_column * scale.factor,
    )


def level_of(course: Course, scale: Scale, *, center_hz: float, reach_hz: float) -> Doubles:
    """Highest level within ± `reach_hz` of a true frequency in each row, dBFS; NaN unobserved.

    At least the column that holds the frequency is read.
    """
    offsets_hz = np.abs(_centers_hz(course, scale) - center_hz)
    near = offsets_hz <= max(reach_hz, float(offsets_hz.min()))
    return to_dbfs(np.fmax.reduce(course.tone_power[:, near], axis=1))


def unobserved_s(course: Course) -> float:
    """Time of the rows in which nothing was observed, s."""
    return float(np.isnan(course.tone_power).all(axis=1).sum()) * course.row_s


def _centers_hz(course: Course, scale: Scale) -> Doubles:
    columns = np.arange(course.tone_power.shape[1], dtype=np.float64)
    return scale.true_hz(course.first_hz + course.column_hz * columns)


def _columns_about(course: Course, scale: Scale, line: BoardLine) -> tuple[int, int]:
    centers_hz = _centers_hz(course, scale)
    half_hz = course.column_hz * scale.factor / 2.0
    low_hz, high_hz = float(centers_hz[0]) - half_hz, float(centers_hz[-1]) + half_hz
    if not low_hz <= line.expected_hz <= high_hz:
        raise UsageError(
            f"{line.name} at {format_frequency(line.expected_hz)} lies outside this course of "
            f"{format_frequency(low_hz, high_hz - low_hz)} to "
            f"{format_frequency(high_hz, high_hz - low_hz)}; leave the zoom away"
        )
    reach_hz = max(_MARGIN * line.window_hz, _LEAST_COLUMNS * half_hz)
    first, stop = np.searchsorted(
        centers_hz, [line.expected_hz - reach_hz - half_hz, line.expected_hz + reach_hz + half_hz]
    )
    return int(first), int(stop)


def _fewer_columns(power: npt.NDArray[np.float32], group: int) -> npt.NDArray[np.float32]:
    """Largest of each group of columns, so that no line is lost."""
    starts = np.arange(0, power.shape[1], group)
    return np.asarray(np.fmax.reduceat(power, starts, axis=1), dtype=np.float32)


def _fewer_rows(power: npt.NDArray[np.float32], group: int) -> Doubles:
    """Mean of what was observed in each group of rows; unobserved where that is less than half."""
    starts = np.arange(0, power.shape[0], group)
    observed = np.add.reduceat((~np.isnan(power)).astype(np.float64), starts, axis=0)
    total = np.add.reduceat(np.nan_to_num(power.astype(np.float64)), starts, axis=0)
    rows = np.diff([*starts, power.shape[0]])[:, np.newaxis]
    enough = 2.0 * observed >= rows
    return np.where(enough, total / np.maximum(observed, 1.0), np.nan)
