"""An SQLite file that is a notebook: made whole, opened with care, brought up to date."""

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime, timezone
from pathlib import Path

from sniff.job.error import JobError
from sniff.job.tables import APPLICATION_ID, FORMAT, STEPS

BUSY_S = 20.0
"""How long to wait for another command that writes at the same time."""


@contextmanager
def said(path: Path) -> Iterator[None]:
    """Say in one line what SQLite has against a notebook.

    Raises
    ------
    JobError
    """
    try:
        yield
    except sqlite3.OperationalError as error:
        raise JobError(f"{path}: {_advice(str(error))}") from None
    except sqlite3.DatabaseError as error:
        raise JobError(
            f"{path}: is damaged ({error}); it was left as it is. Put a copy of it back, or move "
            "it away and start the job anew beside it"
        ) from None


def create(path: Path) -> None:
    """Make an empty notebook, whole or not at all.

    Raises
    ------
    JobError
        When it is there already, or cannot be written.
    """
    if path.exists():
        raise JobError(f"{path}: is there already")
    try:
        number, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        os.close(number)
        part = Path(name)
        try:
            with said(path), closing(sqlite3.connect(part, isolation_level=None)) as made:
                # Kept in the file: every later opening finds it so, and need not lock it for that.
                made.execute("PRAGMA journal_mode = WAL")
                made.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                made.execute("BEGIN IMMEDIATE")
                _step_up(made, 0)
                made.execute("COMMIT")
            mask = os.umask(0)
            os.umask(mask)
            part.chmod(0o666 & ~mask)
            _name(part, path)
        finally:
            part.unlink(missing_ok=True)
    except FileExistsError:
        raise JobError(f"{path}: is there already") from None
    except OSError as error:
        raise JobError(f"{path}: cannot be written: {error.strerror or error}") from None


def _name(part: Path, path: Path) -> None:
    """Give it its name, but never another's place."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # FAT knows no second name of a file
        if path.exists():
            raise FileExistsError from None
        part.replace(path)


def connect(path: Path) -> sqlite3.Connection:
    """Open a notebook; an older one is brought up to date, with a copy of it kept beside.

    Where it cannot be written, as on a read-only medium, it is opened for reading.

    Raises
    ------
    JobError
        When it is missing, damaged, no notebook, or of a newer version; it is left as it is.
    """
    if not path.is_file():
        raise JobError(f"{path}: is not there; a job keeps its readings in it")
    writable = os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
    # Never mode=rwc: a notebook that is not there must not come into being here.
    mode = "mode=rw" if writable else _reading_mode(path)
    with said(path):
        opened = sqlite3.connect(
            f"{path.resolve().as_uri()}?{mode}", uri=True, timeout=BUSY_S, isolation_level=None
        )
        try:
            _check(opened, path)
            if writable:
                if opened.execute("PRAGMA journal_mode").fetchone() != ("wal",):
                    opened.execute("PRAGMA journal_mode = WAL")
                # FULL: what was committed survives a power cut too, not only a killed process.
                opened.execute("PRAGMA synchronous = FULL")
            opened.execute("PRAGMA foreign_keys = ON")
            if _format(opened) < FORMAT:
                _bring_up_to_date(opened, path, writable=writable)
        except BaseException:
            opened.close()
            raise
    return opened


def _reading_mode(path: Path) -> str:
    # Without write rights SQLite cannot take its locks, which only a file that nobody changes can
    # do without. What is still in its journal would then be overlooked, so that one needs locks.
    journal = path.with_name(f"{path.name}-wal")
    there = journal.exists() and journal.stat().st_size > 0
    return "mode=ro" if there else "mode=ro&immutable=1"


@contextmanager
def transaction(opened: sqlite3.Connection, path: Path) -> Iterator[None]:
    """All that is written within is there afterwards, or nothing of it.

    Raises
    ------
    JobError
        When it cannot be written.
    """
    with said(path):
        opened.execute("BEGIN IMMEDIATE")
        try:
            yield
            opened.execute("COMMIT")
        except BaseException:
            if opened.in_transaction:
                opened.execute("ROLLBACK")
            raise


def _check(opened: sqlite3.Connection, path: Path) -> None:
    (identity,) = opened.execute("PRAGMA application_id").fetchone()
    if identity != APPLICATION_ID:
        raise JobError(f"{path}: is no notebook of a repair job; it was left as it is")
    found = _format(opened)
    if found > FORMAT:
        raise JobError(
            f"{path}: was written by a newer version of sniff (format {found}, this one knows "
            f"{FORMAT}); update this one. Nothing was changed"
        )


def _format(opened: sqlite3.Connection) -> int:
    (version,) = opened.execute("PRAGMA user_version").fetchone()
    return int(version)


def _bring_up_to_date(opened: sqlite3.Connection, path: Path, *, writable: bool) -> None:
    if not writable:
        raise JobError(
            f"{path}: is of format {_format(opened)} and must be brought up to {FORMAT}, but "
            "cannot be written here; copy the job to where it can"
        )
    opened.execute("BEGIN IMMEDIATE")
    try:
        old = _format(opened)  # another command may have been quicker
        if old < FORMAT:
            _copy(path, old)
            _step_up(opened, old)
        opened.execute("COMMIT")
    except BaseException:
        if opened.in_transaction:
            opened.execute("ROLLBACK")
        raise


def _advice(text: str) -> str:
    if "locked" in text or "busy" in text:
        return f"another command held it for longer than {BUSY_S:g} s; try again"
    if "full" in text:
        return "cannot be written: the disk is full; make room"
    if "readonly" in text or "unable to open" in text:
        return f"cannot be opened or written ({text}); check the rights on it and its folder"
    return f"cannot be read or written: {text}"


def _step_up(opened: sqlite3.Connection, old: int) -> None:
    for step in STEPS[old:]:
        for statement in step:
            opened.execute(statement)
    opened.execute(f"PRAGMA user_version = {FORMAT}")


def _copy(path: Path, old: int) -> None:
    """Keep the notebook as it was, under a name that tells its format and the time."""
    now = datetime.now(timezone.utc)
    target = path.with_name(f"{path.stem}.format{old}.{now:%Y%m%dT%H%M%SZ}{path.suffix}")
    part = target.with_suffix(".part")
    try:
        with (
            closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as source,
            closing(sqlite3.connect(part)) as copy,
        ):
            source.backup(copy)
        part.replace(target)
    except OSError as error:
        raise JobError(f"{target}: cannot be written: {error.strerror or error}") from None
    finally:
        part.unlink(missing_ok=True)
