"""What one run writes into a soak's notebook: in memory first, on disk at each commit."""

import json
import sqlite3
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from statistics import median

from sniff.errors import SourceError, UsageError
from sniff.soak.nouns import Minute, Run, Setup
from sniff.units import format_frequency, format_seconds
from sniff.watch.nouns import Dropout, Passage, Row

MINUTE_S = 60.0
DETAILED_DROPOUTS = 5_000
"""So many keep the courses of their level and frequency: some 10 kB each."""
LISTED_DROPOUTS = 200_000
"""So many are listed one by one; beyond, the minutes count them."""
_BREAK_S = 1.0  # what is lost in less is counted, and begins no new stretch


class RunWriter:
    """Writes one run; nothing is on disk before `commit`.

    Parameters
    ----------
    connection : Connection
        Of `sniff.soak.notebook.open_to_write`; closed by the caller.
    setup : Setup
    run : Run
        When it says that it began before the last one ended (the clock was set back), it is
        moved behind it.
    path : Path
        For errors.

    Raises
    ------
    UsageError
        When the notebook is of another soak.
    """

    def __init__(self, connection: sqlite3.Connection, setup: Setup, run: Run, path: Path) -> None:
        self._connection = connection
        self._path = path
        _check_same(connection, setup, path)
        last_s = connection.execute("SELECT max(end_utc_s) FROM observed").fetchone()[0]
        self.run = replace(run, zero_utc_s=max(run.zero_utc_s, last_s or run.zero_utc_s))
        self._stretch: list[float] | None = None  # start, end, lost
        self._stretch_id: int | None = None
        self._rows: dict[int, list[Row]] = {}
        self._fresh: list[tuple[Dropout, str | None]] = []
        self._begun_s: tuple[float, ...] = ()
        self._uncounted = 0
        self._recordings: dict[str, tuple[float, int]] = {}
        self._begin(setup)

    def observe(self, start_s: float, end_s: float) -> None:
        """Tell of time that was observed, s since the source was opened."""
        start, end = self._utc(start_s), self._utc(end_s)
        if self._stretch is not None and start - self._stretch[1] < _BREAK_S:
            self._stretch[2] += max(0.0, start - self._stretch[1])
            self._stretch[1] = end
            return
        if self._stretch is not None:
            self.commit()  # the one before is over
        self._stretch, self._stretch_id = [start, end, 0.0], None

    def add_rows(self, rows: Iterable[Row]) -> None:
        """Add rows of the watch's summary, each within a minute."""
        for row in rows:
            number = int(self._utc(row.start_s) // MINUTE_S)
            self._rows.setdefault(number, []).append(row)

    def add_dropout(self, dropout: Dropout, recording: str | None) -> None:
        """Add a drop-out that is over."""
        self._fresh.append((dropout, recording))

    def set_begun(self, starts_s: Iterable[float], *, uncounted: int) -> None:
        """Tell of drop-outs that have begun.

        Parameters
        ----------
        starts_s : iterable of float
            About when those began that are not complete, s since the source was opened.
        uncounted : int
            How many began that no row has counted yet.
        """
        self._begun_s, self._uncounted = tuple(starts_s), uncounted

    def set_recording(self, name: str, start_s: float, size: int) -> None:
        """Tell of a recording, also while it grows."""
        self._recordings[name] = (start_s, size)

    def commit(self) -> None:
        """Put on disk what was told; all of it or nothing.

        Raises
        ------
        SourceError
            When the disk refuses.
        """
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            self._write_stretch()
            for number, rows in self._rows.items():
                self._write_minute(number, self._minute(rows))
            for dropout, recording in self._fresh:
                self._write_dropout(dropout, recording)
            for name, (start_s, size) in self._recordings.items():
                self._connection.execute(
                    "REPLACE INTO recording (name, run, start_utc_s, bytes) VALUES (?, ?, ?, ?)",
                    (name, self._id, self._utc(start_s), size),
                )
            self._connection.execute("DELETE FROM begun WHERE run = ?", (self._id,))
            self._connection.executemany(
                "INSERT INTO begun (run, start_utc_s) VALUES (?, ?)",
                [(self._id, self._utc(start_s)) for start_s in self._begun_s],
            )
            self._connection.execute(
                "UPDATE run SET uncounted = ? WHERE id = ?", (self._uncounted, self._id)
            )
            self._connection.execute("COMMIT")
        except sqlite3.Error as error:
            raise self._refused(error) from None
        self._fresh.clear()
        self._recordings.clear()
        # A row may come a little late, so the minute before the newest stays in memory too.
        for number in sorted(self._rows)[:-2]:
            del self._rows[number]

    def finish(self, how: str) -> None:
        """Say how the run ended, and commit.

        Raises
        ------
        SourceError
            As `commit`.
        """
        try:
            self._connection.execute("UPDATE run SET ended = ? WHERE id = ?", (how, self._id))
        except sqlite3.Error as error:
            raise self._refused(error) from None
        self.commit()

    def _begin(self, setup: Setup) -> None:
        run = self.run
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.execute(
                "INSERT OR IGNORE INTO setup (one, line_hz, resolution_s) VALUES (1, ?, ?)",
                (setup.line_hz, setup.resolution_s),
            )
            made = self._connection.execute(
                "INSERT INTO run (zero_utc_s, indicated_hz, inverted, about) VALUES (?, ?, ?, ?)",
                (run.zero_utc_s, run.indicated_hz, run.inverted, json.dumps(run.about)),
            )
            self._connection.execute("COMMIT")
        except sqlite3.Error as error:
            raise self._refused(error) from None
        assert made.lastrowid is not None
        self._id = made.lastrowid
        self._listed = self._connection.execute("SELECT count(*) FROM dropout").fetchone()[0]

    def _write_stretch(self) -> None:
        if self._stretch is None:
            return
        start, end, lost = self._stretch
        if self._stretch_id is None:
            made = self._connection.execute(
                "INSERT INTO observed (run, start_utc_s, end_utc_s, lost_s) VALUES (?, ?, ?, ?)",
                (self._id, start, end, lost),
            )
            self._stretch_id = made.lastrowid
        else:
            self._connection.execute(
                "UPDATE observed SET end_utc_s = ?, lost_s = ? WHERE id = ?",
                (end, lost, self._stretch_id),
            )

    def _write_minute(self, number: int, minute: Minute) -> None:
        self._connection.execute(
            "REPLACE INTO minute (run, number, start_utc_s, observed_s, present_s, dropouts, "
            "median_dbfs, lowest_dbfs, highest_dbfs, offset_hz) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                self._id,
                number,
                minute.start_utc_s,
                minute.observed_s,
                minute.present_s,
                minute.dropouts,
                minute.median_dbfs,
                minute.lowest_dbfs,
                minute.highest_dbfs,
                minute.offset_hz,
            ),
        )

    def _minute(self, rows: list[Row]) -> Minute:
        offsets = [
            (row.present_s, self._offset(row.indicated_hz))
            for row in rows
            if row.indicated_hz is not None
        ]
        weight = sum(present_s for present_s, _ in offsets)
        return Minute(
            start_utc_s=self._utc(min(row.start_s for row in rows)),
            observed_s=sum(row.observed_s for row in rows),
            present_s=sum(row.present_s for row in rows),
            dropouts=sum(row.dropouts for row in rows),
            median_dbfs=_of(median, [row.median_dbfs for row in rows]),
            lowest_dbfs=_of(min, [row.lowest_dbfs for row in rows]),
            highest_dbfs=_of(max, [row.highest_dbfs for row in rows]),
            offset_hz=sum(present_s * hz for present_s, hz in offsets) / weight if weight else None,
        )

    def _write_dropout(self, dropout: Dropout, recording: str | None) -> None:
        if self._listed >= LISTED_DROPOUTS:
            return
        made = self._connection.execute(
            "INSERT INTO dropout (run, start_utc_s, duration_s, depth_db, pull_hz, kind, "
            "before_dbfs, before_offset_hz, recording) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                self._id,
                self._utc(dropout.start_s),
                dropout.duration_s if dropout.ended else None,
                dropout.depth_db,
                dropout.pull_hz,
                None if dropout.kind is None else dropout.kind.value,
                dropout.before_dbfs,
                None if dropout.before_hz is None else self._offset(dropout.before_hz),
                recording,
            ),
        )
        self._listed += 1
        if self._listed <= DETAILED_DROPOUTS:
            assert made.lastrowid is not None
            for side, passage in (("fall", dropout.fall), ("rise", dropout.rise)):
                if passage is not None:
                    self._write_passage(made.lastrowid, side, passage)

    def _write_passage(self, number: int, side: str, passage: Passage) -> None:
        self._connection.execute(
            "INSERT INTO passage (dropout, side, start_utc_s, step_s, level_dbfs, offset_hz) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            (
                number,
                side,
                self._utc(passage.start_s),
                passage.step_s,
                passage.level_dbfs.astype("<f4").tobytes(),
                passage.offset_hz.astype("<f4").tobytes(),
            ),
        )

    def _offset(self, indicated_hz: float) -> float:
        away_hz = indicated_hz - self.run.indicated_hz
        return -away_hz if self.run.inverted else away_hz

    def _utc(self, source_s: float) -> float:
        return self.run.zero_utc_s + source_s

    def _refused(self, error: sqlite3.Error) -> SourceError:
        if self._connection.in_transaction:
            self._connection.execute("ROLLBACK")
        return SourceError(f"{self._path}: cannot be written: {error}; make room")


def _check_same(connection: sqlite3.Connection, setup: Setup, path: Path) -> None:
    found = connection.execute("SELECT line_hz, resolution_s FROM setup").fetchone()
    if found is None or found == (setup.line_hz, setup.resolution_s):
        return
    raise UsageError(
        f"{path.parent}: holds a soak of {format_frequency(found[0])} at a resolution of "
        f"{format_seconds(found[1])}; go on with the same --line and --resolution, or choose "
        "another folder"
    )


def _of(what: Callable[[list[float]], float], values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return what(known) if known else None
