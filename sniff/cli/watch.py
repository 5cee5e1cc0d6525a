"""``sniff watch``."""

from pathlib import Path
from typing import Any

import click

from sniff.cli.job_options import job_options
from sniff.cli.options import (
    DURATION,
    FREQUENCY,
    SIZE,
    ahead_options,
    clock_options,
    json_option,
    source_options_with,
)
from sniff.cli.plan_options import plan_options


@click.command()
@source_options_with(
    required=False,
    seconds="Watch this long  [default: a recording to its end, else till q or Ctrl-C].",
)
@ahead_options
@click.option(
    "--line", type=FREQUENCY, help="The line's true frequency; in its place a plan: the LO."
)
@plan_options
@click.option(
    "--within",
    type=FREQUENCY,
    help="Look for it this far off  [default: 50 ppm and the clock's U].",
)
@click.option(
    "--resolution",
    type=DURATION,
    default=1e-3,
    help="Of time, 0.1ms to 1s: drop-outs of twice this are found  [default: 1ms].",
)
@click.option("--until", metavar="COUNT", help="Stop after so many, such as '3 drop-outs'.")
@click.option("--bell", is_flag=True, help="Ring the terminal's bell when the line goes.")
@click.option(
    "--taps",
    metavar="WHERE",
    help="A tap test by keys (marks you label 'stick C14'), annotations (of the recording, 'tap"
    " stick C14'), or a list, .toml or .csv.",
)
@click.option(
    "--control",
    type=click.Path(dir_okay=False, exists=True, path_type=Path),
    metavar="FILE",
    help="The sibling's tap test, its JSON or counts in a .toml  [default: time untouched].",
)
@click.option(
    "--tap-window", type=DURATION, help="A drop-out so long after a tap answers it  [default: 1s]."
)
@click.option(
    "--heat-window", type=DURATION, help="The same after cold spray or warm air  [default: 90s]."
)
@click.option(
    "--soak",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Watch for hours to weeks, kept in this folder; begun again it goes on. Without --from:"
    " tell how it stands.",
)
@click.option(
    "--before",
    metavar="WHAT",
    help="With --soak: the rate before the repair, 30/2 for 30 drop-outs in 2 hours, or the folder"
    " of an earlier soak.",
)
@click.option(
    "--keep",
    type=SIZE,
    help="With --soak: keep the IQ about drop-outs up to this size  [default: 2GB].",
)
@clock_options
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Picture of level and frequency against time, .png .svg or .pdf.",
)
@json_option
@click.option("--quiet", is_flag=True, help="No strip, no progress and no cautions on stderr.")
@job_options
@click.pass_context
def watch(ctx: click.Context, /, source: str | None, **given: Any) -> None:
    """Does the line stay?  Its drop-outs, how each one went, how often, and how sure.

    A drop-out is a break (abrupt, frequency unmoved: a contact), a pull (the frequency moved as
    the level fell: a hand or a load) or a fade (slow, frequency unmoved: supply, warmth, loop).

    A recording is watched to its end. A live source until --seconds, --until, Ctrl-C, or the key
    q; there space marks a moment such as a tap, and l gives the marks a label.

    \b
    sniff watch --from recordings/tour-guide-deaf.sigmf-meta --line 83.6M \\
          --ppm 28.8 --u-ppm 0.3 --plot watch.png

    \b
    sniff watch --from dongle --line 83.6M --taps keys --control sibling.json
    sniff watch --from dongle --line 83.6M --soak bench-3 --before 30/2
    sniff watch --soak bench-3

    Exit code 0: steady; 1: intermittent or absent; 3: undecided.
    """
    if given["soak"] is not None:
        from sniff.cli.soaking import soak_source

        ctx.exit(soak_source(source, given))
    from sniff.cli.watching import watch_source

    ctx.exit(watch_source(source, given))
