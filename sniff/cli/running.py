"""What the measuring commands have in common once their words are parsed: open, run, show."""

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from calib.correction import Correction
from sniff.cli.filing import Filing, in_job
from sniff.cli.levels import level_points
from sniff.cli.options import converter_from
from sniff.errors import UsageError
from sniff.explain import Explained, explain
from sniff.levelling import look_in_dbm
from sniff.look import Look, SeenLine
from sniff.model import Caution, Source, SourceInfo
from sniff.reach import centers_in_words
from sniff.report.budget_text import print_budgets
from sniff.report.envelope import envelope
from sniff.report.look_text import print_look
from sniff.report.text import say_cautions
from sniff.resolution import SpectrumSettings
from sniff.sources.opening import Wishes, is_live, open_source
from sniff.survey import CUT_SHORT, LookSettings
from sniff.units import format_frequency
from sniff.windows import Window

DEFAULT_SEGMENT = 4096
LIVE_SECONDS = 1.0
MOST_BUDGETS = 5
CALIBRATED_BELOW_PPM = 50.0
"""A clock less sure than this (k = 1) was never calibrated, and the user must be told."""


@contextmanager
def opened(text: str, given: Mapping[str, Any]) -> Iterator[Source]:
    """A source opened by the common options, and closed whatever happens."""
    if given.get("start") and is_live(text):
        raise UsageError(f"{text}: --start is for a recording; leave it out")
    source = open_source(
        text,
        Wishes(
            datatype=given["datatype"],
            rate_hz=given["rate"],
            center_hz=given["center"],
            gain=given["gain"],
            bandwidth_hz=given["bandwidth"],
            direct=given["direct"],
            bias_supply=given["bias"],
            wait=given["wait"],
            converter=converter_from(given),
            pad_db=given["pad"],
            paced=given.get("paced", False),
        ),
    )
    try:
        if given.get("keep_stem") is not None:
            from sniff.cli.keeping import kept

            source = kept(source, given)
        yield source
    finally:
        source.close()


def as_for_recording(given: Mapping[str, Any]) -> dict[str, Any]:
    """The options without those that were settled when a recording was made."""
    settled = {"gain": None, "bandwidth": None, "direct": None, "bias": False, "wait": False}
    return {**given, **settled}


def seconds_of(info: SourceInfo, given: Mapping[str, Any]) -> float | None:
    """How long to observe: as asked, else a recording to its end and a live source a second."""
    if given["seconds"] == 0:
        raise UsageError("--seconds 0 observes nothing; leave it out, or give a duration")
    if given["seconds"] is None and info.duration_s is None:
        return LIVE_SECONDS
    seconds: float | None = given["seconds"]
    return seconds


def look_settings(given: Mapping[str, Any]) -> LookSettings:
    """Settings of the spectrum by the common options."""
    return LookSettings(
        spectrum=SpectrumSettings(
            window=Window.named(given["window"]),
            segment=DEFAULT_SEGMENT if given["rbw"] is None else None,
            rbw_hz=given["rbw"],
            holds=given["plot"] is not None,
            threads=given.get("threads") or min(2, os.cpu_count() or 1),
        ),
        course=given["course"] is not None,
    )


def with_other_centers(seen: Look, info: SourceInfo, noted: tuple[Caution, ...]) -> Look:
    """Add cautions, and say what else a recording of several tunings holds: a look shows one."""
    seen = replace(seen, cautions=(*noted, *seen.cautions))
    others = [center for center in info.centers_hz if center != seen.result.center_hz]
    if not others:
        return seen
    caution = Caution(
        code="other-tunings",
        text=f"this recording also holds other tunings: {centers_in_words(others)}; --center goes "
        "there",
    )
    return replace(seen, cautions=(*seen.cautions, caution))


def all_cautions(
    info: SourceInfo, correction: Correction, measured: tuple[Caution, ...]
) -> tuple[Caution, ...]:
    """Cautions of source, clock and measurement, in that order, each once."""
    clock = (
        ()
        if correction.u_ppm < CALIBRATED_BELOW_PPM
        else (
            Caution(
                code="clock",
                text=f"the clock is {correction.origin}; every frequency carries that. "
                "Give --ppm and --u-ppm",
            ),
        )
    )
    return tuple(dict.fromkeys(info.cautions + clock + measured))


def show_look(
    seen: Look, info: SourceInfo, correction: Correction, given: Mapping[str, Any]
) -> int:
    """Print a look, file it, and draw its pictures as the options ask; returns the exit code."""
    points = level_points(info, given)
    if points:
        in_dbm = look_in_dbm(seen.result, points, gain_db=info.gain_db)
        seen = replace(seen, result=in_dbm)
    cautions = all_cautions(info, correction, seen.cautions)
    told = envelope(
        "look",
        seen.result,
        source=info,
        correction=correction,
        cautions=cautions,
        budgets=budgets_if_asked(seen.result.peaks, info, correction, given),
    )
    if given["as_json"]:
        import click

        click.echo(told)
    else:
        print_look(seen, info, correction)
        if given["budget"]:
            print_budgets(explained(seen.result.peaks[:MOST_BUDGETS], info, correction))
    with Filing(told, given, exit_code(0, seen.cautions)) as filed:
        draw(given, seen, info, correction)
    say_unless_quiet(cautions, given)
    return filed.exit_code


def explained(
    lines: Sequence[SeenLine], info: SourceInfo, correction: Correction
) -> list[Explained]:
    """Budgets of lines that were seen."""
    return [
        explain(
            format_frequency(line.frequency_hz, line.expanded_hz),
            indicated_hz=line.indicated_hz,
            u_indicated_hz=line.u_indicated_hz,
            u_center_hz=info.u_center_hz,
            correction=correction,
            steady=line.steady,
        )
        for line in lines
    ]


def budgets_if_asked(
    lines: Sequence[SeenLine], info: SourceInfo, correction: Correction, given: Mapping[str, Any]
) -> list[Explained] | None:
    """Budgets for the JSON object: when `--budget` asks for them, and the first few for a job."""
    if given["budget"]:
        return explained(lines, info, correction)
    return explained(lines[:MOST_BUDGETS], info, correction) if in_job(given) else None


def exit_code(verdict_code: int, measured: tuple[Caution, ...]) -> int:
    """The verdict's own code, unless the source failed in the middle."""
    return 4 if any(caution.code == CUT_SHORT for caution in measured) else verdict_code


def say_unless_quiet(cautions: tuple[Caution, ...], given: Mapping[str, Any]) -> None:
    """Cautions on stderr, unless the user wants none; in JSON they stand anyway."""
    if not given["quiet"]:
        say_cautions(cautions)


def draw(given: Mapping[str, Any], seen: Look, info: SourceInfo, correction: Correction) -> None:
    """Pictures of a look."""
    if given["plot"] is None and given["course"] is None:
        return
    from sniff.report.plots import draw_course, draw_look, save

    if given["plot"] is not None:
        picture = draw_look(seen, clock=correction, usable_fraction=info.usable_fraction)
        save(picture, given["plot"])
    if given["course"] is not None and seen.course is not None:
        save(draw_course(seen.course, clock=correction), given["course"])
