"""The work of ``sniff job note`` and ``sniff job photo``."""

from collections.abc import Mapping
from datetime import datetime, timezone
from typing import Any

import click

from sniff.cli.filing import job_here
from sniff.errors import UsageError
from sniff.job.entries import Note, NoteKind, Stage
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


def _stage(given: Mapping[str, Any]) -> Stage | None:
    return None if given["stage"] is None else Stage(given["stage"])
