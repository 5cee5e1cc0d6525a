"""A row of the live board: one line watched, and what may be said of it now."""

from collections import deque
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from calib.correction import Correction
from sniff.board import LineState
from sniff.errors import UsageError
from sniff.live.nouns import STRIP_S, UNOBSERVED, LiveLine, LiveRow
from sniff.model import IQBlock
from sniff.units import format_db, format_dbfs, format_error, format_frequency, format_span, to_db
from sniff.verdict import Outcome, decide
from sniff.watch.nouns import Dropout, Row, WatchSettings
from sniff.watch.presence import GONE_BELOW
from sniff.watch.watcher import Watcher

ROW_S = 1.0
WEAK_DB = 10.0
"""So far below the sibling, or the best seen, a line is weak; the loop's placement is in it."""
UNSTEADY_S = 10.0
"""So long after a drop-out a line still counts as unsteady."""
_AVERAGED_ROWS = 5
_LEAST_U_HZ = 0.01  # rows that agree by chance must not claim to be exact


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    """A frequency over the last seconds."""

    frequency_hz: float
    expanded_hz: float


class RowKeeper:
    """Watches one line over many tunings, and tells its row.

    Parameters
    ----------
    number : int
    line : LiveLine
    correction : Correction
    u_center_hz : float
        Standard uncertainty (k = 1) of the indicated centre, Hz.
    """

    def __init__(
        self, number: int, line: LiveLine, correction: Correction, *, u_center_hz: float
    ) -> None:
        self._u_center_hz = u_center_hz
        self._number = number
        self._line = line
        self._correction = correction
        self._watcher: Watcher | None = None
        self._why_unseen = "not tuned yet"
        self._rows: deque[Row] = deque(maxlen=STRIP_S)
        self._seconds: deque[tuple[int, int]] = deque(maxlen=STRIP_S)
        self._before = 0  # drop-outs of earlier tunings
        self._last_s: float | None = None
        self._gone_since_s: float | None = None
        self._best_dbfs: float | None = None
        self._sibling_dbfs = line.sibling_dbfs
        self._now_s = 0.0

    def tune(self, *, rate_hz: float, center_hz: float, usable_fraction: float) -> None:
        """Begin at a new tuning; what was counted stays."""
        if self._watcher is not None:
            self._before += self._watcher.now.dropouts
        self._watcher = None
        self._gone_since_s = None
        self._rows.clear()
        expected = self._line.expected
        place_hz = self._correction.indicate(expected.expected_hz)
        # The clock's doubt is part of where it may be.
        within_hz = self._line.window_hz + 2.0 * self._correction.u_at(place_hz)
        half_hz = usable_fraction * rate_hz / 2.0
        if abs(place_hz - center_hz) > half_hz:
            self._why_unseen = (
                f"outside what is tuned, {format_frequency(center_hz - half_hz)} to "
                f"{format_frequency(center_hz + half_hz)}"
            )
            return
        settings = WatchSettings(within_hz=min(within_hz, 0.4 * rate_hz), row_s=ROW_S)
        try:
            self._watcher = Watcher(place_hz, settings, rate_hz, center_hz)
        except UsageError as error:
            self._why_unseen = str(error)

    def gained(self, step_db: float | None) -> None:
        """Levels to hold others against, at another gain; none where the step is not known."""
        self._best_dbfs = _moved(self._best_dbfs, step_db)
        self._sibling_dbfs = _moved(self._sibling_dbfs, step_db)

    def push(self, block: IQBlock) -> tuple[Dropout, ...]:
        """Take in a block; gives the drop-outs that are complete with it."""
        self._now_s = block.end_index / block.rate_hz
        if self._watcher is None:
            return ()
        ended = self._watcher.push(block)
        for row in self._watcher.rows():
            self._rows.append(row)
            share = row.present_fraction
            cell = UNOBSERVED if share is None else round(100.0 * share)
            self._seconds.append((int(row.start_s // ROW_S), cell))
            if row.median_dbfs is not None:
                self._best_dbfs = max(row.median_dbfs, self._best_dbfs or row.median_dbfs)
        for dropout in ended:  # one shorter than a block is not seen to begin
            self._last_s = max(self._last_s or 0.0, dropout.start_s)
        now = self._watcher.now
        if now.there is False and self._gone_since_s is None:
            self._gone_since_s = self._last_s = now.time_s
        elif now.there:
            self._gone_since_s = None
        return ended

    @property
    def there(self) -> bool | None:
        """Whether the line is there now; None where that is not known."""
        return None if self._watcher is None else self._watcher.now.there

    def row(self) -> LiveRow:
        """What may be said now."""
        expected = self._line.expected
        state, why = self._state()
        reading = self._reading() if self._watcher is not None else None
        error_hz = None if reading is None else reading.frequency_hz - expected.expected_hz
        now = None if self._watcher is None else self._watcher.now
        level_dbfs = None if now is None or not now.there else now.level_dbfs
        other = self._sibling_dbfs
        against_dbfs = self._best_dbfs if other is None else other
        dropouts = self._before + (0 if now is None else now.dropouts)
        return LiveRow(
            number=self._number,
            name=expected.name,
            formula=expected.formula,
            wanted=expected.wanted,
            expected_hz=expected.expected_hz,
            tolerance_hz=expected.tolerance_hz,
            state=state,
            why=why,
            frequency_hz=None if reading is None else reading.frequency_hz,
            expanded_hz=None if reading is None else reading.expanded_hz,
            error_hz=error_hz,
            error_ppm=None if error_hz is None else error_hz / expected.expected_hz * 1e6,
            level_dbfs=level_dbfs,
            against_db=(
                None if level_dbfs is None or against_dbfs is None else level_dbfs - against_dbfs
            ),
            against="best seen" if other is None else "sibling",
            dropouts=dropouts,
            gone_s=None if self._gone_since_s is None else self._now_s - self._gone_since_s,
            last_s=self._last_s if dropouts else None,
            strip=self._strip(),
        )

    def _state(self) -> tuple[LineState, str]:
        if self._watcher is None:
            return LineState.OUT_OF_VIEW, self._why_unseen
        now = self._watcher.now
        if now.there is None:
            seen_dbfs = self._watcher.would_see_dbfs
            if seen_dbfs is None:
                return LineState.ABSENT, "not seen yet; it is being looked for"
            return LineState.ABSENT, f"one of {format_dbfs(seen_dbfs)} would have been seen"
        if not now.there:
            if self._best_dbfs is None:
                return LineState.ABSENT, "it is gone"
            seen_dbfs = self._best_dbfs + to_db(GONE_BELOW)
            return LineState.ABSENT, f"it is gone: below {format_dbfs(seen_dbfs)}"
        if now.dropouts and self._last_s is not None and now.time_s - self._last_s < UNSTEADY_S:
            return LineState.UNSTEADY, f"it dropped out in the last {UNSTEADY_S:g} s"
        reading = self._reading()
        expected = self._line.expected
        outcome = None
        if reading is not None:
            error_hz = reading.frequency_hz - expected.expected_hz
            outcome = decide(
                error_hz=error_hz,
                expanded_hz=reading.expanded_hz,
                tolerance_hz=expected.tolerance_hz,
            ).outcome
            if outcome is Outcome.FAIL:
                off = format_error(error_hz, reading.expanded_hz)
                return (
                    LineState.OFF_FREQUENCY,
                    f"{off} off, ±{format_span(expected.tolerance_hz)} allowed",
                )
        level_dbfs, other = now.level_dbfs, self._sibling_dbfs
        against_dbfs = self._best_dbfs if other is None else other
        if level_dbfs is not None and against_dbfs is not None:
            less_db = level_dbfs - against_dbfs
            if less_db < -WEAK_DB:
                what = "the best seen" if other is None else "the sibling"
                return LineState.WEAK, f"{format_db(less_db)} against {what}"
        if outcome is Outcome.UNDECIDED:
            return LineState.PRESENT, "there; its frequency cannot be judged with this clock"
        return LineState.PRESENT, "there and within its tolerance" if outcome else "there"

    def _reading(self) -> _Reading | None:
        """Mean of the last seconds; their scatter, and the clock, make its uncertainty."""
        recent = list(self._rows)[-_AVERAGED_ROWS:]
        values = np.array([row.indicated_hz for row in recent if row.indicated_hz is not None])
        if not values.size:
            return None
        # One second alone tells no scatter: what its length resolves stands for it.
        u_hz = float(values.std(ddof=1)) / sqrt(values.size) if values.size > 1 else 1.0 / ROW_S
        reading = self._correction.apply(
            float(values.mean()), hypot(u_hz, _LEAST_U_HZ, self._u_center_hz)
        )
        return _Reading(frequency_hz=reading.value_hz, expanded_hz=reading.expanded_hz())

    def _strip(self) -> tuple[int, ...]:
        cells = [UNOBSERVED] * STRIP_S
        last = int(self._now_s // ROW_S)
        for second, cell in self._seconds:
            place = STRIP_S - 1 - (last - second)
            if 0 <= place < STRIP_S:
                cells[place] = cell
        return tuple(cells)


def _moved(level_dbfs: float | None, step_db: float | None) -> float | None:
    return None if level_dbfs is None or step_db is None else level_dbfs + step_db
