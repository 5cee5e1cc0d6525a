"""``sniff page``."""

from pathlib import Path
from typing import Any

import click

from sniff.cli.job_options import job_options
from sniff.cli.options import (
    FREQUENCY,
    TOLERANCE,
    ahead_options,
    clock_options,
    source_options_with,
)
from sniff.cli.plan_options import plan_options


@click.command()
@source_options_with(seconds="Show this long  [default: a recording to its end, else till Ctrl-C].")
@ahead_options
@plan_options
@click.option(
    "--line",
    "lines",
    multiple=True,
    type=FREQUENCY,
    help="A line to watch, its true frequency. May be given more than once.",
)
@click.option(
    "--search", type=TOLERANCE, help="Search this far off a line  [default: ten tolerances]."
)
@click.option(
    "--sibling", metavar="SOURCE", help="A working set of the same make, to hold it against."
)
@click.option("--sibling-carrier", type=FREQUENCY, help="The sibling's carrier.")
@click.option(
    "--control",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE",
    help="The sibling's tap test, its JSON or counts in a .toml  [default: time untouched].",
)
@clock_options
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Folder for recordings and pictures, where there is no job.",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    metavar="N",
    help="Port of the page's address  [default: one that is free].",
)
@click.option(
    "--share",
    is_flag=True,
    help="Let one phone on your own network in too, by a link that works once.",
)
@click.option("--no-browser", is_flag=True, help="Open no browser, only tell the address.")
@job_options
@click.option("--quiet", is_flag=True, help="No cautions on stderr.")
@click.pass_context
def page(ctx: click.Context, /, source: str, **given: Any) -> None:
    """The line board as it is now, in a browser: for hands that are busy.

    Each expected line has its state, frequency, level, drop-outs and its last minute; below are
    the spectrum and its course, a tap test, and a diary. A recording is played in real time.

    \b
    sniff page --from bench:tour-guide-deaf --center 83.5M \\
          --carrier 72.9M --if 10.7M --side high --multiplier 3 \\
          --tolerance 50ppm --ppm 31 --u-ppm 0.5

    Ctrl-C ends it. Only this computer can see the page, unless --share is given.
    """
    from sniff.cli.serving import serve

    ctx.exit(serve(source, given))
