"""What a batch came to, as its rows, its picture, its summary, and the text."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import click

from sniff.batch.journal import ANSWERS, KeptAnswers
from sniff.batch.summary import Summary, summarised
from sniff.batch.table import Table, flattened
from sniff.report.batch_table import write_table
from sniff.report.batch_text import print_batch
from sniff.report.envelope import envelope
from sniff.report.text import say_cautions
from sniff.wholefile import TemporaryBeside

SUMMARY: Final = "summary.json"
PICTURE: Final = "fleet.png"


def show_batch(answers: KeptAnswers, rows: Path, question: str, given: Mapping[str, Any]) -> int:
    """Write and print what the answers come to; returns the exit code.

    Parameters
    ----------
    answers : KeptAnswers
    rows : Path
        Where the table goes; summary and picture go beside it.
    question : str
    given : mapping
        The options.
    """
    table = flattened(answers)
    write_table(table, rows)
    summary = summarised(table, question=question)
    told = envelope("batch", summary, cautions=summary.cautions)
    with TemporaryBeside(rows.with_name(SUMMARY)) as whole:
        whole.file.write(told.encode("utf-8", "surrogatepass") + b"\n")
        whole.move_to(rows.with_name(SUMMARY))
    picture = None if given["no_plot"] else given["plot"] or rows.with_name(PICTURE)
    if given["as_json"]:
        click.echo(told)
    else:
        print_batch(summary)
    if picture is not None:
        _draw(table, summary, picture)
    if not given["quiet"]:
        say_cautions(summary.cautions)
    if not given["as_json"]:
        written = ", ".join(str(file) for file in (rows, picture) if file is not None)
        click.echo(f"Written: {written}; each answer whole in {rows.parent / ANSWERS}.")
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
