"""The work of ``sniff job export``."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from sniff.cli.filing import job_here
from sniff.errors import SourceError, UsageError
from sniff.report.job_tables import as_json, tables_of
from sniff.wholefile import TemporaryBeside


def export(folder: Path | None, given: Mapping[str, Any]) -> None:
    """Write the notebook as tables, as JSON, or both."""
    if given["csv"] is None and given["json_file"] is None:
        raise UsageError("say where to: give --csv DIR, --json FILE or both")
    job = job_here(folder)
    with job.notebook() as notebook:
        readings, notes, files = notebook.readings(), notebook.notes(), notebook.files()
    if given["csv"] is not None:
        into: Path = given["csv"]
        try:
            into.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise SourceError(
                f"{into}: cannot be made: {error.strerror or error}; choose another folder"
            ) from None
        for name, text in tables_of(readings, notes, files).items():
            _write(into / f"{name}.csv", text)
    if given["json_file"] is not None:
        data = as_json(job, readings, notes, files)
        _write(given["json_file"], json.dumps(data, indent=1, ensure_ascii=False) + "\n")


def _write(path: Path, text: str) -> None:
    with TemporaryBeside(path) as whole:
        whole.file.write(text.encode("utf-8"))
        whole.move_to(path)
    click.echo(f"{path}")
