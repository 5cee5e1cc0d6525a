"""The hook by which a measuring command files its result in a repair job.

A command wears `sniff.cli.job_options.job_options`, calls `with_job` before it measures, and ends

    with Filing(told, given, code) as filed:
        ...                     # draw its pictures
    return filed.exit_code

where `told` is its JSON object, printed or not. The notebook keeps that object, the command line,
the sheet of the job, and hashes of the recordings and pictures; it need not know the command.
"""

import secrets
import shlex
import sys
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timezone
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import click

from sniff import __version__
from sniff.errors import BenchError, UsageError

if TYPE_CHECKING:
    from sniff.job.folder import Job
    from sniff.job.known import KnownJobs
    from sniff.job.sheet import Sheet
    from sniff.superhet.plan import Plan

NOT_FILED = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """For what a command works.

    Attributes
    ----------
    job : Job or None
        Where it files its result; None: nowhere.
    sheet : Sheet or None
        What fills the words that the command line leaves open.
    folder : Path
        To which the sheet's paths are relative.
    """

    job: "Job | None" = None
    sheet: "Sheet | None" = None
    folder: Path = Path()


def known_jobs() -> "KnownJobs":
    """The user's jobs."""
    from platformdirs import user_data_path

    from sniff.job.known import KnownJobs

    return KnownJobs(user_data_path("sniff") / "jobs")


def job_here(folder: Path | None) -> "Job":
    """The job that is named, or that of the present folder.

    Raises
    ------
    UsageError
        When neither is there.
    JobError, InputError
        When it is damaged.
    """
    from sniff.job.folder import find_job, open_job

    found = folder if folder is not None else find_job(Path.cwd())
    if found is None:
        raise UsageError("this folder is no job, nor lies in one; name one, or 'sniff job start'")
    return open_job(found)


