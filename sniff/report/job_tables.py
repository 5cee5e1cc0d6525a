"""A job's notebook for a spreadsheet: tables of readings, of what they list, of notes and files."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from sniff.job.entries import KeptFile, Note, Reading
from sniff.job.folder import Job
from sniff.report.csv_cells import csv_text
from sniff.report.envelope import plain

Row = dict[str, Any]


def tables_of(
    readings: Sequence[Reading], notes: Sequence[Note], files: Sequence[KeptFile]
) -> dict[str, str]:
    """Each table as CSV text, by its name.

    Returns
    -------
    dict of str to str
        ``readings`` with the figures of each result, ``notes``, ``files``, and a table for each
        list that results hold, such as ``lines``, ``peaks`` or ``dropouts``.
    """
    tables: dict[str, list[Row]] = {"readings": [_reading_row(reading) for reading in readings]}
    for reading in readings:
        for name, items in reading.result.items():
            if isinstance(items, list) and items and all(isinstance(each, dict) for each in items):
                tables.setdefault(_table_name(name), []).extend(
                    {"reading": reading.number, "place_in_list": at, **_flat(item)}
                    for at, item in enumerate(items)
                )
    tables["notes"] = [_note_row(note) for note in notes]
    tables["files"] = [
        {"kind": f.kind.value, "path": f.path, "sha256": f.sha256, "bytes": f.bytes} for f in files
    ]
    return {name: _csv(rows) for name, rows in tables.items()}


def as_json(
    job: Job, readings: Sequence[Reading], notes: Sequence[Note], files: Sequence[KeptFile]
) -> dict[str, Any]:
    """All of it as one JSON object; the results field by field as the commands told them."""
    return {
        "schema": "sniff-job/1",
        "sheet": job.sheet_text,
        "readings": [
            {
                **_heading(reading),
                "sheet": reading.sheet,
                "files": plain(reading.files),
                "told": reading.data,
            }
            for reading in readings
        ],
        "notes": plain(tuple(notes)),
        "files": plain(tuple(files)),
    }


def _heading(reading: Reading) -> Row:
    return {
        "number": reading.number,
        "filed_utc": plain(reading.filed_utc),
        "command": reading.command,
        "stage": reading.stage.value if reading.stage else None,
        "place": reading.place,
        "verdict": reading.verdict,
        "exit_code": reading.exit_code,
        "software": reading.software,
        "command_line": reading.command_line,
    }


def _reading_row(reading: Reading) -> Row:
    clock = reading.data.get("clock")
    return {
        **_heading(reading),
        **(_flat({"clock": clock}) if isinstance(clock, dict) else {}),
        **{
            key: value
            for key, value in _flat(reading.result).items()
            if key not in ("verdict", "command", "place", "number")
        },
    }


def _note_row(note: Note) -> Row:
    return {
        "number": note.number,
        "at_utc": plain(note.at_utc),
        "kind": note.kind.value,
        "stage": note.stage.value if note.stage else None,
        "text": note.text,
        "photo": None if note.photo is None else note.photo.path,
    }


def _flat(data: Mapping[str, Any], within: str = "") -> Row:
    return dict(_scalars(data, within))


def _scalars(data: Mapping[str, Any], within: str) -> Iterator[tuple[str, Any]]:
    for key, value in data.items():
        if isinstance(value, dict):
            yield from _scalars(value, f"{within}{key}.")
        elif not isinstance(value, list):
            yield f"{within}{key}", value
        elif all(isinstance(each, str) for each in value):  # marks of a peak
            yield f"{within}{key}", " ".join(value)


def _table_name(name: str) -> str:
    return name if name not in ("readings", "notes", "files") else f"result_{name}"


def _csv(rows: Iterable[Row]) -> str:
    rows = list(rows)
    columns = list(dict.fromkeys(key for row in rows for key in row))
    return csv_text([columns, *([row.get(column) for column in columns] for row in rows)])
