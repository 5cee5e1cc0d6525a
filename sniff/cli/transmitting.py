"""The work of ``sniff carrier``: options to a request, one check, its showing."""

from collections.abc import Mapping
from dataclasses import replace
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import Any

from calib.correction import Correction
from sniff.channels import Channel, parse_channels, parse_row
from sniff.cli.clocks import clock_for
from sniff.cli.defaults import with_defaults
from sniff.cli.filing import Filing, in_job, with_job
from sniff.cli.running import (
    all_cautions,
    exit_code,
    look_settings,
    opened,
    say_unless_quiet,
    seconds_of,
)
from sniff.errors import InputError, SourceError, UsageError
from sniff.explain import Explained, explain
from sniff.limits import Limits, parse_limits
from sniff.model import Caution, Source, SourceInfo
from sniff.modulation.classify import Kind
from sniff.modulation.listening import LISTENING_RATE_HZ, audible
from sniff.modulation.measured import CarrierSettings
from sniff.report.budget_text import print_budgets
from sniff.report.carrier_text import print_carrier
from sniff.report.envelope import envelope
from sniff.transmitter.checking import check_transmitter
from sniff.transmitter.harmonics import ROUGH, measure_harmonics
from sniff.transmitter.judging import hold_limits, worst
from sniff.transmitter.nouns import CarrierRequest, Transmitter
from sniff.units import format_frequency, parse_frequency
from sniff.verdict import Outcome
from sniff.wholefile import TemporaryBeside

EXITS = {Outcome.PASS: 0, Outcome.FAIL: 1, Outcome.UNDECIDED: 3, None: 0}

_DEEMPHASIS_S = {"none": 0.0, "50us": 50e-6, "75us": 75e-6}
_LARGEST_BYTES = 1_000_000
_PRIVACY = Caution(
    code="privacy",
    text="the audio file holds what was said: listen to it, and keep it, only where your local law "
    "lets you",
)


def check_source(source: str, given: Mapping[str, Any]) -> int:
    """Check as the options say; returns the exit code."""
    source, options = with_defaults(source, _by_the_plan(with_job("carrier", given)))
    options["course"] = None
    request = request_from(options)
    limits = None if options["limits"] is None else read_limits(options["limits"])
    _check_files(options)
    with opened(source, options) as opened_source:
        correction, noted = clock_for(opened_source.info, options)
        look = look_settings(options)
        seconds = seconds_of(opened_source.info, options)
        checked = check_transmitter(
            opened_source,
            request,
            look=look,
            correction=correction,
            seconds=seconds,
            start_s=options["start"],
        )
        info = opened_source.info
        if options["harmonics"] is not None:
            checked = _with_harmonics(checked, opened_source, correction, options, seconds)
    if limits is not None:
        checked = replace(checked, result=hold_limits(checked.result, limits))
        noted = (*noted, Caution(code="limits", text=f"{limits.title}: {limits.note}"))
    if options["audio"] is not None:
        noted = (*noted, _written_audio(checked, options["audio"]))
    cautions = all_cautions(info, correction, noted + checked.cautions)
    told = _show(checked, info, correction, cautions, options)
    outcomes = [checked.result.verdict]
    if checked.result.limits is not None:
        outcomes += [held.outcome for held in checked.result.limits.held]
    code = exit_code(EXITS[worst(outcomes)], checked.cautions)
    with Filing(told, options, code) as filed:
        if options["plot"] is not None:
            _draw(checked, correction, options, limits)
    return filed.exit_code


def _by_the_plan(given: dict[str, Any]) -> dict[str, Any]:
    """Carrier and tolerance of the job's plan, when its set is a transmitter and none is said."""
    plan = given["planned"]
    stated = ("nominal", "channels", "tolerance", "search")
    if plan is None or plan.if_hz is not None or any(given[word] is not None for word in stated):
        return given
    return {**given, "nominal": plan.carrier_hz, "tolerance": plan.allowed}


def request_from(given: Mapping[str, Any]) -> CarrierRequest:
    """What the options ask.

    Raises
    ------
    UsageError
        When they do not go together, or a number cannot be.
    InputError
        When a channel list does not say what it must.
    """
    if given["nominal"] is not None and given["channels"] is not None:
        raise UsageError("--nominal and --channels do not go together; give one of them")
    channels: tuple[Channel, ...] = ()
    if given["nominal"] is not None:
        if not given["nominal"] > 0:
            raise UsageError(f"--nominal {given['nominal']:g} must be above zero")
        channels = (Channel(name="", frequency_hz=given["nominal"]),)
    elif given["channels"] is not None:
        channels = read_channels(given["channels"])
    elif given["tolerance"] is not None or given["search"] is not None:
        raise UsageError("--tolerance and --search need --nominal or --channels: off from where?")
    if given["width"] is not None and not given["width"] > 0:
        raise UsageError(f"--width {given['width']:g} must be above zero")
    kind = given["modulation"]
    return CarrierRequest(
        channels=channels,
        tolerance=given["tolerance"],
        search=given["search"],
        settings=CarrierSettings(
            kind=None if kind is None else Kind(kind),
            width_hz=given["width"],
            audio_band_hz=_band(given["audio_band"]),
            deemphasis_s=_DEEMPHASIS_S[given["deemphasis"]],
            x_db=given["x_db"],
            neighbours_hz=tuple(_neighbour(text) for text in given["adjacent"]),
        ),
    )


def read_channels(text: str) -> tuple[Channel, ...]:
    """A channel list: base, step and count in one word, or a TOML file.

    Raises
    ------
    UsageError, InputError
        As `sniff.channels`.
    """
    row = parse_row(text)
    if row is not None:
        return row
    if not text.endswith(".toml"):
        raise UsageError(
            f"--channels {text!r} is neither base+step*count, such as 446.00625M+12.5k*16, nor a "
            ".toml file"
        )
    return parse_channels(_read(Path(text)), name=text)


