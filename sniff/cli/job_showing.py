"""The work of ``sniff job list`` and ``sniff job show``."""

from pathlib import Path

import click

from sniff.cli.filing import job_here, known_jobs
from sniff.errors import BenchError
from sniff.job.folder import open_job
from sniff.report.job_text import JobRow, print_job, print_jobs


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
