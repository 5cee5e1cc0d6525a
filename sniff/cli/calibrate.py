"""``sniff calibrate`` and what belongs to it."""

from pathlib import Path
from typing import Any

import click

from sniff.cli.job_options import job_options
from sniff.cli.options import (
    DBM,
    DECIBELS,
    DURATION,
    FREQUENCY,
    TOLERANCE,
    ahead_options,
    json_option,
    optional_source_options,
    quiet_option,
    spectrum_options,
)
from sniff.cli.references import kinds_in_words


@click.group(invoke_without_command=True)
@optional_source_options
@ahead_options
@click.option(
    "--reference",
    "references",
    multiple=True,
    metavar="REFERENCE",
    help="A carrier of known frequency, KIND:F or KIND:CHANNEL, such as weather:162.55M or dab:5A;"
    f" kinds: {kinds_in_words()}. Or the name of one of your own. Or a frequency alone with"
    " --accuracy. May be given more than once.",
)
@click.option(
    "--references",
    "references_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="References of your own, TOML, beside those of your configuration folder.",
)
@click.option(
    "--accuracy", type=TOLERANCE, help="Of references given by frequency alone: 0.1ppm or 2Hz."
)
@click.option(
    "--for",
    "wanted",
    type=TOLERANCE,
    help="The tolerance to be judged with it, such as 50ppm: a reference that cannot is refused.",
)
@click.option(
    "--level",
    type=DBM,
    help="Tie dBFS to dBm instead: the level of the line --at, at the dongle's input: -30dBm.",
)
@click.option("--at", type=FREQUENCY, help="Where the line of that --level is.")
@click.option(
    "--level-accuracy", type=DECIBELS, help="How far off that level may be at the most: 1dB."
)
@click.option(
    "--follow",
    type=DURATION,
    help="Follow one plain reference this long, from cold: how the clock settles, from when on it"
    " may be trusted for --for, what drift is left. 30min.",
)
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Picture of a --follow, .png .svg or .pdf.",
)
@click.option("--save", metavar="NAME", help="Keep it as NAME  [default: the dongle's serial].")
@click.option("--no-save", is_flag=True, help="Keep nothing.")
@click.option("--temperature", type=float, metavar="C", help="Of the dongle, degrees Celsius.")
@spectrum_options
@json_option
@quiet_option
@job_options
@click.pass_context
def calibrate(ctx: click.Context, /, **given: Any) -> None:
    """The clock error from known carriers; kept, and applied by itself to that dongle.

    With --follow how it warms up; Ctrl-C keeps what was followed so far.

    With --level what full scale is worth in dBm, for one gain and about one frequency.

    \b
    sniff calibrate --from dongle --gain 30 --seconds 10 --reference weather:162.55M
    sniff calibrate --from dongle --reference dab:5A --reference dvbt8:21
    sniff calibrate --from dongle --reference 100M --accuracy 0.1ppm --for 20ppm
    sniff calibrate --from dongle --reference lab:100M --for 5ppm --follow 30min --plot warm.png
    sniff calibrate --from dongle --gain 20 --level -30dBm --at 100M --level-accuracy 1dB
    sniff calibrate list
    """
    if ctx.invoked_subcommand is None and given["level"] is not None:
        from sniff.cli.levels import calibrate_level

        ctx.exit(calibrate_level(given))
    if ctx.invoked_subcommand is None:
        from sniff.cli.calibration import calibrate_from

        ctx.exit(calibrate_from(given))


@calibrate.command("references")
@click.option(
    "--references",
    "references_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="References of your own, TOML.",
)
def list_references(references_file: Path | None) -> None:
    """All kinds of references and your own: how good, where they hold, by whom."""
    from sniff.cli.own_references import own_references, references_path
    from sniff.report.reference_text import print_references

    print_references(own_references(references_file), path=references_path())


@calibrate.command("list")
def list_clocks() -> None:
    """All clocks that were calibrated."""
    from sniff.cli.clockfiles import list_all

    list_all()


@calibrate.command("show")
@click.argument("name")
def show_clock(name: str) -> None:
    """One clock with its history."""
    from sniff.cli.clockfiles import show_one

    show_one(name)


@calibrate.command("export")
@click.argument("name")
@click.argument("file", type=click.Path(path_type=Path))
def export_clock(name: str, file: Path) -> None:
    """Write a clock with its history to a file."""
    from sniff.cli.clockfiles import export_one

    export_one(name, file)


@calibrate.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--as", "name", help="Under another name.")
def import_clock(file: Path, name: str | None) -> None:
    """Take in a clock from a file; one of another name is never taken for this one."""
    from sniff.cli.clockfiles import import_one

    import_one(file, name)


@calibrate.command("forget")
@click.argument("name")
def forget_clock(name: str) -> None:
    """Remove a clock with its history, and its levels."""
    from sniff.cli.clockfiles import forget_one

    forget_one(name)