def with_job(command: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Find the job that a command works for, and fill in what its sheet says.

    Called before anything is measured, so that a job which cannot take the result is told of first.

    Parameters
    ----------
    command : str
        Name of the command.
    given : mapping
        Its options.

    Returns
    -------
    dict
        The options, with ``work``, a `Work`, and ``planned``, the plan of the sheet or None; the
        sibling by the sheet where none is named; and pictures go into the job where no file is
        named for them.

    Raises
    ------
    UsageError
        When `--job` and `--no-job` are both given, or a stage without a job.
    JobError, InputError
        When the job cannot be used.
    """
    filled = dict(given)
    work = given["job"] if isinstance(given["job"], Work) else _work(given)
    filled["work"] = work
    filled["planned"] = None if work.sheet is None else work.sheet.plan
    sibling = None if work.sheet is None else work.sheet.sibling
    if sibling is not None and _sibling_open(given, filled["planned"]):
        filled["sibling"] = source_from(work.folder, sibling.source)
        filled["sibling_carrier"] = sibling.carrier_hz
    if work.job is not None:
        stem = work.job.pictures / _stem(command)
        for picture in ("plot", "course"):
            if picture in given and given[picture] is None:
                filled[picture] = stem.with_name(f"{stem.name}-{picture}.png")
        if given.get("keep_iq"):
            filled["keep_stem"] = work.job.recordings / stem.name
    elif given.get("keep_iq"):
        raise UsageError("--keep-iq is for a job; name it by --job DIR, or go to its folder")
    return filled


def in_job(given: Mapping[str, Any]) -> bool:
    """Whether the result is going to be filed."""
    work = given.get("work")
    return isinstance(work, Work) and work.job is not None


class Filing:
    """Files one result when it is entered, and the pictures of the command when it is left.

    Parameters
    ----------
    told : str
        The command's JSON object.
    given : mapping
        Its options, from `with_job`.
    exit_code : int
        What it is going to exit with.
    place : str, optional
        Where on the board.
    recordings : iterable of Path, optional
        What was measured; by default the recording that `told` names as its source, the sibling's,
        and the ``files`` of its result.
    pictures : iterable of Path, optional
        What it draws besides the files of ``plot`` and ``course``.
    """

    def __init__(
        self,
        told: str,
        given: Mapping[str, Any],
        exit_code: int,
        *,
        place: str | None = None,
        recordings: Iterable[Path] | None = None,
        pictures: Iterable[Path] = (),
    ) -> None:
        self.exit_code = exit_code
        """What the command exits with: 4 when its result could not be filed."""
        work = given.get("work")
        self._job: Job | None = work.job if isinstance(work, Work) else None
        self._told = told
        self._given = given
        self._place = place
        self._recordings = recordings
        self._pictures = [*pictures, *(given.get(word) for word in ("plot", "course"))]
        self._number: int | None = None

    def __enter__(self) -> "Filing":
        if self._job is None:
            return self
        try:
            self._number = self._file(self._job)
        except BenchError as error:
            self._not_filed(error)
        else:
            self._say(self._job, self._number)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._job is None or self._number is None:
            return
        from sniff.job.entries import FileKind
        from sniff.job.hashing import kept_file

        drawn = [path for path in self._pictures if path is not None and path.is_file()]
        if not drawn:
            return
        try:
            files = [kept_file(path, kind=FileKind.PICTURE, job=self._job.folder) for path in drawn]
            with self._job.notebook() as notebook:
                notebook.attach(self._number, files)
        except BenchError as trouble:
            self._not_filed(trouble)

    def _file(self, job: "Job") -> int:
        from sniff.job.entries import FileKind, Reading, Stage
        from sniff.job.hashing import kept_file

        stage = self._given.get("stage")
        reading = Reading(
            filed_utc=datetime.now(timezone.utc),
            command="",
            stage=None if stage is None else Stage(stage),
            place=self._place,
            exit_code=self.exit_code,
            command_line=_command_line(),
            folder=str(Path.cwd()),
            software=__version__,
            sheet=job.sheet_text,
            told=self._told,
        )
        with job.notebook() as notebook:
            known = notebook.files()
            paths = self._recordings
            if paths is None:
                paths = recordings_in(reading.data, self._given)
            files = tuple(
                kept_file(path, kind=FileKind.RECORDING, job=job.folder, known=known)
                for path in paths
            )
            return notebook.add_reading(
                reading.renewed(command=str(reading.data.get("command")), files=files)
            )

    def _say(self, job: "Job", number: int) -> None:
        if self._given.get("quiet"):
            return
        stage = self._given.get("stage")
        which = f"stage {stage}" if stage else "no stage; --stage lets the report pair it"
        click.echo(f"Filed as reading {number} of {job.folder} ({which}).", err=True)

    def _not_filed(self, error: BenchError) -> None:
        self.exit_code = NOT_FILED
        click.echo(f"sniff: not filed: {error}", err=True)


def recordings_in(data: Mapping[str, Any], given: Mapping[str, Any]) -> list[Path]:
    """Files of the recordings from which a result came, or that it is."""
    source, result = data.get("source"), data.get("result")
    names: list[str] = []
    if isinstance(source, dict) and source.get("kind") == "recording":
        names.append(str(source["name"]))
    if given.get("sibling"):
        names.append(str(given["sibling"]))
    if isinstance(result, dict) and data.get("command") == "record":
        names.extend(str(name) for name in result.get("files", ()))
    if given.get("keep_stem") is not None:
        names.append(f"{given['keep_stem']}.sigmf-meta")
    found = [path for name in names for path in _halves(Path(name))]
    return list(dict.fromkeys(found))


def _halves(path: Path) -> list[Path]:
    """A recording's files: a SigMF pair has two; what is no file, such as bench:SCENE, none."""
    pair = {".sigmf-meta", ".sigmf-data"}
    paths = [path.with_suffix(suffix) for suffix in sorted(pair)] if path.suffix in pair else [path]
    with suppress(OSError):
        return [each for each in paths if each.is_file()]
    return []


def _work(given: Mapping[str, Any]) -> Work:
    from sniff.job.error import JobError

    if given["no_job"] and given["job"] is not None:
        raise UsageError("--job and --no-job do not go together")
    job = None if given["no_job"] else _job_of(given["job"])
    if job is None:
        if given["stage"] is not None:
            raise UsageError("--stage is for a job; name it by --job DIR, or go to its folder")
        return Work()
    with job.notebook():
        pass  # one that cannot be used is told of before anything is measured
    with suppress(JobError):  # that it is not in the list of known jobs must not stop the work
        known_jobs().add(job.folder)
    return Work(job=job, sheet=job.sheet, folder=job.folder)


def _job_of(named: Path | None) -> "Job | None":
    if named is not None:
        return job_here(named)
    from sniff.job.folder import find_job, open_job

    found = find_job(Path.cwd())
    return None if found is None else open_job(found)


def _sibling_open(given: Mapping[str, Any], planned: "Plan | None") -> bool:
    """Whether a command that takes a sibling names none, and measures the job's own set."""
    words = ("sibling", "sibling_carrier", "plan_file")
    if "sibling" not in given or any(given.get(word) is not None for word in words):
        return False
    carrier_hz = given.get("carrier")
    return carrier_hz is None or (planned is not None and carrier_hz == planned.carrier_hz)


def source_from(folder: Path, source: str) -> str:
    """A source of a job's sheet: a path relative to its folder, or as it stands."""
    path = folder / source
    return str(path) if ":" not in source and path.exists() else source


def _stem(command: str) -> str:
    # A name of its own for each, also when two commands run in the same second.
    return f"{datetime.now(timezone.utc):%Y%m%dT%H%M%SZ}-{command}-{secrets.token_hex(2)}"


def _command_line() -> str:
    from sniff.job.words import clean

    return clean(shlex.join(["sniff", *sys.argv[1:]]))
