"""Level calibrations: made by ``sniff calibrate --level``, found by the dongle's name."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timezone
from typing import Any

from calib.folder import Histories
from calib.levels import LevelPoint, point_of
from calib.levelstore import level_store
from sniff.cli.kept_folder import kept_folder
from sniff.errors import UsageError
from sniff.model import Caution, SourceInfo

_STANDS_DBM = 10.0  # DONGLE: the most that the common tuner's input stands
_WISE_DBM = -20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelResult:
    """What a level calibration came to, field by field what ``--json`` prints."""

    at_hz: float
    gain_db: float
    known_dbm: float
    level_dbfs: float
    offset_db: float
    u_db: float
    saved: str | None
    why: str | None


def levels_kept() -> Histories[LevelPoint]:
    """The user's level calibrations."""
    return level_store(kept_folder() / "levels")


def level_points(info: SourceInfo, given: Mapping[str, Any]) -> tuple[LevelPoint, ...]:
    """The points of the dongle that a source names, or that `--clock` names."""
    name = given.get("clock") or info.serial
    return () if name is None else levels_kept().history(name)


def calibrate_level(given: Mapping[str, Any]) -> int:
    """Tie a known level to what is indicated; returns the exit code."""
    from sniff.cli.clocks import clock_for, clock_store
    from sniff.cli.defaults import with_defaults
    from sniff.cli.filing import Filing, with_job
    from sniff.cli.running import look_settings, opened, say_unless_quiet, seconds_of
    from sniff.levelling import measure_level
    from sniff.report.envelope import envelope
    from sniff.report.level_text import print_level

    _check(given)
    source, options = with_defaults(given["source"], with_job("calibrate", given))
    if options["converter"] is not None:
        raise UsageError("a converter's gain would count as the dongle's; calibrate without")
    known = options["save"] in clock_store().names()
    clock = options["save"] if known else None
    options.update(plot=None, course=None, ppm=None, u_ppm=None, clock=clock)
    with opened(source, options) as opened_source:
        correction, _ = clock_for(opened_source.info, options)
        measured = measure_level(
            opened_source,
            options["at"],
            settings=look_settings(options),
            correction=correction,
            seconds=seconds_of(opened_source.info, options),
            start_s=options["start"],
        )
        info = opened_source.info
    name = options["save"] or info.serial
    point = point_of(
        name=name or "unnamed",
        at_hz=measured.at_hz,
        gain_db=measured.gain_db,
        known_dbm=options["level"],
        limit_db=options["level_accuracy"],
        level_dbfs=measured.level_dbfs,
        u_level_db=measured.u_level_db,
        made=datetime.now(timezone.utc),
    )
    saved, why = None, None
    if options["no_save"]:
        why = "not asked for"
    elif name is None:
        why = "the source names no dongle: give --save NAME"
    else:
        saved = str(levels_kept().add(name, point))
    result = LevelResult(
        at_hz=point.at_hz,
        gain_db=point.gain_db,
        known_dbm=options["level"],
        level_dbfs=measured.level_dbfs,
        offset_db=point.offset_db,
        u_db=point.u_db,
        saved=saved,
        why=why,
    )
    cautions = info.cautions + _cautions(options["level"])
    told = envelope("calibrate", result, source=info, correction=correction, cautions=cautions)
    if options["as_json"]:
        import click

        click.echo(told)
    else:
        print_level(result)
    with Filing(told, options, 0) as filed:
        say_unless_quiet(cautions, options)
    return filed.exit_code


def _check(given: Mapping[str, Any]) -> None:
    if given["source"] is None:
        raise UsageError("--from is missing: which dongle hears the known level?")
    if given["at"] is None or given["at"] <= 0:
        raise UsageError("--level needs --at F: the frequency of the line of that level")
    if given["references"]:
        raise UsageError("--level and --reference are two calibrations: one at a time")
    if given["level_accuracy"] is None:
        raise UsageError("--level needs --level-accuracy, such as 1dB: how good is the generator?")
    if given["level_accuracy"] < 0:
        raise UsageError("--level-accuracy is a size and cannot be negative")
    if given["level"] > _STANDS_DBM:
        raise UsageError(
            f"{given['level']:g} dBm would destroy the dongle's input, which stands about "
            f"+{_STANDS_DBM:g} dBm at the very most; put a pad ahead, or less level"
        )


def _cautions(known_dbm: float) -> tuple[Caution, ...]:
    said = [
        Caution(
            code="at-the-input",
            text="dBm hold for the dongle's input at this gain and about this frequency; what a "
            "loop or an antenna picks up from a set is another matter",
        )
    ]
    if known_dbm > _WISE_DBM:
        text = (
            f"{known_dbm:g} dBm is a strong signal for this input: {_WISE_DBM:g} dBm and less is "
            "wise"
        )
        said.append(Caution(code="strong", text=text))
    return tuple(said)
