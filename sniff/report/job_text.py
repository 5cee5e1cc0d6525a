"""Jobs as text: the list of them, and one with its notebook."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from rich.markup import escape

from sniff.job.entries import FileKind, Note, NoteKind, Reading
from sniff.job.folder import Job
from sniff.report.job_words import plan_words, utc_minute
from sniff.report.text import console, table
from sniff.units import format_frequency


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRow:
    """One job in a list; `trouble` tells why there is no more to say of it."""

    folder: Path
    set_name: str = ""
    fault: str = ""
    started: datetime | None = None
    readings: int = 0
    trouble: str = ""


def print_jobs(rows: Sequence[JobRow]) -> None:
    """Print a list of jobs, the newest first."""
    out = console()
    sound = sorted((row for row in rows if row.started), key=lambda row: str(row.started))
    if not rows:
        out.print("No job was started on this machine yet; 'sniff job start DIR' does.")
        return
    if sound:
        out.print(
            table(
                ["started", "<set", "<fault", "readings", "<folder"],
                [
                    (
                        utc_minute(row.started),
                        row.set_name,
                        row.fault,
                        str(row.readings),
                        str(row.folder),
                    )
                    for row in reversed(sound)
                ],
            )
        )
    for row in rows:
        if row.trouble:
            out.print(f"Not to be read: {row.trouble}", markup=False)


def print_job(job: Job, readings: Sequence[Reading], notes: Sequence[Note]) -> None:
    """Print a job's sheet, and its readings and notes in the order of time."""
    out = console()
    sheet = job.sheet
    out.print(f"[bold]{escape(sheet.set_name)}[/], started {utc_minute(sheet.started)} UTC")
    if sheet.fault:
        out.print(f"Fault as told: {sheet.fault}", markup=False)
    out.print(f"Plan: {plan_words(sheet.plan)}", markup=False)
    if sheet.sibling is not None:
        carrier = format_frequency(sheet.sibling.carrier_hz)
        out.print(f"Sibling: {carrier}, {sheet.sibling.source}", markup=False)
    if sheet.finding:
        out.print(f"Finding: {sheet.finding}", markup=False)
    out.print(f"Folder: {job.folder}\n", markup=False)
    rows = sorted(
        [(reading.filed_utc, _reading_row(reading)) for reading in readings]
        + [(note.at_utc, _note_row(note)) for note in notes],
        key=lambda row: row[0],
    )
    if not rows:
        out.print("Nothing is in its notebook yet.")
        return
    headers = ["UTC", "<entry", "<stage", "<place", "<verdict", "<words"]
    out.print(table(headers, [(utc_minute(at), *row) for at, row in rows]))


def _reading_row(reading: Reading) -> tuple[str, str, str, str, str]:
    why = reading.result.get("why")
    recorded = ", ".join(file.name for file in reading.kept(FileKind.RECORDING)[:1])
    return (
        f"{reading.number} {reading.command}",
        reading.stage.value if reading.stage else "",
        reading.place or "",
        reading.verdict or "",
        why if isinstance(why, str) else recorded,
    )


def _note_row(note: Note) -> tuple[str, str, str, str, str]:
    kind = note.kind.value if note.kind is not NoteKind.NOTE else "note"
    photo = f" ({note.photo.name})" if note.photo else ""
    return (kind, note.stage.value if note.stage else "", "", "", f"{note.text}{photo}")
