"""What a batch came to, as its rows, its picture, its summary, and the text."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import click

from sniff.batch.journal import ANSWERS, KeptAnswers
from sniff.batch.summary import Summary, summarised
from sniff.batch.table import Table, flattened
from sniff.errors import SourceError
from sniff.model import Caution
from sniff.report.batch_table import write_table
from sniff.report.batch_text import SUMMARY, print_batch
from sniff.report.envelope import envelope
from sniff.report.text import say_cautions
from sniff.wholefile import TemporaryBeside

PICTURE: Final = "fleet.png"


def show_batch(
    answers: KeptAnswers,
    rows: Path,
    question: str,
    given: Mapping[str, Any],
    *,
    cautions: Sequence[Caution] = (),
) -> int:
    """Write and print what the answers come to; returns the exit code.

    Parameters
    ----------
    answers : KeptAnswers
    rows : Path
        Where the table goes; summary and picture go beside it.
    question : str
    given : mapping
        The options.
    cautions : sequence of Caution, optional
        What was passed over though it was named.

    Raises
    ------
    SourceError
        When some of it cannot be written; what was asked is printed by then.
    """
    table = flattened(answers)
    summary = summarised(table, question=question)
    summary = replace(summary, cautions=(*cautions, *summary.cautions))
    told = envelope("batch", summary, cautions=summary.cautions)
    trouble: SourceError | None = None
    try:
        _write(table, rows, told)
    except SourceError as error:  # what was asked is printed all the same
        trouble = error
    if given["as_json"]:
        click.echo(told)
    else:
        print_batch(summary)
    if not given["quiet"]:
        say_cautions(summary.cautions)
    if trouble is not None:
        raise trouble
    written = [rows, rows.with_name(SUMMARY)]
    if not given["no_plot"]:
        picture = given["plot"] or rows.with_name(PICTURE)
        _draw(table, summary, picture)
        written.append(picture)
    if not given["as_json"]:
        files = ", ".join(map(str, written))
        click.echo(f"Written: {files}; each answer whole in {rows.parent / ANSWERS}.")
    return exit_code(summary)


def _write(table: Table, rows: Path, told: str) -> None:
    write_table(table, rows)
    with TemporaryBeside(rows.with_name(SUMMARY)) as whole:
        whole.file.write(told.encode("utf-8", "surrogatepass") + b"\n")
        whole.move_to(rows.with_name(SUMMARY))


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
