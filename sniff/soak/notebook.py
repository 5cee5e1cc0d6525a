"""A soak's notebook on disk: opened, checked, locked, read. What a run writes is in `writing`."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime, timezone
from pathlib import Path

from sniff.errors import InputError, SourceError, UsageError
from sniff.model import Caution
from sniff.soak.nouns import Kept, KeptDropout, Minute, Observed, Run, Setup
from sniff.soak.schema import APPLICATION_ID, STEPS, VERSION
from sniff.watch.nouns import Kind

NOTEBOOK = "soak.sqlite"
_LOCK = "soak.lock"
_BUSY_S = 5.0
_LONGEST_REASON = 160
_YEAR_9999_S = 253_370_764_800.0


class _DamagedError(Exception):
    """The file is none of SQLite's, or does not hold together."""


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold a folder against another soak in it; the system lets go when the process dies.

    Raises
    ------
    UsageError
        When another process soaks there.
    SourceError
        When the folder cannot be written.
    """
    # A lock of SQLite's own, on a file of its own: it is the same on every system, a killed process
    # leaves nothing behind, and readers of the notebook are not kept out.
    path = folder / _LOCK
    try:
        folder.mkdir(parents=True, exist_ok=True)
        holder = sqlite3.connect(path, timeout=0.0, isolation_level=None)
    except (OSError, sqlite3.Error) as error:
        raise SourceError(f"{folder}: cannot be written: {_reason(error)}") from None
    with closing(holder):
        try:
            holder.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if "locked" in str(error):
                raise UsageError(f"{folder}: another sniff soaks there; choose another") from None
            raise SourceError(f"{folder}: cannot be written: {_reason(error)}") from None
        yield


def open_to_write(folder: Path) -> tuple[sqlite3.Connection, tuple[Caution, ...]]:
    """Open the notebook of a locked folder, made anew where there is none.

    A damaged one is set aside, under a name that tells when, and a new one begun.

    Raises
    ------
    InputError
        When a newer version of this program, or another program, wrote it.
    SourceError
        When it cannot be opened or written.
    """
    path = folder / NOTEBOOK
    cautions: tuple[Caution, ...] = ()
    try:
        return _opened(path), cautions
    except _DamagedError as damage:
        aside = _set_aside(path)
        text = f"{path.name} was damaged ({damage}); it was set aside as {aside.name}"
        return _opened(path), (Caution(code="notebook", text=text),)


def read(folder: Path) -> Kept:
    """Read a notebook, also while a soak goes on.

    Raises
    ------
    InputError
        When there is none, it is damaged, or a newer version wrote it.
    SourceError
        When it cannot be opened.
    """
    path = folder / NOTEBOOK
    if not path.is_file():
        raise InputError(f"{folder}: holds no soak; begin one with --from SOURCE --line F")
    try:
        with closing(_connect(path)) as connection:
            _check(connection, path)
            connection.execute("BEGIN")  # all tables as of one moment
            return _kept(connection, path)
    except sqlite3.OperationalError as error:
        raise SourceError(f"{path}: cannot be read: {_reason(error)}") from None
    except (_DamagedError, sqlite3.DatabaseError, ValueError, TypeError) as error:
        raise InputError(
            f"{path}: is damaged ({_reason(error)}); go on with --from, which sets it aside, or "
            "restore it"
        ) from None


def _opened(path: Path) -> sqlite3.Connection:
    connection = None
    try:
        connection = _connect(path)
        _check(connection, path)
        _bring_up(connection)
        if connection.execute("SELECT count(*) FROM setup").fetchone()[0]:
            _kept(connection, path)  # what cannot be read is not written on
        # FULL puts each commit on disk before it returns; NORMAL would keep commits in the
        # system's memory till the next checkpoint, and a power cut would take them all.
        mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA fullfsync = ON")  # macOS: as far as the platter
        connection.execute("PRAGMA journal_size_limit = 4000000")
        if mode != "wal":
            raise SourceError(f"{path}: this disk cannot hold a notebook; choose a local one")
        return connection
    except BaseException as error:
        if connection is not None:
            connection.close()
        if isinstance(error, sqlite3.OperationalError):
            raise SourceError(
                f"{path}: cannot be opened: {_reason(error)}; move it away, or choose another "
                "folder"
            ) from None
        if isinstance(error, (sqlite3.DatabaseError, ValueError, TypeError)):
            raise _DamagedError(_reason(error)) from None
        raise


def _schema(connection: sqlite3.Connection) -> list[tuple[str, str]]:
    return connection.execute("SELECT name, sql FROM sqlite_schema ORDER BY name").fetchall()


def _connect(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None)


def _check(connection: sqlite3.Connection, path: Path) -> None:
    found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise _DamagedError(str(found).splitlines()[-1])
    tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    owner = connection.execute("PRAGMA application_id").fetchone()[0]
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if tables and owner != APPLICATION_ID:
        raise InputError(f"{path}: is another program's file; choose another folder")
    if version > VERSION:
        raise InputError(
            f"{path}: a newer sniff wrote it (format {version}; this one reads up to {VERSION}); "
            "use that one, or another folder"
        )
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as model:
        _bring_up(model, to=version)
        if _schema(connection) != _schema(model):
            raise _DamagedError("its tables are not what they were")


def _bring_up(connection: sqlite3.Connection, *, to: int = VERSION) -> None:
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    for step in range(version + 1, to + 1):
        # One transaction for each step, its version included: a power cut leaves no half.
        connection.executescript(
            f"BEGIN IMMEDIATE; {STEPS[step]}; PRAGMA application_id = {APPLICATION_ID}; "
            f"PRAGMA user_version = {step}; COMMIT;"
        )


def _set_aside(path: Path) -> Path:
    now = datetime.now(timezone.utc).strftime("%Y%m%dT%H%M%SZ")
    aside = path.with_name(f"{path.stem}.damaged-{now}{path.suffix}")
    number = 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"{path.stem}.damaged-{now}-{number}{path.suffix}")
    try:
        # With its log: what the log holds is the newest of what can be rescued.
        for ending in ("-wal", "-shm", ""):
            part = path.with_name(path.name + ending)
            if part.exists():
                part.replace(aside.with_name(aside.name + ending))
    except OSError as error:
        raise SourceError(f"{path}: is damaged and cannot be set aside: {error.strerror}") from None
    return aside


def _kept(connection: sqlite3.Connection, path: Path) -> Kept:
    found = connection.execute("SELECT line_hz, resolution_s FROM setup").fetchone()
    if found is None:
        raise InputError(f"{path}: the soak has not begun yet")
    return Kept(
        setup=Setup(line_hz=found[0], resolution_s=found[1]),
        runs=tuple(
            Run(
                zero_utc_s=_time(zero),
                indicated_hz=hz,
                inverted=bool(inverted),
                about=json.loads(about),
            )
            for zero, hz, inverted, about in connection.execute(
                "SELECT zero_utc_s, indicated_hz, inverted, about FROM run ORDER BY id"
            )
        ),
        observed=tuple(
            Observed(start_utc_s=_time(start), end_utc_s=_time(end), lost_s=_sane(lost) or 0.0)
            for start, end, lost in connection.execute(
                "SELECT start_utc_s, end_utc_s, lost_s FROM observed ORDER BY start_utc_s"
            )
        ),
        minutes=tuple(
            Minute(
                start_utc_s=_time(start),
                observed_s=_sane(observed) or 0.0,
                present_s=_sane(present) or 0.0,
                dropouts=dropouts,
                median_dbfs=_sane(median),
                lowest_dbfs=_sane(lowest),
                highest_dbfs=_sane(highest),
                offset_hz=_sane(offset),
            )
            for start, observed, present, dropouts, median, lowest, highest, offset in (
                connection.execute(
                    "SELECT start_utc_s, observed_s, present_s, dropouts, median_dbfs, "
                    "lowest_dbfs, highest_dbfs, offset_hz FROM minute ORDER BY start_utc_s"
                )
            )
        ),
        dropouts=_dropouts(connection),
        uncounted=connection.execute("SELECT coalesce(sum(uncounted), 0) FROM run").fetchone()[0],
        recording_bytes=connection.execute(
            "SELECT coalesce(sum(bytes), 0) FROM recording"
        ).fetchone()[0],
    )


def _dropouts(connection: sqlite3.Connection) -> tuple[KeptDropout, ...]:
    rows = connection.execute(
        "SELECT start_utc_s, duration_s, depth_db, pull_hz, kind, before_dbfs, recording "
        "FROM dropout UNION ALL SELECT start_utc_s, NULL, NULL, 0.0, NULL, NULL, NULL FROM begun "
        "ORDER BY start_utc_s"
    )
    return tuple(
        KeptDropout(
            start_utc_s=_time(start),
            duration_s=_sane(duration),
            depth_db=_sane(depth),
            pull_hz=_sane(pull) or 0.0,
            kind=None if kind is None else Kind(kind),
            before_dbfs=_sane(before),
            recording=recording,
        )
        for start, duration, depth, pull, kind, before, recording in rows
    )


def _time(utc_s: float) -> float:
    if not 0.0 <= utc_s < _YEAR_9999_S:
        raise ValueError(f"{utc_s} s is no time")
    return utc_s


def _sane(value: float | None) -> float | None:
    if value is not None and not abs(value) < 1e12:
        raise ValueError(f"{value} is none of its numbers")
    return value


def _reason(error: Exception) -> str:
    """In one line: SQLite quotes what it found, which may be anything."""
    text = error.strerror or str(error) if isinstance(error, OSError) else str(error)
    line = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(line.split())[:_LONGEST_REASON]
