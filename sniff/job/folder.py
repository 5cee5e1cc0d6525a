"""A job's folder: the sheet, the notebook, and folders for recordings, pictures and photos."""

from dataclasses import dataclass
from pathlib import Path

from sniff.job.database import create
from sniff.job.error import JobError
from sniff.job.notebook import Notebook
from sniff.job.sheet import MARK, Sheet, parse_sheet, read_sheet_text, render_sheet
from sniff.wholefile import TemporaryBeside

SHEET, NOTEBOOK = "job.toml", "notebook.sqlite"
FOLDERS = ("recordings", "pictures", "photos")


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A job that was found.

    Attributes
    ----------
    folder : Path
        Absolute.
    sheet : Sheet
    sheet_text : str
        The sheet as it is written.
    """

    folder: Path
    sheet: Sheet
    sheet_text: str

    @property
    def recordings(self) -> Path:
        """Where its IQ is."""
        return self.folder / FOLDERS[0]

    @property
    def pictures(self) -> Path:
        """Where the pictures of its readings are."""
        return self.folder / FOLDERS[1]

    @property
    def photos(self) -> Path:
        """Where its photos are."""
        return self.folder / FOLDERS[2]

    def notebook(self) -> Notebook:
        """Open its notebook; raises as `Notebook`."""
        return Notebook(self.folder / NOTEBOOK)

    def inside(self, name: str) -> Path | None:
        """A file of the job by its name in the notebook; None when it would lie outside."""
        path = (self.folder / name).resolve()
        return path if path.is_relative_to(self.folder.resolve()) else None


def start_job(folder: Path, sheet: Sheet) -> Job:
    """Make a job in a folder, which may be there and hold other files.

    The sheet comes last: a folder without one is no job yet, and may be started again.

    Raises
    ------
    JobError
        When there is a job already, or it cannot be written.
    """
    text = render_sheet(sheet)
    if (folder / SHEET).exists():
        raise JobError(f"{folder}: there is a job already; choose another folder")
    try:
        for name in FOLDERS:
            (folder / name).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise JobError(
            f"{folder}: cannot be made: {error.strerror or error}; choose another folder"
        ) from None
    if (folder / NOTEBOOK).exists():
        _require_empty(folder / NOTEBOOK)
    else:
        create(folder / NOTEBOOK)
    with TemporaryBeside(folder / SHEET) as whole:
        whole.file.write(text.encode("utf-8"))
        whole.move_to(folder / SHEET)
    return open_job(folder)


def open_job(folder: Path) -> Job:
    """The job in a folder.

    Raises
    ------
    JobError
        When there is none.
    InputError
        When its sheet has a mistake.
    """
    path = folder / SHEET
    if not path.is_file():
        raise JobError(f"{folder}: is no job, it has no {SHEET}; 'sniff job start' makes one")
    text = read_sheet_text(path)
    if MARK not in text:
        raise JobError(f"{path}: is no sheet of a repair job, it lacks '{MARK} = 1'")
    if not (folder / NOTEBOOK).is_file():
        raise JobError(
            f"{folder / NOTEBOOK}: is missing; put it back, or start the job anew in another folder"
        )
    sheet = parse_sheet(text, name=str(path))
    return Job(folder=folder.resolve(), sheet=sheet, sheet_text=text)


def find_job(start: Path) -> Path | None:
    """The nearest job at or above a folder, by the mark in its sheet; None when there is none."""
    for folder in (start, *start.parents):
        path = folder / SHEET
        try:
            if path.is_file() and MARK in read_sheet_text(path):
                return folder
        except (JobError, OSError):  # another's file, or one that we may not read
            continue
    return None


def _require_empty(path: Path) -> None:
    """A start that was broken off leaves an empty notebook, which may be taken up."""
    with Notebook(path) as notebook:
        if notebook.counts() != (0, 0):
            raise JobError(
                f"{path}: has entries, but its {SHEET} is gone; put that back, or choose another "
                "folder"
            )