def read_limits(text: str) -> Limits:
    """Limits by the name of a shipped example, or from a TOML file.

    Raises
    ------
    UsageError
        When there is no such example.
    InputError
        When the file does not say what it must.
    """
    if text.endswith(".toml"):
        return parse_limits(_read(Path(text)), name=text)
    folder = files("sniff") / "shipped_limits"
    names = sorted(
        entry.name.removesuffix(".toml")
        for entry in folder.iterdir()
        if entry.name.endswith(".toml")
    )
    if text not in names:
        raise UsageError(
            f"--limits {text!r}: no such example; there are {', '.join(names)}, or give a .toml"
        )
    return parse_limits((folder / f"{text}.toml").read_text(encoding="utf-8"), name=text)


def _read(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
        if len(data) > _LARGEST_BYTES:
            raise InputError(f"{path}: more than {_LARGEST_BYTES} bytes is no such list")
        return data.decode("utf-8")
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: is not UTF-8 text") from None


def _band(text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    low, dash, high = text.partition("-")
    if not dash:
        raise UsageError(f"--audio-band {text!r} is not LOW-HIGH; write 300-3k")
    low_hz, high_hz = parse_frequency(low), parse_frequency(high)
    if not 0 <= low_hz < high_hz:
        raise UsageError(f"--audio-band {text!r}: the first must lie below the second")
    return low_hz, high_hz


def _neighbour(text: str) -> tuple[float, float]:
    offset, colon, width = text.partition(":")
    if not colon:
        raise UsageError(f"--adjacent {text!r} is not OFFSET:WIDTH; write 25k:16k")
    offset_hz, width_hz = parse_frequency(offset), parse_frequency(width)
    if not 0 < width_hz <= offset_hz:
        raise UsageError(
            f"--adjacent {text!r}: the width must be above zero, and no more than the offset"
        )
    return offset_hz, width_hz


def _check_files(given: Mapping[str, Any]) -> None:
    """What cannot be written is told before anything is measured."""
    audio: Path | None = given["audio"]
    if audio is None:
        return
    if audio.suffix.lower() != ".wav":
        raise UsageError(f"{audio}: audio is written as .wav; end its name so")
    if not audio.parent.is_dir():
        raise SourceError(f"{audio}: the folder {audio.parent} is not there; make it first")


def _with_harmonics(
    checked: Transmitter,
    source: Source,
    correction: Correction,
    given: Mapping[str, Any],
    seconds: float | None,
) -> Transmitter:
    result = checked.result
    if result.frequency_hz is None or result.level_dbfs is None:
        return checked
    harmonics = measure_harmonics(
        source,
        carrier_hz=result.frequency_hz,
        carrier_dbfs=result.level_dbfs,
        width_hz=result.occupied_bandwidth_hz or 0.0,
        highest=given["harmonics"],
        look=look_settings(given),
        correction=correction,
        seconds=seconds,
        start_s=given["start"],
    )
    return replace(
        checked,
        result=replace(result, harmonics=harmonics),
        cautions=(*checked.cautions, ROUGH),
    )


def _written_audio(checked: Transmitter, path: Path) -> Caution:
    measured = checked.measured
    if measured is None or measured.baseband is None or not measured.baseband.samples:
        return Caution(code="no-audio", text=f"{path} was not written: nothing was demodulated")
    import soundfile

    target = BytesIO()
    sound = audible(measured.baseband, measured.band)
    soundfile.write(target, sound, LISTENING_RATE_HZ, format="WAV", subtype="PCM_16")
    with TemporaryBeside(path) as whole:
        whole.file.write(target.getvalue())
        whole.move_to(path)
    return _PRIVACY


def _show(
    checked: Transmitter,
    info: SourceInfo,
    correction: Correction,
    cautions: tuple[Caution, ...],
    given: Mapping[str, Any],
) -> str:
    """Print the check; returns its JSON object."""
    kept = given["budget"] or in_job(given)
    budgets = _budgets(checked, info, correction) if kept else None
    told = envelope(
        "carrier",
        checked.result,
        source=info,
        correction=correction,
        cautions=cautions,
        budgets=budgets,
    )
    if given["as_json"]:
        import click

        click.echo(told)
    else:
        print_carrier(checked.result, info, correction)
        if given["budget"] and budgets is not None:
            print_budgets(budgets)
    say_unless_quiet(cautions, given)
    return told


def _draw(
    checked: Transmitter, correction: Correction, given: Mapping[str, Any], limits: Limits | None
) -> None:
    """The picture, where a carrier was measured; else the text says why there is none."""
    if checked.measured is None or checked.result.frequency_hz is None:
        return
    from sniff.report.plots import draw_carrier, save

    asked_hz = given["width"]
    band = None if limits is None else limits.band_of(checked.result.frequency_hz)
    if band is not None and band.bandwidth_hz is not None:
        asked_hz = band.bandwidth_hz
    picture = draw_carrier(
        checked, clock=correction, asked_width_hz=asked_hz, cautions=checked.cautions
    )
    save(picture, given["plot"])


def _budgets(checked: Transmitter, info: SourceInfo, correction: Correction) -> list[Explained]:
    result = checked.result
    if result.indicated_hz is None or result.u_indicated_hz is None or result.frequency_hz is None:
        return []
    return [
        explain(
            format_frequency(result.frequency_hz, result.expanded_hz),
            indicated_hz=result.indicated_hz,
            u_indicated_hz=result.u_indicated_hz,
            u_center_hz=info.u_center_hz,
            correction=correction,
            steady=result.estimator in ("line", "carrier line"),
        )
    ]
