"""``sniff compare``."""

from pathlib import Path
from typing import Any

import click

from sniff.cli.finite import FiniteRange
from sniff.cli.job_options import job_options
from sniff.cli.options import (
    FREQUENCY,
    TOLERANCE,
    ahead_options,
    clock_options,
    json_option,
    quiet_option,
    receiving_options,
    spectrum_options,
)
from sniff.cli.plan_options import set_options


@click.command()
@click.option(
    "--good",
    multiple=True,
    metavar="SOURCE",
    help="The known-good set: as after --from, or PLACE=SOURCE. Given again: the loop placed again."
    "  [default: the job's sibling]",
)
@click.option(
    "--suspect", required=True, multiple=True, metavar="SOURCE", help="The suspect, likewise."
)
@click.option("--good-carrier", type=FREQUENCY, help="Carrier of the known-good set.")
@click.option("--suspect-carrier", type=FREQUENCY, help="Carrier of the suspect.")
@click.option(
    "--plan",
    "plan_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="The suspect's plan in TOML, in place of its carrier and the options below.",
)
@click.option(
    "--good-plan",
    "good_plan_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="The good set's plan  [default: the suspect's, on its own carrier].",
)
@set_options
@click.option(
    "--at",
    "places",
    multiple=True,
    metavar="PLACE",
    help="Where on the board; for several places, again.",
)
@click.option(
    "--repeat",
    type=click.IntRange(1, 20),
    default=1,
    show_default=True,
    metavar="N",
    help="Place the loop this often at each place, and measure what placing it makes of levels.",
)
@click.option(
    "--span",
    metavar="LOW:HIGH",
    help="Sweep this span too, as 60M:110M, for lines that no plan lists.",
)
@click.option(
    "--search", type=TOLERANCE, help="Search this far off a line  [default: ten tolerances]."
)
@click.option(
    "--placement",
    type=FiniteRange(min=0),
    metavar="DB",
    help="Spread of a level from placing the loop, k = 2  [default: by --repeat, or 6].",
)
@click.option(
    "--agree",
    type=FiniteRange(min=0, min_open=True),
    default=10.0,
    show_default=True,
    metavar="PPM",
    help="Lines that differ by no more agree in frequency.",
)
@click.option(
    "--one-clock", is_flag=True, help="One dongle recorded both: its clock's error falls out."
)
@receiving_options
@click.option(
    "--good-center", type=FREQUENCY, help="Of the good set's  [default: --center, moved with it]."
)
@ahead_options
@spectrum_options
@clock_options
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Picture of both on one axis, .png .svg or .pdf.",
)
@json_option
@quiet_option
@job_options
@click.pass_context
def compare(ctx: click.Context, /, **given: Any) -> None:
    """What does the suspect lack that a good set of the same make has?  On the same or on another
    frequency: lines that follow the carrier, lines that stay, and lines of the room are told apart.

    \b
    sniff compare --good bench:tour-guide-good --good-carrier 74.7M \\
          --suspect bench:tour-guide-dead --suspect-carrier 72.9M \\
          --if 10.7M --side high --multiplier 3 --ppm 31 --u-ppm 0.5

    Exit code 0: alike; 1: the suspect differs; 3: it could not be said; 130: Ctrl-C, and what was
    measured of the suspect till then counts.
    """
    from sniff.cli.comparing import compare_sources

    ctx.exit(compare_sources(given))
