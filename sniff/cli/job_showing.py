"""The work of ``sniff job list``, ``show`` and ``find``."""

from pathlib import Path

import click
from platformdirs import user_cache_path

from sniff.cli.filing import job_here, known_jobs
from sniff.errors import BenchError
from sniff.job.folder import Job, open_job
from sniff.job.search import find
from sniff.report.envelope import envelope
from sniff.report.job_text import JobRow, print_hits, print_job, print_jobs


def list_known(*, forget_missing: bool) -> None:
    """Print all known jobs, those that are gone or damaged too."""
    known = known_jobs()
    if forget_missing:
        for folder in known.forget_missing():
            click.echo(f"Forgotten: {folder}", err=True)
    print_jobs([_row(folder) for folder in known.folders()])


def show_one(folder: Path | None) -> None:
    """Print one job's sheet and notebook."""
    job = job_here(folder)
    with job.notebook() as notebook:
        print_job(job, notebook.readings(), notebook.notes())


def find_in_all(text: str, *, as_json: bool) -> None:
    """Print what holds the words, in all known jobs that can be read."""
    jobs, troubles = [], []
    for folder in known_jobs().folders():
        job = _opened(folder)
        if isinstance(job, Job):
            jobs.append(job)
        else:
            troubles.append(job)
    hits = find(text, jobs, index=user_cache_path("sniff") / "jobs.sqlite")
    if as_json:
        click.echo(envelope("job find", {"hits": hits}))
    else:
        print_hits(hits, {str(job.folder): job.sheet.set_name for job in jobs})
    for trouble in troubles:
        click.echo(f"Not looked at: {trouble}", err=True)


def _opened(folder: Path) -> Job | str:
    try:
        job = open_job(folder)
        with job.notebook():
            return job
    except BenchError as error:
        return str(error)


def _row(folder: Path) -> JobRow:
    try:
        job = open_job(folder)
        with job.notebook() as notebook:
            readings, _ = notebook.counts()
    except BenchError as error:
        return JobRow(folder=folder, trouble=str(error))
    return JobRow(
        folder=folder,
        set_name=job.sheet.set_name,
        fault=job.sheet.fault,
        started=job.sheet.started,
        readings=readings,
    )
