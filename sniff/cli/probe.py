"""``sniff probe``."""

from typing import Any

import click

from sniff.cli.finite import FiniteRange
from sniff.cli.job_options import job_options, keep_option
from sniff.cli.options import (
    FREQUENCY,
    TOLERANCE,
    ahead_options,
    clock_options,
    output_options,
    source_options,
    spectrum_options,
)
from sniff.cli.plan_options import plan_from, plan_options


@click.command()
@source_options
@ahead_options
@plan_options
@click.option(
    "--search", type=TOLERANCE, help="Search this far off a line  [default: ten tolerances]."
)
@click.option(
    "--sibling", metavar="SOURCE", help="A working set of the same make, to hold it against."
)
@click.option("--sibling-carrier", type=FREQUENCY, help="The sibling's carrier.")
@click.option(
    "--placement",
    type=FiniteRange(min=0),
    metavar="DB",
    help="How much placing the loop moves a level, k = 2  [default: as --repeat measures it, "
    "else 6].",
)
@click.option(
    "--repeat",
    type=click.IntRange(2, 20),
    metavar="N",
    help="Place the loop N times: mean levels, and how much placing it moves them.",
)
@click.option(
    "--at",
    metavar="PLACE",
    help="Where on the board the loop is: a place of the plan, or any name if it has none.",
)
@spectrum_options
@clock_options
@output_options
@job_options
@keep_option
@click.pass_context
def probe(ctx: click.Context, /, source: str, **given: Any) -> None:
    """Are the expected lines there?  Each is said to be present, weak, off-frequency, unsteady,
    absent, hidden or out-of-view.

    \b
    sniff probe --from bench:tour-guide-deaf --carrier 72.9M --if 10.7M \\
          --side high --multiplier 3 --tolerance 50ppm --ppm 31 --u-ppm 0.5
    sniff probe --from dongle --plan diversity.toml --at "feed B" --repeat 5

    Exit code 0: all as expected; 1: a fault; 3: a wanted line could not be judged; 130: Ctrl-C, and
    the placings till then count.
    """
    from sniff.cli.defaults import with_defaults
    from sniff.cli.filing import with_job
    from sniff.cli.picture_targets import check_targets
    from sniff.cli.probing import probe_source, show_board

    check_targets(given)
    source, given = with_defaults(source, with_job("probe", given))
    plan = plan_from(given)
    board, info, correction = probe_source(source, plan, given)
    ctx.exit(show_board(board, info, correction, given))
