"""``sniff look``."""

from typing import Any

import click

from sniff.cli.job_options import job_options, keep_option
from sniff.cli.options import (
    ahead_options,
    clock_options,
    output_options,
    source_options,
    spectrum_options,
)


@click.command()
@source_options
@ahead_options
@click.option(
    "--prove", is_flag=True, help="Retune and step the gain, to tell real lines from false ones."
)
@spectrum_options
@clock_options
@output_options
@job_options
@keep_option
@click.pass_context
def look(ctx: click.Context, /, source: str, **given: Any) -> None:
    """What is on the air or on the loop: one Welch spectrum and its peaks.

    Each peak comes with its clock-corrected frequency and expanded uncertainty, its level, and
    what the receiver itself may have had to do with it.

    \b
    sniff look --from bench:tour-guide-good --ppm 31 --u-ppm 0.5
    sniff look --from dongle --center 83.5M --gain 30 --prove --plot look.png

    Exit code 0: done, whatever is seen.
    """
    from sniff.cli.clocks import clock_for
    from sniff.cli.defaults import with_defaults
    from sniff.cli.filing import with_job
    from sniff.cli.running import (
        look_settings,
        opened,
        seconds_of,
        show_look,
        with_other_centers,
    )
    from sniff.pipeline import look as run
    from sniff.pipeline import look_and_prove

    source, given = with_defaults(source, with_job("look", given))
    with opened(source, given) as opened_source:
        info, settings = opened_source.info, look_settings(given)
        correction, noted = clock_for(info, given)
        seconds = seconds_of(info, given)
        if given["prove"]:
            seen = look_and_prove(opened_source, settings, correction, seconds=seconds or 1.0)
        else:
            take = opened_source.take(seconds=seconds, start_s=given["start"])
            seen = run(take, info, settings, correction)
        info = opened_source.info
    ctx.exit(show_look(with_other_centers(seen, info, noted), info, correction, given))
