"""The notebook: what was read and noted in a job, kept by SQLite; one transaction an entry."""

import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timezone
from pathlib import Path
from types import TracebackType

from sniff.job.database import connect, said, transaction
from sniff.job.entries import FileKind, KeptFile, Note, NoteKind, Reading, Stage
from sniff.job.error import JobError

_READING = (
    "number, filed_utc, command, stage, place, exit_code, command_line, folder, software, sheet, "
    "told"
)


class Notebook:
    """A notebook that is open; use as a context manager.

    Parameters
    ----------
    path : Path

    Raises
    ------
    JobError
        When it cannot be opened (`sniff.job.database.connect`); and from every method when it
        cannot be read or written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._opened = connect(path)

    def __enter__(self) -> "Notebook":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; harmless when called twice."""
        self._opened.close()

    def add_reading(self, reading: Reading) -> int:
        """File a reading with its files; returns its number."""
        with transaction(self._opened, self.path):
            row = self._opened.execute(
                "INSERT INTO readings (filed_utc, command, stage, place, verdict, exit_code, "
                "command_line, folder, software, sheet, told) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    _utc(reading.filed_utc),
                    reading.command,
                    _value(reading.stage),
                    reading.place,
                    reading.verdict,
                    reading.exit_code,
                    reading.command_line,
                    reading.folder,
                    reading.software,
                    reading.sheet,
                    reading.told,
                ),
            )
            number = int(row.lastrowid or 0)
            self._use(number, reading.files)
        return number

    def attach(self, number: int, files: Iterable[KeptFile]) -> None:
        """Add files to a reading that was filed."""
        with transaction(self._opened, self.path):
            self._use(number, files)

    def add_note(self, note: Note) -> int:
        """Write a note; returns its number."""
        with transaction(self._opened, self.path):
            photo = None if note.photo is None else self._file(note.photo)
            row = self._opened.execute(
                "INSERT INTO notes (at_utc, kind, stage, text, photo) VALUES (?, ?, ?, ?, ?)",
                (_utc(note.at_utc), note.kind.value, _value(note.stage), note.text, photo),
            )
        return int(row.lastrowid or 0)

    def readings(self, *, after: int = 0) -> list[Reading]:
        """All readings with a number above `after`, the oldest first."""
        with said(self.path):
            used: dict[int, list[KeptFile]] = defaultdict(list)
            for number, *file in self._opened.execute(
                "SELECT uses.reading, kind, path, sha256, bytes, modified_ns "
                "FROM uses JOIN files ON files.number = uses.file ORDER BY files.number"
            ):
                used[number].append(_file_of(file))
            rows = self._opened.execute(
                f"SELECT {_READING} FROM readings WHERE number > ? ORDER BY number", (after,)
            )
            return [_reading_of(row, tuple(used[row[0]])) for row in rows]

    def reading(self, number: int) -> Reading:
        """One reading.

        Raises
        ------
        JobError
            When there is none of this number.
        """
        with said(self.path):
            row = self._opened.execute(
                f"SELECT {_READING} FROM readings WHERE number = ?", (number,)
            ).fetchone()
            files = self._opened.execute(
                "SELECT kind, path, sha256, bytes, modified_ns FROM files "
                "JOIN uses ON number = uses.file WHERE uses.reading = ? ORDER BY number",
                (number,),
            ).fetchall()
        if row is None:
            raise JobError(f"{self.path}: there is no reading {number}")
        return _reading_of(row, tuple(_file_of(file) for file in files))

    def notes(self) -> list[Note]:
        """All notes, the oldest first."""
        with said(self.path):
            rows = self._opened.execute(
                "SELECT notes.number, at_utc, notes.kind, stage, text, photo, files.kind, path, "
                "sha256, bytes, modified_ns "
                "FROM notes LEFT JOIN files ON files.number = photo ORDER BY notes.number"
            ).fetchall()
        return [
            Note(
                number=number,
                at_utc=datetime.fromisoformat(at_utc),
                kind=NoteKind(kind),
                stage=None if stage is None else Stage(stage),
                text=text,
                photo=None if photo is None else _file_of(file),
            )
            for number, at_utc, kind, stage, text, photo, *file in rows
        ]

    def files(self) -> list[KeptFile]:
        """All files, in the order in which they were first used."""
        with said(self.path):
            rows = self._opened.execute(
                "SELECT kind, path, sha256, bytes, modified_ns FROM files ORDER BY number"
            ).fetchall()
        return [_file_of(row) for row in rows]

    def counts(self) -> tuple[int, int]:
        """How many readings and notes there are."""
        with said(self.path):
            row = self._opened.execute(
                "SELECT (SELECT count(*) FROM readings), (SELECT count(*) FROM notes)"
            ).fetchone()
        return int(row[0]), int(row[1])

    def troubles(self) -> list[str]:
        """What SQLite finds wrong with the file; nothing when it is sound."""
        with said(self.path):
            found = [row[0] for row in self._opened.execute("PRAGMA integrity_check")]
            loose = self._opened.execute("PRAGMA foreign_key_check").fetchall()
        return [text for text in found if text != "ok"] + [
            f"table {table}: entry {row} points to what is not there" for table, row, *_ in loose
        ]

    def _use(self, number: int, files: Iterable[KeptFile]) -> None:
        for file in files:
            self._opened.execute(
                "INSERT OR IGNORE INTO uses (reading, file) VALUES (?, ?)",
                (number, self._file(file)),
            )

    def _file(self, file: KeptFile) -> int:
        self._opened.execute(
            "INSERT INTO files (kind, path, sha256, bytes, modified_ns) VALUES (?, ?, ?, ?, ?) "
            "ON CONFLICT (path, sha256) DO UPDATE SET modified_ns = excluded.modified_ns",
            (file.kind.value, file.path, file.sha256, file.bytes, file.modified_ns),
        )
        (number,) = self._opened.execute(
            "SELECT number FROM files WHERE path = ? AND sha256 = ?", (file.path, file.sha256)
        ).fetchone()
        return int(number)


def _utc(at: datetime) -> str:
    return at.astimezone(timezone.utc).isoformat()


def _value(stage: Stage | None) -> str | None:
    return None if stage is None else stage.value


def _file_of(row: Sequence[object]) -> KeptFile:
    kind, path, sha256, size, modified_ns = row
    return KeptFile(
        kind=FileKind(kind),
        path=str(path),
        sha256=str(sha256),
        bytes=int(str(size)),
        modified_ns=None if modified_ns is None else int(str(modified_ns)),
    )


def _reading_of(row: sqlite3.Row | tuple[object, ...], files: tuple[KeptFile, ...]) -> Reading:
    number, filed_utc, command, stage, place, code, line, folder, software, sheet, told = row
    return Reading(
        number=int(str(number)),
        filed_utc=datetime.fromisoformat(str(filed_utc)),
        command=str(command),
        stage=None if stage is None else Stage(stage),
        place=None if place is None else str(place),
        exit_code=int(str(code)),
        command_line=str(line),
        folder=str(folder),
        software=str(software),
        sheet=str(sheet),
        told=str(told),
        files=files,
    )
