"""Watch one line through a stream of any length, in bounded memory: find it, then follow it."""

from dataclasses import replace

import numpy as np

from sniff.model import Caution, IQBlock
from sniff.peaks import DEFAULT_FALSE_ALARM_RATE
from sniff.units import to_db
from sniff.watch.band import CLEAN, Band, Piece
from sniff.watch.follower import Follower
from sniff.watch.nouns import (
    DROPOUTS_KEPT,
    PASSAGES_KEPT,
    Dropout,
    Instant,
    Row,
    WatchResult,
    WatchSettings,
)
from sniff.watch.search import Sighting, search
from sniff.watch.setting_up import Surroundings, TooWeak, set_up
from sniff.watch.trace import Trace
from sniff.watch.verdict import Watched, conclude

_LEAST_BAND_HZ = 64e3
_BAND_RESOLUTIONS = 64.0  # the band is at least this many times 1 / resolution
_SEARCH_S = 1.0


class Watcher:
    """Watches one line of one tuning.

    Parameters
    ----------
    line_hz : float
        Indicated frequency about which the line is looked for, Hz.
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
        self._line_hz = line_hz
        self._rate_hz = rate_hz
        least_hz = max(_LEAST_BAND_HZ, _BAND_RESOLUTIONS / settings.resolution_s)
        if settings.within_hz > CLEAN * least_hz:
            least_hz = settings.within_hz / CLEAN
        self._band = Band(line_hz, rate_hz=rate_hz, center_hz=center_hz, least_hz=least_hz)
        edge_hz = rate_hz / 2.0
        self._around = Surroundings(
            line_hz=line_hz,
            rate_hz=self._band.rate_hz,
            view_hz=(center_hz - edge_hz - line_hz, center_hz + edge_hz - line_hz),
        )
        self._search_s = max(_SEARCH_S, 64.0 * settings.resolution_s)
        self._pieces: list[Piece] = []
        self._waiting = 0
        self._follower: Follower | None = None
        self._would_see_dbfs: float | None = None
        self._too_weak: float | None = None
        self._kept: list[Dropout] = []
        self._vain: list[Row] = []
        self._cautions: tuple[Caution, ...] = ()
        self._observed_s = self._unobserved_s = self._searched_s = 0.0
        self._next_index: int | None = None

    def push(self, block: IQBlock) -> tuple[Dropout, ...]:
        """Take in a block; gives the drop-outs whose aftermath is complete with it."""
        if self._next_index is not None:
            self._unobserved_s += max(0, block.index - self._next_index) / self._rate_hz
        self._next_index = block.end_index
        self._observed_s += block.samples.size / self._rate_hz
        ended: list[Dropout] = []
        for piece in self._band.push(block):
            self._take_in(piece, ended)
        return self._keep(ended)

    def finish(self) -> tuple[Dropout, ...]:
        """End the observation; gives the drop-outs that were still open or incomplete."""
        ended: list[Dropout] = []
        if self._follower is None and self._pieces:
            self._search(ended)
        if self._follower is not None:
            ended.extend(self._follower.finish())
        return self._keep(ended)

    def rows(self) -> tuple[Row, ...]:
        """The rows of the summary that were completed since the last call.

        The row in which the line was found may come in two parts: one in which it was looked for
        in vain, and one in which it was followed.
        """
        vain, self._vain = tuple(self._vain), []
        return vain if self._follower is None else vain + self._follower.tracer.rows()

    @property
    def now(self) -> Instant:
        """What is now."""
        follower = self._follower
        known = follower is not None and follower.level is not None
        return Instant(
            time_s=(self._next_index or 0) / self._rate_hz,
            level_dbfs=to_db(follower.level) if follower and follower.level is not None else None,
            indicated_hz=(
                self._line_hz + follower.hz if follower and follower.hz is not None else None
            ),
            there=follower.there if follower and known else None,
            dropouts=follower.dropouts if follower else 0,
            observed_s=self._observed_s,
            unobserved_s=self._unobserved_s,
        )

    @property
    def would_see_dbfs(self) -> float | None:
        """Level at which a line that was looked for in vain would have been seen, dBFS."""
        return self._would_see_dbfs

    @property
    def trace(self) -> Trace | None:
        """The line against time so far; None while it was not found."""
        return None if self._follower is None else self._follower.tracer.trace()

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What a reader of the result must know."""
        return self._cautions

    def result(self) -> WatchResult:
        """The whole, as far as it was observed; frequencies as indicated."""
        follower = self._follower
        return conclude(
            Watched(
                line_hz=self._line_hz,
                resolution_s=self._settings.resolution_s,
                observed_s=self._observed_s,
                unobserved_s=self._unobserved_s,
                searched_s=self._searched_s,
                would_see_dbfs=self._would_see_dbfs,
                would_do_s=self._too_weak,
                dropouts=tuple(self._kept),
                dropout_count=follower.dropouts if follower else 0,
                decisions=follower.tracer.decisions if follower else (0, 0),
                levels=follower.tracer.levels if follower else None,
                trace=self.trace,
            )
        )

    def _keep(self, ended: list[Dropout]) -> tuple[Dropout, ...]:
        for dropout in ended[: DROPOUTS_KEPT - len(self._kept)]:
            bare = len(self._kept) >= PASSAGES_KEPT
            self._kept.append(replace(dropout, fall=None, rise=None) if bare else dropout)
        return tuple(ended)

    def _take_in(self, piece: Piece, ended: list[Dropout]) -> None:
        needed = round(self._search_s * self._band.rate_hz)
        while self._follower is None and piece.values.size:
            # Cut where a search is complete, so that it does not matter how the stream was cut.
            part, piece = _split(piece, needed - self._waiting, self._band.rate_hz)
            self._pieces.append(part)
            self._waiting += part.values.size
            if self._waiting == needed:
                self._search(ended)
        if self._follower is not None and piece.values.size:
            ended.extend(self._follower.push(piece))

    def _search(self, ended: list[Dropout]) -> None:
        """Look for the line in what waits, and follow it from the beginning of that."""
        pieces, self._pieces = self._pieces, []
        waited, self._waiting = self._waiting, 0
        values = np.concatenate([piece.values for piece in pieces])
        if values.size < 256:
            return
        found = search(
            values,
            rate_hz=self._band.rate_hz,
            within_hz=self._settings.within_hz,
            false_alarm_rate=DEFAULT_FALSE_ALARM_RATE,
        )
        if isinstance(found, Sighting):
            made = set_up(found, values, self._settings, self._around)
            if isinstance(made, TooWeak):
                self._too_weak = made.would_do_s
            else:
                self._too_weak = None
                self._follower, self._cautions = made
        else:
            self._would_see_dbfs = found.would_see_dbfs
        if self._follower is not None:
            for piece in pieces:
                ended.extend(self._follower.push(piece))
            return
        self._searched_s += waited / self._band.rate_hz
        for piece in pieces:
            self._note_vain(piece.start_s, piece.start_s + piece.values.size / self._band.rate_hz)

    def _note_vain(self, start_s: float, end_s: float) -> None:
        """Rows of time in which the line was looked for in vain: observed, and not there."""
        row_s = self._settings.row_s
        while start_s < end_s:
            number = int(start_s / row_s + 1e-9)
            stop_s = min(end_s, (number + 1) * row_s)
            before = 0.0
            if self._vain and self._vain[-1].start_s == number * row_s:
                before = self._vain.pop().observed_s
            self._vain.append(
                Row(
                    start_s=number * row_s,
                    observed_s=before + stop_s - start_s,
                    present_s=0.0,
                    median_dbfs=None,
                    lowest_dbfs=None,
                    highest_dbfs=None,
                    indicated_hz=None,
                    dropouts=0,
                )
            )
            start_s = stop_s


def _split(piece: Piece, at: int, rate_hz: float) -> tuple[Piece, Piece]:
    """The first values of a piece, and the rest."""
    rest_s = piece.start_s + min(at, piece.values.size) / rate_hz
    return (
        replace(piece, values=piece.values[:at]),
        Piece(values=piece.values[at:], start_s=rest_s, fresh=False),
    )
