"""``sniff watch``."""

from pathlib import Path
from typing import Any

import click

from sniff.cli.options import (
    DURATION,
    FREQUENCY,
    ahead_options,
    clock_options,
    source_options,
)
from sniff.cli.plan_options import plan_options


@click.command()
@source_options
@ahead_options
@click.option("--line", type=FREQUENCY, help="The line, its true frequency; or a plan: its LO.")
@plan_options
@click.option(
    "--within",
    type=FREQUENCY,
    help="The line may be this far off  [default: 50 ppm and the clock's U].",
)
@click.option(
    "--resolution",
    type=DURATION,
    default=1e-3,
    help="In time, 0.1ms to 1s: drop-outs of twice this are found  [default: 1 ms].",
)
@click.option("--until", metavar="N", help="Stop after so many, such as '3 drop-outs'.")
@click.option("--bell", is_flag=True, help="Ring the terminal's bell when the line goes.")
@clock_options
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Picture of level and frequency against time, .png .svg or .pdf.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option("--quiet", is_flag=True, help="No strip, no progress and no cautions on stderr.")
@click.pass_context
def watch(ctx: click.Context, /, source: str, **given: Any) -> None:
    """Does the line stay?  Its drop-outs, how each one went, how often, and how sure.

    A drop-out is a break (abrupt, frequency unmoved: a contact), a pull (the frequency moved as
    the level fell: a hand or a load) or a fade (slow, frequency unmoved: supply, warmth, loop).

    A recording is watched to its end. A live source until --seconds, --until, Ctrl-C, or the key
    q; there space marks a moment such as a tap, and l gives the marks a label.

    \b
    sniff watch --from recordings/tour-guide-deaf.sigmf-meta --line 83.6M \\
          --ppm 28.8 --u-ppm 0.3 --plot watch.png

    Exit code 0: steady; 1: intermittent or absent; 3: undecided.
    """
    from sniff.cli.watching import watch_source

    ctx.exit(watch_source(source, given))
