"""Follow one line through a stream of any length, in bounded memory."""

from collections.abc import Iterable

import numpy as np

from sniff.model import IQBlock
from sniff.units import to_db
from sniff.watch.nouns import (
    DROPOUTS_KEPT,
    Dropout,
    Instant,
    Kind,
    Row,
    WatchResult,
    WatchSettings,
    WatchVerdict,
)
from sniff.watch.presence import GONE_BELOW, THERE_ABOVE
from sniff.zoom import MIN_HOP, Zoom, Zoomed

_FRAMES_PER_RESOLUTION = 4


class Watcher:
    """Watches one line of one tuning.

    Parameters
    ----------
    line_hz : float
        Indicated frequency, Hz.
    settings : WatchSettings
    rate_hz, center_hz : float
        Of the blocks to come.

    Raises
    ------
    UsageError
        When the line lies outside the span.
    """

    def __init__(
        self, line_hz: float, settings: WatchSettings, rate_hz: float, center_hz: float
    ) -> None:
        self._settings = settings
        self._rate_hz = rate_hz
        hop = max(MIN_HOP, int(rate_hz * settings.resolution_s / _FRAMES_PER_RESOLUTION))
        self._zoom = Zoom([line_hz], hop=hop, longest=64)
        self._frame_s = hop / rate_hz
        self._own = 0.0
        self._there: bool | None = None
        self._since_s = 0.0
        self._deepest = 0.0
        self._times: list[float] = []
        self._levels: list[float] = []
        self._kept: list[Dropout] = []
        self._rows: list[Row] = []
        self._observed_s = self._present_s = self._unobserved_s = 0.0
        self._count = 0
        self._end_s: float | None = None
        self._level: float | None = None
        self._line_hz = line_hz

    def push(self, block: IQBlock) -> tuple[Dropout, ...]:
        """Take in a block; gives the drop-outs whose aftermath is complete with it."""
        if self._end_s is not None and block.start_s > self._end_s + 0.5 / self._rate_hz:
            self._unobserved_s += block.start_s - self._end_s
        self._end_s = block.end_index / block.rate_hz
        self._observed_s += block.samples.size / block.rate_hz
        return self._take_in(self._zoom.push(block))

    def finish(self) -> tuple[Dropout, ...]:
        """End the observation; gives the drop-outs that were still open or incomplete."""
        return self._take_in(self._zoom.finish())

    def rows(self) -> tuple[Row, ...]:
        """The rows of the summary that were completed since the last call."""
        rows, self._rows = tuple(self._rows), []
        return rows

    @property
    def now(self) -> Instant:
        """What is now."""
        return Instant(
            time_s=self._end_s or 0.0,
            level_dbfs=None if self._level is None else to_db(self._level),
            indicated_hz=self._line_hz if self._there else None,
            there=self._there,
            dropouts=self._count,
            observed_s=self._observed_s,
            unobserved_s=self._unobserved_s,
        )

    def result(self) -> WatchResult:
        """The whole, as far as it was observed."""
        gone = self._count > 0
        return WatchResult(
            verdict=WatchVerdict.INTERMITTENT if gone else WatchVerdict.STEADY,
            why=f"{self._count} drop-outs",
            observed_s=self._observed_s,
            unobserved_s=self._unobserved_s,
            present_fraction=self._present_s / self._observed_s if self._observed_s else None,
            level_dbfs=to_db(self._own) if self._own else None,
            level_spread_db=None,
            level_slope_db_per_hour=None,
            level_frequency_correlation=None,
            would_see_dbfs=None,
            indicated_hz=self._line_hz,
            u_indicated_hz=None,
            frequency_hz=None,
            u_hz=None,
            resolution_s=self._settings.resolution_s,
            dropouts=tuple(self._kept),
            dropout_count=self._count,
            rate_per_hour=None,
            drift_hz_per_hour=None,
            stability=(),
        )

    def _take_in(self, stretches: Iterable[tuple[Zoomed, ...]]) -> tuple[Dropout, ...]:
        ended: list[Dropout] = []
        for (stretch,) in stretches:
            power = np.abs(stretch.values) ** 2
            for at_s, level in zip(stretch.times_s.tolist(), power.tolist(), strict=True):
                if np.isfinite(level):
                    self._decide(at_s, level, ended)
        return tuple(ended)

    def _decide(self, at_s: float, level: float, ended: list[Dropout]) -> None:
        self._level = level
        self._own = max(self._own, level) if not self._own else self._own
        if self._there is not False and level < GONE_BELOW * self._own:
            self._there, self._since_s, self._deepest = False, at_s, level
            self._count += 1
        elif self._there is not True and level >= THERE_ABOVE * self._own:
            if self._there is False:
                self._end(at_s, ended)
            self._there = True
        if self._there:
            self._present_s += self._frame_s
            self._own += 0.001 * (level - self._own)
        else:
            self._deepest = min(self._deepest, level)

    def _end(self, at_s: float, ended: list[Dropout]) -> None:
        empty = np.empty(0, np.float32)
        dropout = Dropout(
            start_s=self._since_s,
            duration_s=at_s - self._since_s,
            depth_db=to_db(self._own / max(self._deepest, 1e-30)),
            pull_hz=0.0,
            kind=Kind.BREAK,
            before_dbfs=to_db(self._own),
            ended=True,
            course_start_s=self._since_s - self._settings.around_s,
            course_step_s=self._frame_s,
            level_course_dbfs=empty,
            frequency_course_hz=empty.copy(),
            middle_s=0.0,
            before_hz=self._line_hz,
        )
        if len(self._kept) < DROPOUTS_KEPT:
            self._kept.append(dropout)
        ended.append(dropout)
