"""Jobs as text: the list of them, and one with its notebook."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from rich.markup import escape

from sniff.job.checking import FileState, JobCheck
from sniff.job.differences import Difference
from sniff.job.entries import FileKind, Note, NoteKind, Reading
from sniff.job.folder import Job
from sniff.job.search import Hit
from sniff.report.job_words import plan_words, says_of, utc_minute
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


def print_hits(hits: Sequence[Hit], names: Mapping[str, str]) -> None:
    """Print what was found, job by job, the best first."""
    out = console()
    if not hits:
        out.print("Nothing holds these words.")
    for folder in dict.fromkeys(hit.folder for hit in hits):
        out.print(f"[bold]{escape(names.get(folder, ''))}[/]  {escape(folder)}")
        for hit in hits:
            if hit.folder == folder:
                which = hit.kind if hit.kind == "job" else f"{hit.kind} {hit.number}"
                out.print(f"  {which}: {hit.words}", markup=False)


def print_check(result: JobCheck) -> None:
    """Print what a check came to."""
    out = console()
    out.print(f"{result.readings} readings, {result.notes} notes, {len(result.files)} files.")
    for trouble in result.troubles:
        out.print(f"Notebook: {trouble}", markup=False)
    for check in result.files:
        if check.state not in (FileState.SAME, FileState.REPLACED):
            out.print(f"{check.state.value}: {check.file.path}", markup=False)
    out.print("All is as it was filed." if result.sound else "Not all is as it was filed.")


class RedoneReading(Protocol):
    """One reading that was repeated."""

    @property
    def reading(self) -> int: ...
    @property
    def command(self) -> str: ...
    @property
    def software(self) -> str: ...
    @property
    def differences(self) -> Sequence[Difference]: ...
    @property
    def why_not(self) -> str | None: ...


def print_redone(done: Sequence[RedoneReading]) -> None:
    """Print what differs, reading by reading."""
    out = console()
    for each in done:
        head = f"{each.reading} {each.command}"
        if each.why_not is not None:
            out.print(f"{head}: not repeated: {each.why_not}", markup=False)
        elif not each.differences:
            out.print(f"{head}: the same", markup=False)
        else:
            out.print(f"{head}: differs from version {each.software}", markup=False)
            for one in each.differences:
                out.print(f"    {one.field}: was {one.old}, is {one.new}", markup=False)


def _reading_row(reading: Reading) -> tuple[str, str, str, str, str]:
    recorded = ", ".join(file.name for file in reading.kept(FileKind.RECORDING)[:1])
    return (
        f"{reading.number} {reading.command}",
        reading.stage.value if reading.stage else "",
        reading.place or "",
        reading.verdict or "",
        says_of(reading.result) or recorded,
    )


def _note_row(note: Note) -> tuple[str, str, str, str, str]:
    kind = note.kind.value if note.kind is not NoteKind.NOTE else "note"
    photo = f" ({note.photo.name})" if note.photo else ""
    return (kind, note.stage.value if note.stage else "", "", "", f"{note.text}{photo}")
