"""``sniff job`` and what belongs to it."""

from pathlib import Path
from typing import Any

import click

from sniff.cli.job_options import job_option, stage_option
from sniff.cli.options import FREQUENCY, json_option
from sniff.cli.plan_options import plan_options

_folder = click.argument(
    "folder", type=click.Path(file_okay=False, path_type=Path), required=False, metavar="[DIR]"
)


@click.group()
def job() -> None:
    """A repair job: a folder that keeps every reading, and becomes the report.

    \b
    sniff job start deaf-12 --set "Tour-guide receiver 12" \\
          --fault "deaf at times" --carrier 72.9M --if 10.7M --side high \\
          --multiplier 3 --tolerance 50ppm
    cd deaf-12
    sniff probe --from dongle --stage arrival
    sniff job note --repair "joint at the crystal soldered anew"
    sniff probe --from dongle --stage after
    sniff job report
    """


@job.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path), metavar="DIR")
@click.option("--set", "set_name", metavar="TEXT", help="Which set: make it known again in a year.")
@click.option("--fault", metavar="TEXT", help="The fault as it was told.")
@plan_options
@click.option("--sibling", metavar="SOURCE", help="A recording of a working set of the same make.")
@click.option("--sibling-carrier", type=FREQUENCY, help="The sibling's carrier.")
def start(folder: Path, **given: Any) -> None:
    """Start a job in the folder DIR.

    On a terminal it asks for what the options leave open. The sheet, DIR/job.toml, is for you to
    edit: the plan and the sibling in it are taken by every command that works for the job.
    """
    from sniff.cli.job_start import start_from

    start_from(folder, given)


@job.command()
@click.argument("text")
@click.option("--repair", is_flag=True, help="What was repaired: what is read later is 'after' it.")
@job_option
@stage_option
@click.option("--quiet", is_flag=True, help="No confirmation on stderr.")
def note(text: str, **given: Any) -> None:
    """Write TEXT into the notebook."""
    from sniff.cli.job_writing import write_note

    write_note(text, given)


@job.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE")
@click.argument("caption", required=False, default="")
@job_option
@stage_option
@click.option("--quiet", is_flag=True, help="No confirmation on stderr.")
def photo(file: Path, caption: str, **given: Any) -> None:
    """Take the photo FILE into the job, with a CAPTION.

    A copy is kept upright and without its metadata: time, place and camera stay out of the job and
    of its report.
    """
    from sniff.cli.job_writing import take_photo

    take_photo(file, caption, given)


@job.command("list")
@click.option("--forget-missing", is_flag=True, help="Forget those whose folder is gone.")
def list_jobs(forget_missing: bool) -> None:
    """All jobs that were started or worked at on this machine."""
    from sniff.cli.job_showing import list_known

    list_known(forget_missing=forget_missing)


@job.command()
@_folder
def show(folder: Path | None) -> None:
    """What a job is about, and all that stands in its notebook."""
    from sniff.cli.job_showing import show_one

    show_one(folder)


@job.command()
@_folder
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Where to write it  [default: report.html in the job].",
)
@json_option
def report(folder: Path | None, **given: Any) -> None:
    """The report: one HTML file, which the browser prints to PDF.

    It needs no other file and no network, and lays the latest readings of stages arrival and before
    beside those of after and soak. With --json its content is printed, and a file written only
    where --out names one.
    """
    from sniff.cli.job_reporting import report_on

    report_on(folder, given)


@job.command()
@click.argument("text", nargs=-1, required=True)
@json_option
def find(text: tuple[str, ...], as_json: bool) -> None:
    """Search all known jobs.

    It finds entries in which a word begins with each word of TEXT.

    \b
    sniff job find cracked joint
    """
    from sniff.cli.job_showing import find_in_all

    find_in_all(" ".join(text), as_json=as_json)


@job.command()
@_folder
@json_option
@click.pass_context
def check(ctx: click.Context, folder: Path | None, as_json: bool) -> None:
    """Is the notebook sound, and every file as it was?

    Exit code 0: yes; 1: no.
    """
    from sniff.cli.job_checking import check as run

    ctx.exit(run(folder, as_json=as_json))


@job.command()
@_folder
@click.option("--reading", type=click.IntRange(min=1), metavar="N", help="Repeat this one only.")
@json_option
@click.pass_context
def redo(ctx: click.Context, /, folder: Path | None, **given: Any) -> None:
    """Repeat readings from their recordings, by today's program.

    It shows what differs. Frequencies must agree within U, levels within 0.1 dB, states and counts
    to the letter. The clock is that of the reading. Nothing is filed.

    Exit code 0: none differs; 1: a reading does; 3: none could be repeated.
    """
    from sniff.cli.job_redoing import redo as run

    ctx.exit(run(folder, given))


@job.command()
@_folder
@click.option(
    "--csv",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Tables for a spreadsheet, into this folder.",
)
@click.option(
    "--json",
    "json_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="All, in one JSON object.",
)
def export(folder: Path | None, **given: Any) -> None:
    """All that is in the notebook, for other programs."""
    from sniff.cli.job_exporting import export as run

    run(folder, given)
