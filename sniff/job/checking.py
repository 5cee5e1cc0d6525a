"""Whether a job is as it was left: its notebook sound, its files the same."""

from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from sniff.job.entries import KeptFile, Reading
from sniff.job.error import JobError
from sniff.job.folder import Job
from sniff.job.hashing import sha256_of


class FileState(str, Enum):
    """How a file is now."""

    SAME = "same"
    CHANGED = "changed"
    MISSING = "missing"
    REPLACED = "replaced"


@dataclass(frozen=True, slots=True, kw_only=True)
class FileCheck:
    """A file and how it is now."""

    file: KeptFile
    state: FileState


@dataclass(frozen=True, slots=True, kw_only=True)
class JobCheck:
    """What a check came to, field by field what ``--json`` prints.

    Attributes
    ----------
    sound : bool
        Nothing is wrong: no trouble, and every file is there as it was, or as it was filed later.
    troubles : tuple of str
        What is wrong with the notebook.
    readings, notes : int
    files : tuple of FileCheck
    """

    sound: bool
    troubles: tuple[str, ...]
    readings: int
    notes: int
    files: tuple[FileCheck, ...]


def check_job(job: Job) -> JobCheck:
    """Check a job's notebook and the hashes of all its files.

    Raises
    ------
    JobError
        When the notebook cannot be opened at all.
    """
    with job.notebook() as notebook:
        troubles = notebook.troubles()
        readings = notebook.readings()
        notes = notebook.notes()
        files = notebook.files()
    troubles += [trouble for reading in readings if (trouble := _trouble_of(reading))]
    newest = {file.path: file for file in files}
    checks = tuple(
        FileCheck(file=file, state=state_of(job, file, newest=newest[file.path])) for file in files
    )
    fine = (FileState.SAME, FileState.REPLACED)
    return JobCheck(
        sound=not troubles and all(check.state in fine for check in checks),
        troubles=tuple(troubles),
        readings=len(readings),
        notes=len(notes),
        files=checks,
    )


def _trouble_of(reading: Reading) -> str:
    try:
        _ = reading.data
    except JobError as error:
        return str(error)
    return ""


def place_of(job: Job, file: KeptFile) -> Path | None:
    """Where a file of the notebook is; None when its name leads out of the job."""
    return Path(file.path) if file.outside else job.inside(file.path)


def state_of(job: Job, file: KeptFile, *, newest: KeptFile | None = None) -> FileState:
    """How a file is now; one whose place a newer one took is replaced, which the notebook knows."""
    if newest is not None and newest != file:
        return FileState.REPLACED
    path = place_of(job, file)
    if path is None or not path.is_file():
        return FileState.MISSING
    return FileState.SAME if sha256_of(path) == file.sha256 else FileState.CHANGED
