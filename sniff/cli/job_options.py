"""Options by which a measuring command works for a repair job."""

from pathlib import Path

import click

from sniff.cli.options import stack

STAGES = ("arrival", "before", "after", "soak")

job_option = click.option(
    "--job",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="File the result in this repair job  [default: the one of this folder].",
)
stage_option = click.option(
    "--stage",
    type=click.Choice(STAGES),
    help="When in the repair: the report lays arrival and before beside after and soak.",
)
keep_option = click.option(
    "--keep-iq",
    is_flag=True,
    help="Keep the samples in the job, so that 'job redo' can measure them again.",
)
job_options = stack(
    job_option,
    click.option("--no-job", is_flag=True, help="File nothing, whatever folder this is."),
    stage_option,
)
