"""``sniff sweep``."""

from pathlib import Path
from typing import Any

import click

from sniff.cli.job_options import job_options
from sniff.cli.options import (
    DURATION,
    FREQUENCY,
    ahead_options,
    clock_options,
    json_option,
    quiet_option,
    source_options_with,
)
from sniff.cli.plan_options import plan_options


@click.command()
@source_options_with(
    seconds="Listen this long at each hop; a recording is read whole  [default: 50 ms, or 40"
    " spectra where these take longer]."
)
@click.argument("span", metavar="START:STOP")
@ahead_options
@plan_options
@click.option(
    "--order",
    type=click.IntRange(2, 9),
    metavar="N",
    default=5,
    show_default=True,
    help="Highest order of mixing products by which lines are explained.",
)
@click.option(
    "--rbw", type=FREQUENCY, default="10k", show_default=True, help="Resolution bandwidth."
)
@click.option(
    "--window",
    type=click.Choice(["hann", "blackman-harris", "flat-top", "rectangular"]),
    default="hann",
    show_default=True,
    help="Window of the spectrum.",
)
@click.option(
    "--repeat",
    type=click.IntRange(1, 1000),
    metavar="N",
    default=1,
    show_default=True,
    help="Passes over the span.",
)
@click.option(
    "--hold", is_flag=True, help="Keep the highest level of any moment, and seek lines in it too."
)
@click.option(
    "--stay",
    type=DURATION,
    default="250ms",
    show_default=True,
    help="Look again so long at each group of lines; 0 does not.",
)
@click.option(
    "--record",
    type=click.Path(path_type=Path),
    metavar="STEM",
    help="Keep the samples: SigMF with one capture per hop, which --from reads again.",
)
@click.option("--overwrite", is_flag=True, help="Replace a recording of that name.")
@clock_options
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Picture of the sweep with named lines, .png .svg or .pdf.",
)
@click.option(
    "--csv",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="The spectrum, point by point.",
)
@json_option
@quiet_option
@job_options
@click.pass_context
def sweep(ctx: click.Context, /, source: str, span: str, **given: Any) -> None:
    """A span wider than one tuning, hop by hop: its lines, and what each may be.

    Every place is heard in two hops, once at least off the spike at a hop's centre. What stands out
    is looked at once more, off the centre. With a plan (--carrier and so on, or --plan) lines are
    named by it, and what stays unexplained comes first.

    \b
    sniff sweep --from dongle 60M:110M --rbw 10k --record bench/first
    sniff sweep --from bench:tour-guide-good 27M:90M --rbw 1k --carrier 74.7M \\
          --if 10.7M --side high --multiplier 3 --ppm 28.8 --u-ppm 0.3 \\
          --plot sweep.png

    Exit code 0: swept; 4: the source failed on the way; 130: Ctrl-C. What was seen till then is
    told all the same.
    """
    from sniff.cli.sweeping import sweep_from

    ctx.exit(sweep_from(source, span, given))
