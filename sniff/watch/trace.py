"""A line against time in bounded memory: steps that double when there are too many, and rows."""

from collections import deque
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles
from sniff.units import to_db
from sniff.watch.nouns import Row

MOST_STEPS = 8192
"""Steps of a trace before two are made one."""

_LOWEST_DBFS, _HIGHEST_DBFS, _BIN_DB = -200.0, 20.0, 0.05
_LEAST_POWER = 1e-20

Flags = npt.NDArray[np.bool_]


class Levels:
    """Distribution of levels, to a twentieth of a decibel."""

    def __init__(self) -> None:
        self._counts = np.zeros(round((_HIGHEST_DBFS - _LOWEST_DBFS) / _BIN_DB), np.int64)

    def add(self, power: Doubles) -> None:
        """Count some powers, FS²."""
        level_db = 10.0 * np.log10(np.maximum(power, _LEAST_POWER))
        bins = ((level_db - _LOWEST_DBFS) / _BIN_DB).astype(np.intp)
        np.add.at(self._counts, np.clip(bins, 0, self._counts.size - 1), 1)

    def quantile(self, share: float) -> float | None:
        """Level that this share lies below, dBFS; None when nothing was counted."""
        total = int(self._counts.sum())
        if not total:
            return None
        at = int(np.searchsorted(np.cumsum(self._counts), share * total))
        return _LOWEST_DBFS + (min(at, self._counts.size - 1) + 0.5) * _BIN_DB


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """A line against time, step by step; NaN where nothing was observed, or the line not there.

    Attributes
    ----------
    start_s, step_s : float
        Time of the first step's beginning since the source was opened, and length of a step, s.
    observed : ndarray of float64, shape (n,)
        Part of each step that was observed.
    present : ndarray of float64, shape (n,)
        Part of what was observed in which the line was there.
    power : ndarray of float64, shape (n,)
        Mean while it was there, FS².
    lowest, highest : ndarray of float64, shape (n,)
        Of all that was observed, FS².
    hz : ndarray of float64, shape (n,)
        Mean frequency while it was there, indicated, Hz.
    """

    start_s: float
    step_s: float
    observed: Doubles
    present: Doubles
    power: Doubles
    lowest: Doubles
    highest: Doubles
    hz: Doubles

    def __post_init__(self) -> None:
        for array in (
            self.observed,
            self.present,
            self.power,
            self.lowest,
            self.highest,
            self.hz,
        ):
            array.flags.writeable = False

    @property
    def middle_s(self) -> Doubles:
        """Time of each step's middle, s, shape (n,)."""
        return self.start_s + self.step_s * (np.arange(self.hz.size, dtype=np.float64) + 0.5)


