"""``sniff carrier``."""

from pathlib import Path
from typing import Any

import click

from sniff.cli.job_options import job_options
from sniff.cli.options import (
    FREQUENCY,
    TOLERANCE,
    ahead_options,
    clock_options,
    json_option,
    quiet_option,
    source_options,
    spectrum_options,
)


@click.command()
@source_options
@ahead_options
@click.option("--nominal", type=FREQUENCY, help="Where the carrier belongs.")
@click.option(
    "--channels",
    metavar="LIST",
    help="In place of --nominal a channel list: a .toml, or base+step*count such as"
    " 446.00625M+12.5k*16.",
)
@click.option("--tolerance", type=TOLERANCE, help="Allowed error: 50ppm or 5kHz.")
@click.option(
    "--search",
    type=TOLERANCE,
    help="Search this far off it  [default: ten tolerances, or 200 ppm].",
)
@click.option(
    "--modulation",
    type=click.Choice(["none", "fm", "am", "keyed"]),
    help="What it carries  [default: told from the signal].",
)
@click.option("--width", type=FREQUENCY, help="Width of the channel  [default: by the signal].")
@click.option(
    "--audio-band",
    metavar="LOW-HIGH",
    help="Band of the audio for SINAD and hum  [default: 300-3k, of a wide signal 50-15k].",
)
@click.option(
    "--deemphasis",
    type=click.Choice(["none", "50us", "75us"]),
    default="none",
    show_default=True,
    help="De-emphasis before SINAD and THD, and for --audio.",
)
@click.option(
    "--x-db",
    type=click.FloatRange(3, 80),
    default=26.0,
    show_default=True,
    metavar="DB",
    help="Read a second bandwidth, beside the 99 % one, this many dB down.",
)
@click.option(
    "--adjacent",
    multiple=True,
    metavar="OFFSET:WIDTH",
    help="Power in the channels beside, such as 25k:16k. May be given more than once.",
)
@click.option(
    "--harmonics",
    type=click.IntRange(2, 20),
    metavar="N",
    help="Rough levels of harmonics 2 to N: a dongle is tuned to each.",
)
@click.option(
    "--limits",
    metavar="LIMITS",
    help="Hold it against limits: a .toml, or cfr-74-861, cfr-15-237, en-300-422. Examples: check"
    " your local rules.",
)
@click.option(
    "--audio",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.wav",
    help="Write what it carries, to listen. PRIVACY: it writes what people say; only where your"
    " local law lets you.",
)
@spectrum_options
@clock_options
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Picture of frequency against time, spectrum and audio, .png .svg or .pdf.",
)
@click.option("--budget", is_flag=True, help="Tell what the frequency's U is made of.")
@json_option
@quiet_option
@job_options
@click.pass_context
def carrier(ctx: click.Context, /, source: str, **given: Any) -> None:
    """Is a transmitter right?  Its frequency against a tolerance, with a true uncertainty, and
    what it carries: deviation or depth, test tone, SINAD, THD, pilot and squelch tones, bandwidth.

    \b
    sniff carrier --from recordings/nfm_voice_144.470M_280k.sigmf-meta \\
          --nominal 144.5M --tolerance 20ppm --ppm 0 --u-ppm 1 --plot carrier.png
    sniff carrier --from dongle --nominal 72.9M --tolerance 50ppm --seconds 30min
    sniff carrier --from dongle --channels 446.00625M+12.5k*16 --tolerance 2.5ppm

    Never connect a transmitter to the dongle: a loop near it, or a dummy load and an attenuator.
    A verdict is about the limit that you state, not about the law.

    Exit code 0: pass, or not judged; 1: fail; 3: undecided.
    """
    from sniff.cli.transmitting import check_source

    ctx.exit(check_source(source, given))
