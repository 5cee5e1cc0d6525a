"""What a batch came to, as its rows, its picture, its summary, and the text."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import click

from sniff.batch.journal import KeptAnswers
from sniff.batch.summary import Summary, summarised
from sniff.batch.table import Table, flattened
from sniff.report.batch_table import write_csv, write_parquet
from sniff.report.batch_text import print_batch
from sniff.report.envelope import envelope
from sniff.report.text import say_cautions
from sniff.wholefile import TemporaryBeside

PICTURE: Final = "fleet.png"


def show_batch(answers: KeptAnswers, folder: Path, question: str, given: Mapping[str, Any]) -> int:
    """Write and print what the answers come to; returns the exit code."""
    table = flattened(answers)
    rows = folder / f"rows.{given['table']}"
    (write_parquet if given["table"] == "parquet" else write_csv)(table, rows)
    summary = summarised(table, question=question)
    told = envelope("batch", summary, cautions=summary.cautions)
    with TemporaryBeside(folder / "summary.json") as whole:
        whole.file.write(told.encode("utf-8", "surrogatepass") + b"\n")
        whole.move_to(folder / "summary.json")
    if given["as_json"]:
        click.echo(told)
    else:
        print_batch(summary)
    if not given["no_plot"]:
        _draw(table, summary, given["plot"] or folder / PICTURE)
    if not given["quiet"]:
        say_cautions(summary.cautions)
    return exit_code(summary)


def _draw(table: Table, summary: Summary, file: Path) -> None:
    from sniff.report.plots import draw_batch, save

    save(draw_batch(table, summary), file)


def exit_code(summary: Summary) -> int:
    """A verdict that failed goes before a file that could not be asked, that before an open one."""
    if summary.failed:
        return 1
    if summary.not_read:
        return 4
    return 3 if summary.undecided else 0
