"""Full text over all known jobs: an index beside them, made anew from the notebooks at any time."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from sniff.job.entries import Note, Reading
from sniff.job.error import JobError
from sniff.job.folder import Job
from sniff.job.words import holds, texts_in, tokens

_VERSION = 1
_MOST = 200
_TABLES = (
    "CREATE TABLE jobs (folder TEXT PRIMARY KEY, started TEXT, sheet TEXT, readings INTEGER, "
    "notes INTEGER)",
    "CREATE VIRTUAL TABLE entries USING fts5 (text, folder UNINDEXED, kind UNINDEXED, "
    "number UNINDEXED, tokenize = 'unicode61 remove_diacritics 2')",
    f"PRAGMA user_version = {_VERSION}",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """An entry that holds the words.

    Attributes
    ----------
    folder : str
        The job.
    kind : str
        ``job`` (its sheet), ``reading`` or ``note``.
    number : int
        0 for the sheet.
    words : str
        The place in the text.
    """

    folder: str
    kind: str
    number: int
    words: str


def find(wanted: str, jobs: Sequence[Job], *, index: Path) -> list[Hit]:
    """Entries of some jobs in which words begin with all the words wanted.

    Parameters
    ----------
    wanted : str
        Words; case and accents do not count.
    jobs : sequence of Job
    index : Path
        The index file; made when missing, brought up to date, and thrown away when damaged.

    Raises
    ------
    JobError
        When no word is wanted, or a notebook cannot be read.
    """
    asked = tokens(wanted)
    if not asked:
        raise JobError(f"{wanted!r} holds no word to look for")
    try:
        return _indexed(asked, jobs, index)
    except sqlite3.OperationalError:
        # Without the full-text module, or without a place for the index: slower, the same answer.
        return [hit for job in jobs for hit in _scanned(asked, job)]
    except sqlite3.DatabaseError:
        index.unlink(missing_ok=True)
        return _indexed(asked, jobs, index)


def _indexed(asked: Sequence[str], jobs: Sequence[Job], index: Path) -> list[Hit]:
    try:
        index.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise sqlite3.OperationalError(str(error)) from None
    with closing(sqlite3.connect(index, timeout=10.0, isolation_level=None)) as opened:
        opened.execute("BEGIN IMMEDIATE")
        _prepare(opened)
        for job in jobs:
            _bring_up_to_date(opened, job)
        opened.execute("COMMIT")
        # Each word in quotes: nothing that people look for is taken for an operator.
        query = " ".join(f'"{token}"*' for token in asked)
        rows = opened.execute(
            "SELECT folder, kind, number, snippet(entries, 0, '', '', '…', 14) FROM entries "
            "WHERE entries MATCH ? ORDER BY rank",
            (query,),
        )
        wanted = {str(job.folder) for job in jobs}
        hits = (
            Hit(folder=folder, kind=kind, number=number, words=" ".join(words.split()))
            for folder, kind, number, words in rows
            if folder in wanted
        )
        return [hit for hit, _ in zip(hits, range(_MOST), strict=False)]


def _prepare(opened: sqlite3.Connection) -> None:
    (version,) = opened.execute("PRAGMA user_version").fetchone()
    if version == _VERSION:
        return
    for table in ("jobs", "entries"):
        opened.execute(f"DROP TABLE IF EXISTS {table}")
    for statement in _TABLES:
        opened.execute(statement)


def _bring_up_to_date(opened: sqlite3.Connection, job: Job) -> None:
    folder, started = str(job.folder), job.sheet.started.isoformat()
    row = opened.execute(
        "SELECT started, sheet, readings, notes FROM jobs WHERE folder = ?", (folder,)
    ).fetchone()
    if row is None or row[0] != started:  # another job in the same place
        opened.execute("DELETE FROM entries WHERE folder = ?", (folder,))
        row = (started, None, 0, 0)
    _, sheet, readings, notes = row
    added = [
        (kind, number, text)
        for kind, number, text in _entries(job, after_reading=readings, after_note=notes)
        if kind != "job" or sheet != job.sheet_text
    ]
    if sheet != job.sheet_text:
        opened.execute("DELETE FROM entries WHERE folder = ? AND kind = 'job'", (folder,))
    opened.executemany(
        "INSERT INTO entries (text, folder, kind, number) VALUES (?, ?, ?, ?)",
        [(text, folder, kind, number) for kind, number, text in added],
    )
    last = {"reading": readings, "note": notes}
    last.update({kind: number for kind, number, _ in added if kind in last})
    opened.execute(
        "INSERT OR REPLACE INTO jobs (folder, started, sheet, readings, notes) "
        "VALUES (?, ?, ?, ?, ?)",
        (folder, started, job.sheet_text, last["reading"], last["note"]),
    )


def _entries(
    job: Job, *, after_reading: int = 0, after_note: int = 0
) -> Iterator[tuple[str, int, str]]:
    """Kind, number and text of a job's entries, in the order of their numbers."""
    sheet = job.sheet
    yield "job", 0, "\n".join((sheet.set_name, sheet.fault, sheet.finding))
    with job.notebook() as notebook:
        for reading in notebook.readings(after=after_reading):
            yield "reading", reading.number, _text_of(reading)
        for note in notebook.notes():
            if note.number > after_note:
                yield "note", note.number, _note_text(note)


def _scanned(asked: Sequence[str], job: Job) -> list[Hit]:
    return [
        Hit(folder=str(job.folder), kind=kind, number=number, words=" ".join(text.split())[:100])
        for kind, number, text in _entries(job)
        if holds(text, list(asked))
    ]


def _text_of(reading: Reading) -> str:
    stage = reading.stage.value if reading.stage else ""
    said = (
        reading.command,
        stage,
        reading.place or "",
        *texts_in(reading.result),
        *texts_in(reading.data.get("cautions")),
        reading.command_line,
    )
    # Each once: a thousand drop-outs tell their kind a thousand times.
    return "\n".join(dict.fromkeys(text for text in said if text))


def _note_text(note: Note) -> str:
    photo = "" if note.photo is None else note.photo.name
    return "\n".join(filter(None, (note.kind.value, note.text, photo)))
