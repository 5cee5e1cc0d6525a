"""The work of ``sniff job check``."""

from pathlib import Path

import click

from sniff.cli.filing import job_here
from sniff.job.checking import check_job
from sniff.report.envelope import envelope
from sniff.report.job_text import print_check


def check(folder: Path | None, *, as_json: bool) -> int:
    """Check a job; returns the exit code: 1 when something is wrong."""
    result = check_job(job_here(folder))
    if as_json:
        click.echo(envelope("job check", result))
    else:
        print_check(result)
    return 0 if result.sound else 1