class Tracer:
    """Makes the trace and the rows.

    Parameters
    ----------
    decision_s : float
        From one decision to the next, s.
    step_s : float
        Length of a step at first, s.
    row_s : float
        Length of a row, s.
    line_hz : float
        Indicated frequency at the band's zero, Hz.
    """

    def __init__(self, *, decision_s: float, step_s: float, row_s: float, line_hz: float) -> None:
        self._decision_s = decision_s
        self._step_s = step_s
        self._line_hz = line_hz
        self._row_s = row_s
        self._begin_s: float | None = None
        # Per step: decisions, those with the line, sums of power and frequency over these.
        self._sums = np.zeros((4, MOST_STEPS))
        self._ends = np.stack([np.full(MOST_STEPS, np.inf), np.full(MOST_STEPS, -np.inf)])
        self._used = 0
        self._row: _RowInMaking | None = None
        self._rows: deque[Row] = deque()
        self.levels = Levels()

    def add(self, start_s: float, power: Doubles, hz: Doubles, there: Flags) -> None:
        """Take in successive decisions; `hz` from the band's zero where the line was there."""
        if self._begin_s is None:
            self._begin_s = start_s
        times_s = start_s + self._decision_s * np.arange(power.size)
        while times_s[-1] - self._begin_s >= MOST_STEPS * self._step_s:
            self._halve()
        steps = ((times_s - self._begin_s) / self._step_s).astype(np.intp)
        for first, last in _runs(steps):
            inside = slice(first, last)
            self._add_to_step(int(steps[first]), power[inside], hz[inside], there[inside])
        self._used = max(self._used, int(steps[-1]) + 1)
        self.levels.add(power[there])
        rows = np.floor(times_s / self._row_s).astype(np.int64)
        for first, last in _runs(rows):
            row = self._row_at(int(rows[first]))
            inside = slice(first, last)
            row.add(power[inside], hz[inside], there[inside])

    def count_dropout(self) -> None:
        """Count a drop-out in the present row: it began there, or but for a few frames."""
        if self._row is not None:
            self._row.dropouts += 1

    def rows(self) -> tuple[Row, ...]:
        """The rows completed since the last call."""
        rows = tuple(self._rows)
        self._rows.clear()
        return rows

    def finish(self) -> None:
        """Complete the last row."""
        if self._row is not None:
            self._rows.append(self._row.row(self._row_s, self._decision_s, self._line_hz))
            self._row = None

    @property
    def decisions(self) -> tuple[int, int]:
        """How many decisions there were, and in how many of them the line was there."""
        return int(self._sums[0].sum()), int(self._sums[1].sum())

    def trace(self) -> Trace:
        """The trace as it is now."""
        count, there, power, hz = self._sums[:, : self._used]
        lowest, highest = self._ends[:, : self._used]
        with np.errstate(divide="ignore", invalid="ignore"):
            return Trace(
                start_s=self._begin_s or 0.0,
                step_s=self._step_s,
                observed=np.minimum(1.0, count * self._decision_s / self._step_s),
                present=there / count,
                power=power / there,
                lowest=np.where(count > 0, lowest, np.nan),
                highest=np.where(count > 0, highest, np.nan),
                hz=self._line_hz + hz / there,
            )

    def _add_to_step(self, at: int, power: Doubles, hz: Doubles, there: Flags) -> None:
        self._sums[:, at] += (power.size, there.sum(), power[there].sum(), hz[there].sum())
        self._ends[0, at] = min(self._ends[0, at], power.min())
        self._ends[1, at] = max(self._ends[1, at], power.max())

    def _halve(self) -> None:
        half = MOST_STEPS // 2
        self._sums[:, :half] = self._sums[:, 0::2] + self._sums[:, 1::2]
        self._sums[:, half:] = 0.0
        self._ends[0, :half] = np.minimum(self._ends[0, 0::2], self._ends[0, 1::2])
        self._ends[1, :half] = np.maximum(self._ends[1, 0::2], self._ends[1, 1::2])
        self._ends[0, half:], self._ends[1, half:] = np.inf, -np.inf
        self._used = -(-self._used // 2)
        self._step_s *= 2.0

    def _row_at(self, number: int) -> "_RowInMaking":
        if self._row is not None and self._row.number != number:
            self.finish()
        if self._row is None:
            self._row = _RowInMaking(number)
        return self._row


class _RowInMaking:
    def __init__(self, number: int) -> None:
        self.number = number
        self.dropouts = 0
        self._count = self._there = 0
        self._hz = 0.0
        self._lowest, self._highest = np.inf, -np.inf
        self._levels = Levels()

    def add(self, power: Doubles, hz: Doubles, there: Flags) -> None:
        self._count += power.size
        self._there += int(there.sum())
        self._hz += float(hz[there].sum())
        self._lowest = min(self._lowest, float(power.min()))
        self._highest = max(self._highest, float(power.max()))
        self._levels.add(power[there])

    def row(self, row_s: float, decision_s: float, line_hz: float) -> Row:
        return Row(
            start_s=self.number * row_s,
            observed_s=self._count * decision_s,
            present_s=self._there * decision_s,
            median_dbfs=self._levels.quantile(0.5),
            lowest_dbfs=to_db(self._lowest) if self._count else None,
            highest_dbfs=to_db(self._highest) if self._count else None,
            indicated_hz=line_hz + self._hz / self._there if self._there else None,
            dropouts=self.dropouts,
        )


def _runs(numbers: npt.NDArray[np.integer]) -> list[tuple[int, int]]:
    """First and one past the last index of each run of equal numbers."""
    edges = np.flatnonzero(np.diff(numbers)) + 1
    bounds = [0, *edges.tolist(), numbers.size]
    return list(pairwise(bounds))
