"""``sniff record``."""

from pathlib import Path
from typing import Any

import click

from sniff.cli.job_options import job_options
from sniff.cli.options import (
    DECIBELS,
    DURATION,
    FREQUENCY,
    SIZE,
    ahead_options,
    clock_options,
    json_option,
    quiet_option,
    source_options_with,
)


@click.command()
@source_options_with(seconds="Record, or wait, this long  [default: see above].")
@ahead_options
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    metavar="STEM",
    help="Name without ending: STEM.sigmf-data and STEM.sigmf-meta are written.",
)
@click.option(
    "--overwrite",
    is_flag=True,
    help="Replace a recording of that name, once the new one is whole; till then it is STEM.new.",
)
@click.option("--max-size", type=SIZE, help="Stop when the samples take so much, such as 2GB.")
@click.option(
    "--when",
    type=click.Choice(["absent", "present", "level"]),
    help="Record only around the moments when the --line vanishes, appears, or rises above"
    " --level.",
)
@click.option("--line", type=FREQUENCY, help="True frequency of the line to watch.")
@click.option("--level", type=DECIBELS, help="For --when level: dBFS, such as -40dB.")
@click.option(
    "--within", type=FREQUENCY, help="Look for it this far off  [default: 1 kHz, or the clock's U]."
)
@click.option(
    "--pre", type=DURATION, default=5.0, help="With --when: keep this long before  [default: 5s]."
)
@click.option(
    "--post", type=DURATION, default=5.0, help="With --when: keep this long after  [default: 5s]."
)
@click.option(
    "--events",
    type=click.IntRange(min=1),
    default=1,
    metavar="N",
    help="With --when: end after so many  [default: 1].",
)
@clock_options
@json_option
@quiet_option
@job_options
@click.pass_context
def record(ctx: click.Context, /, source: str, **given: Any) -> None:
    """IQ to SigMF, as it came: readable while it grows, and whole whatever ends it.

    A recording is read to its end, and anything else until Ctrl-C, unless --seconds, --max-size or
    --events end it.

    With --when, a memory keeps what happened *before* the moment too. --pad and --converter are
    written down and the samples left as the receiver sent them; any command that reads the
    recording takes them out by itself.

    \b
    sniff record --from dongle --center 83.5M --gain 30 --out deaf \\
          --when absent --line 83.6M --ppm 31.2 --u-ppm 0.3 --seconds 30min

    Exit code 3: what was waited for did not come, nothing was recorded; 4: the source or the disk
    ended it; 130: Ctrl-C did. What was recorded is kept.

    A recorder that was killed leaves a recording that says so and lacks a second at the most, as
    STEM, or as STEM.new beside the one it was to replace.
    """
    from sniff.cli.recording import record_from

    ctx.exit(record_from(source, given))
