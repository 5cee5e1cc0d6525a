"""Options that several commands share, and the types that read them."""

from collections.abc import Callable, Mapping
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from calib.correction import Converter, Correction
from sniff.errors import UsageError
from sniff.units import (
    parse_dbm,
    parse_decibels,
    parse_duration,
    parse_frequency,
    parse_size,
    parse_tolerance,
)

if TYPE_CHECKING:
    _ParamType = click.ParamType[Any]
else:  # older versions of click do not let it be subscripted
    _ParamType = click.ParamType

Command = TypeVar("Command", bound=Callable[..., Any])


class _Parsed(_ParamType):
    """A value read by a function that raises UsageError."""

    def __init__(self, name: str, parse: Callable[[str], Any]) -> None:
        self.name = name
        self._parse = parse

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read the text; an already read default passes through."""
        if not isinstance(value, str):
            return value
        try:
            return self._parse(value)
        except UsageError as error:
            self.fail(str(error), param, ctx)


def _gain(text: str) -> float | str:
    if text in ("auto", "best"):
        return text
    try:
        gain_db = float(text)
    except ValueError:
        gain_db = float("nan")
    if not isfinite(gain_db):
        raise UsageError(f"{text!r} is not a gain; write a number of dB, auto or best")
    return gain_db


FREQUENCY = _Parsed("frequency", parse_frequency)
DURATION = _Parsed("duration", parse_duration)
TOLERANCE = _Parsed("tolerance", parse_tolerance)
DECIBELS = _Parsed("decibels", parse_decibels)
DBM = _Parsed("level", parse_dbm)
SIZE = _Parsed("size", parse_size)
GAIN = _Parsed("gain", _gain)


def stack(*options: Callable[[Any], Any]) -> Callable[[Command], Command]:
    """Options as one decorator, in the order in which help lists them."""

    def apply(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return apply


_TO_THE_END = "Observe this long  [default: a recording to its end, else 1 s]."


def receiving_options_with(*, seconds: str) -> Callable[[Any], Any]:
    """Options that say what to receive; `seconds` tells what --seconds means to the command."""
    return stack(
        click.option(
            "--center", type=FREQUENCY, help="Frequency to tune to; of raw samples, their centre."
        ),
        click.option(
            "--rate", type=FREQUENCY, help="Samples per second  [default: 2.4M for a dongle]."
        ),
        click.option(
            "--datatype",
            metavar="TYPE",
            help="SigMF datatype of raw samples, such as cu8 or ci16_le  [default: by the ending].",
        ),
        click.option(
            "--gain",
            type=GAIN,
            help="Tuner gain in dB, auto, or best: the largest that neither clips nor compresses"
            "  [default: best for a dongle].",
        ),
        click.option(
            "--bandwidth",
            type=FREQUENCY,
            help="Width of the dongle's filter  [default: 0.8 of --rate].",
        ),
        click.option(
            "--direct",
            type=click.Choice(["i", "q"]),
            help="Direct sampling: 0 to 14.4 MHz by this input of the dongle, past its tuner.",
        ),
        click.option(
            "--bias", is_flag=True, help="CAUTION: put a voltage on the dongle's antenna socket."
        ),
        click.option("--wait", is_flag=True, help="Wait for a dongle that went away to come back."),
        click.option(
            "--start", type=DURATION, default=0.0, help="Begin this far into a recording."
        ),
        click.option("--seconds", type=DURATION, help=seconds),
    )


receiving_options = receiving_options_with(seconds=_TO_THE_END)


def source_options_with(
    *, required: bool = True, seconds: str = _TO_THE_END
) -> Callable[[Any], Any]:
    """``--from``, and what to receive from it."""
    return stack(
        click.option(
            "--from",
            "source",
            required=required,
            metavar="SOURCE",
            help="dongle, dongle:SERIAL, bench:SCENE (a simulated set), or a recording"
            " (.sigmf-meta .wav .cu8 ...).",
        ),
        receiving_options_with(seconds=seconds),
    )


source_options = source_options_with()

ahead_options = stack(
    click.option(
        "--converter",
        type=FREQUENCY,
        help="A converter ahead: +125M when the dongle hears 125 MHz above the air, -2.3G below.",
    ),
    click.option(
        "--inverted",
        is_flag=True,
        help="The converter's LO lies above: the dongle hears --converter minus the air.",
    ),
    click.option("--u-converter", type=FREQUENCY, help="Standard uncertainty (k = 1) of its LO."),
    click.option(
        "--pad",
        type=DECIBELS,
        help="Attenuation ahead, such as 20dB, added to all levels; a preamplifier: -15dB.",
    ),
)

spectrum_options = stack(
    click.option(
        "--rbw", type=FREQUENCY, help="Resolution bandwidth  [default: that of 4096 points]."
    ),
    click.option(
        "--window",
        type=click.Choice(["hann", "blackman-harris", "flat-top", "rectangular"]),
        default="hann",
        show_default=True,
        help="Window of the spectrum.",
    ),
)

clock_options = stack(
    click.option(
        "--ppm",
        type=float,
        metavar="PPM",
        help="How fast the dongle's clock runs: true = indicated x (1 + ppm/10^6).",
    ),
    click.option(
        "--u-ppm", type=float, metavar="PPM", help="Standard uncertainty (k = 1) of --ppm."
    ),
    click.option(
        "--clock",
        metavar="NAME",
        help="A clock that 'sniff calibrate' kept  [default: the dongle's own].",
    ),
    click.option(
        "--temperature",
        type=float,
        metavar="C",
        help="The dongle's now, in °C: how far it is from that at its calibration.",
    ),
)

json_option = click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
quiet_option = click.option("--quiet", is_flag=True, help="No progress and no cautions on stderr.")

output_options = stack(
    click.option(
        "--plot",
        type=click.Path(dir_okay=False, path_type=Path),
        metavar="FILE",
        help="Picture of the spectrum, .png .svg or .pdf.",
    ),
    click.option(
        "--course",
        type=click.Path(dir_okay=False, path_type=Path),
        metavar="FILE",
        help="Picture of the spectrum against time.",
    ),
    click.option("--budget", is_flag=True, help="Tell what each frequency's U is made of."),
    json_option,
    quiet_option,
)


def converter_from(given: Mapping[str, Any]) -> Converter | None:
    """The converter that the options state.

    Raises
    ------
    UsageError
        When its details are given without its shift, or do not go together.
    """
    shift_hz = given["converter"]
    if shift_hz is None:
        if given["inverted"] or given["u_converter"] is not None:
            raise UsageError("--inverted and --u-converter need --converter: by how much it shifts")
        return None
    u_hz = given["u_converter"] or 0.0
    if u_hz < 0 or (given["inverted"] and shift_hz <= 0):
        raise UsageError("an inverting converter has its LO above zero, and no u is negative")
    return Converter(shift_hz=shift_hz, inverted=given["inverted"], u_hz=u_hz)


def correction_from(given: Mapping[str, Any]) -> Correction:
    """The clock correction that the options state; a converter is the source's to know.

    Raises
    ------
    UsageError
        When one of the two is given without the other, or is out of range. A ppm value without
        its uncertainty would make every frequency look better than it is.
    """
    ppm, u_ppm = given["ppm"], given["u_ppm"]
    if ppm is None and u_ppm is None:
        return Correction.unknown_dongle()
    if u_ppm is None:
        raise UsageError("--ppm needs --u-ppm: say how sure you are of it (k = 1)")
    if not abs(ppm or 0.0) <= 1000.0:
        raise UsageError(f"--ppm {ppm:g} is beyond ±1000: no dongle's crystal is that far off")
    if not 0.0 <= u_ppm <= 1000.0:
        raise UsageError(f"--u-ppm {u_ppm:g} must lie within 0 and 1000")
    origin = given.get("clock_origin") or "as stated by --ppm and --u-ppm"
    return Correction(ppm=ppm or 0.0, u_ppm=u_ppm, origin=origin)
