"""The work of ``sniff job report``."""

from collections.abc import Mapping
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import click

from sniff.cli.filing import job_here
from sniff.report.envelope import envelope
from sniff.report.html import render_report, view_of
from sniff.wholefile import TemporaryBeside


def report_on(folder: Path | None, given: Mapping[str, Any]) -> None:
    """Write the report, or print its content as JSON."""
    job = job_here(folder)
    with job.notebook() as notebook:
        view = view_of(
            job,
            notebook.readings(),
            notebook.notes(),
            notebook.files(),
            now=datetime.now(timezone.utc),
        )
    if given["as_json"]:
        click.echo(envelope("job report", view))
    if given["as_json"] and given["out"] is None:
        return
    target: Path = given["out"] or job.folder / "report.html"
    text = render_report(view, job)
    with TemporaryBeside(target) as whole:
        whole.file.write(text.encode("utf-8"))
        whole.move_to(target)
    click.echo(f"{target}", err=given["as_json"])
