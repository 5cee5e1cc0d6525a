"""The work of ``sniff job note`` and ``sniff job photo``."""

from collections.abc import Mapping
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import click

from sniff.cli.filing import job_here
from sniff.errors import UsageError
from sniff.job.entries import Note, NoteKind, Stage
from sniff.job.photo import take_in
from sniff.job.words import clean


def write_note(text: str, given: Mapping[str, Any]) -> None:
    """Write a note as the options say."""
    job = job_here(given["job"])
    words = clean(text)
    if not words:
        raise UsageError("the note is empty")
    note = Note(
        at_utc=datetime.now(timezone.utc),
        kind=NoteKind.REPAIR if given["repair"] else NoteKind.NOTE,
        stage=_stage(given),
        text=words,
    )
    with job.notebook() as notebook:
        number = notebook.add_note(note)
    if not given["quiet"]:
        click.echo(f"Note {number} of {job.folder}.", err=True)


def take_photo(file: Path, caption: str, given: Mapping[str, Any]) -> None:
    """Take a photo into the job."""
    job = job_here(given["job"])
    taken = take_in(file, folder=job.photos, job=job.folder)
    note = Note(
        at_utc=datetime.now(timezone.utc),
        kind=NoteKind.PHOTO,
        stage=_stage(given),
        text=clean(caption),
        photo=taken.kept,
    )
    with job.notebook() as notebook:
        notebook.add_note(note)
    if given["quiet"]:
        return
    click.echo(f"Kept as {taken.kept.path}.", err=True)
    if taken.had_metadata:
        place = ", and with them where it was taken" if taken.had_place else ""
        click.echo(f"Its metadata were left out{place}.", err=True)


def _stage(given: Mapping[str, Any]) -> Stage | None:
    return None if given["stage"] is None else Stage(given["stage"])
