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
    quiet_option,
    source_options_with,
    spectrum_options,
)
from sniff.cli.references import kinds_in_words


@click.group(invoke_without_command=True)
@source_options_with(
    required=False,
    seconds="Hear each reference this long  [default: a recording to its end, else 1 s].",
)
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
    help="References of your own, TOML, beside those that 'sniff calibrate references' shows.",
)
@click.option(
    "--accuracy",
    type=TOLERANCE,
    help="How good a reference given by frequency alone is: 0.1ppm or 2Hz.",
)
@click.option(
    "--for",
    "wanted",
    type=TOLERANCE,
    help="The tolerance it shall judge later, such as 50ppm; too poor a reference is refused.",
)
@click.option(
    "--level",
    type=DBM,
    help="Tie dBFS to dBm instead: what a generator gives the dongle's input, such as -50dBm.",
)
@click.option("--at", type=FREQUENCY, help="With --level: the generator's frequency.")
@click.option(
    "--level-accuracy",
    type=DECIBELS,
    help="With --level: how far off it may be at the most, such as 1dB.",
)
@click.option(
    "--follow",
    type=DURATION,
    help="Follow one plain reference this long, such as 30min, from cold: how the clock settles,"
    " from when on it may be trusted for --for, what drift is left.",
)
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="With --follow: picture of it, .png .svg or .pdf.",
)
@click.option(
    "--save", metavar="NAME", help="Keep it as NAME  [default: the dongle's serial number]."
)
@click.option("--no-save", is_flag=True, help="Keep nothing.")
@click.option("--temperature", type=float, metavar="C", help="The dongle's, in °C; kept with it.")
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
    sniff calibrate --from dongle --reference dab:5A --reference dvbt8:21
    sniff calibrate --from dongle --gain 30 --seconds 10 \\
          --reference weather:162.55M
    sniff calibrate --from dongle --reference 100M --accuracy 0.1ppm --for 20ppm
    sniff calibrate --from dongle --reference lab:100M --for 5ppm \\
          --follow 30min --plot warm.png
    sniff calibrate --from dongle --gain 20 --level -50dBm --at 100M \\
          --level-accuracy 1dB

    Exit code 0: done; 3: the clock has not settled well enough for --for.
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
    """Kinds of references and your own: how good, where, by which rule."""
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
@click.option("--as", "name", metavar="NAME", help="Keep it under another name.")
def import_clock(file: Path, name: str | None) -> None:
    """Take in a clock with its history from such a file."""
    from sniff.cli.clockfiles import import_one

    import_one(file, name)


@calibrate.command("forget")
@click.argument("name")
def forget_clock(name: str) -> None:
    """Remove a clock with its history, and its levels."""
    from sniff.cli.clockfiles import forget_one

    forget_one(name)
