"""The work of ``sniff calibrate --follow``: one reference from cold, till the clock has settled."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timezone
from math import isfinite
from typing import Any

from calib.fit import Fit, Residual, fit_correction
from calib.profile import Profile
from calib.references import Reference
from calib.stability import Deviation
from calib.trust import Trust
from calib.warmup import Settling, Shape, WarmUpError
from sniff.calibrating.reference import measure_reference
from sniff.cli.clocks import clock_store
from sniff.cli.defaults import with_defaults
from sniff.cli.filing import Filing, with_job
from sniff.cli.running import look_settings, opened, say_unless_quiet
from sniff.errors import BenchError, SourceError, UsageError
from sniff.following import Pace, Skipping, Track, follow, pace_for, points_of
from sniff.model import Caution, SourceInfo
from sniff.recording import Stopped
from sniff.report.envelope import envelope
from sniff.report.warmup_text import print_warm_up, progress
from sniff.survey import CUT_SHORT
from sniff.units import format_seconds
from sniff.warmed import Warmed, judge_track

_INTERRUPTED = 130
_FIND_S = 1.0


class _TooEarlyError(BenchError):
    """Interrupted before anything could be told."""

    exit_code = _INTERRUPTED


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedPoint:
    """One point of the track, without the reference's own doubt."""

    time_s: float
    ppm: float | None
    u_ppm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowResult:
    """What following came to, field by field what ``--json`` prints."""

    ppm: float
    u_ppm: float
    references: tuple[Residual, ...]
    birge_ratio: float
    drift_ppm_per_hour: float
    u_drift_ppm_per_hour: float
    shape: Shape
    settling: tuple[Settling, ...]
    scatter_ppm: float
    tolerance_ppm: float
    trust: Trust
    followed_s: float
    unobserved_s: float
    step_s: float
    mean_s: float
    settled_s: float | None
    stability: tuple[Deviation, ...]
    points: tuple[FollowedPoint, ...]
    stopped: Stopped
    saved: str | None
    why: str | None


def follow_reference(references: Sequence[Reference], given: Mapping[str, Any]) -> int:
    """Follow as the options say; returns the exit code."""
    reference = _check(references, given)
    source, options = with_defaults(given["source"], with_job("calibrate", given))
    if options["converter"] is not None:
        raise UsageError("a converter's own LO would count as the clock's error; calibrate without")
    with opened(source, {**options, "plot": None}) as opened_source:
        info = opened_source.info
        pace = pace_for(_length_s(info, options), skipping=isinstance(opened_source, Skipping))
        found = measure_reference(
            opened_source,
            reference,
            settings=look_settings({**options, "plot": None, "course": None}),
            seconds=_FIND_S,
            start_s=options["start"],
        )
        points = points_of(
            opened_source,
            line_hz=found.ways[0].indicated_hz,
            pace=pace,
            start_s=options["start"],
        )
        if not (options["quiet"] or options["as_json"]):
            points = progress(points, pace=pace, nominal_hz=reference.nominal_hz)
        track = follow(points)
        info = opened_source.info
    warmed = _judged(track, reference, pace, options)
    fit = fit_correction([warmed.point], origin="just calibrated")
    saved, why = _keep(fit, warmed, info, options)
    cautions = (*_endings(track, pace, options), *_of_reference(reference), *warmed.cautions)
    result = _result(fit, warmed, track, saved=saved, why=why)
    told = envelope("calibrate", result, source=info, correction=fit.correction, cautions=cautions)
    if options["as_json"]:
        import click

        click.echo(told)
    else:
        print_warm_up(warmed, ppm=fit.correction.ppm, u_ppm=fit.correction.u_ppm)
        _say_where(saved, why)
    with Filing(told, options, _exit_code(track, warmed)) as filed:
        if options["plot"] is not None:
            from sniff.report.plots import draw_warm_up, save

            save(draw_warm_up(warmed), options["plot"])
    say_unless_quiet(cautions, options)
    return filed.exit_code


def _check(references: Sequence[Reference], given: Mapping[str, Any]) -> Reference:
    if len(references) > 1:
        raise UsageError("--follow tracks one --reference, all the time; give one")
    if given["seconds"] is not None:
        raise UsageError("--follow says how long already; leave --seconds out")
    (reference,) = references
    if reference.system is not None or reference.half_width_hz:
        what = "a multiplex" if reference.system is not None else "modulated"
        raise UsageError(
            f"{reference.name} is {what}: its mean shows no drift of seconds; follow a plain "
            "carrier, by kind (lab, atsc, beacon, standard-frequency) or with --accuracy"
        )
    return reference


def _length_s(info: SourceInfo, options: Mapping[str, Any]) -> float:
    asked: float = options["follow"]
    if info.duration_s is None:
        return asked
    left_s: float = info.duration_s - options["start"]
    return min(asked, left_s)


def _judged(track: Track, reference: Reference, pace: Pace, options: Mapping[str, Any]) -> Warmed:
    try:
        return judge_track(track, reference=reference, pace=pace, tolerance=options["wanted"])
    except WarmUpError as error:
        if track.stopped is Stopped.INTERRUPTED:
            raise _TooEarlyError(f"interrupted: {error}; nothing was kept") from None
        if track.stopped is Stopped.SOURCE:
            raise SourceError(f"{track.trouble}; {error}") from None
        raise


def _keep(
    fit: Fit, warmed: Warmed, info: SourceInfo, options: Mapping[str, Any]
) -> tuple[str | None, str | None]:
    """Where it was kept, or why it was not."""
    name = options["save"] or info.serial
    if options["no_save"]:
        return None, "not asked for"
    if name is None:
        return None, "the source names no dongle: give --save NAME"
    profile = Profile(
        name=name,
        ppm=fit.correction.ppm,
        u_ppm=fit.correction.u_ppm,
        made=datetime.now(timezone.utc),
        references=(warmed.reference.name,),
        temperature_c=options["temperature"],
        dongle=info.serial,
        drift_ppm_per_hour=warmed.drift_limit_ppm_per_hour,
    )
    return str(clock_store().save(profile)), None


def _say_where(saved: str | None, why: str | None) -> None:
    from sniff.report.text import console

    told = f"Kept in {saved}, with the drift as a term of U." if saved else f"Not kept: {why}."
    console().print(told, markup=False)


def _endings(track: Track, pace: Pace, options: Mapping[str, Any]) -> tuple[Caution, ...]:
    """Why it was followed for less than was asked."""
    done_s = pace.step_s * len(track.points)
    of = f"{format_seconds(done_s)} of {format_seconds(options['follow'])}"
    if track.stopped is Stopped.INTERRUPTED:
        text = f"interrupted after {of}: what was followed till then counts"
        return (Caution(code="interrupted", text=text),)
    if track.stopped is Stopped.SOURCE:
        return (Caution(code=CUT_SHORT, text=f"cut short after {of}: {track.trouble}"),)
    if done_s < options["follow"] - pace.step_s:
        return (Caution(code="short", text=f"the recording ended after {of}"),)
    return ()


def _of_reference(reference: Reference) -> tuple[Caution, ...]:
    if not reference.offsets_hz:
        return ()
    offsets = " or ".join(f"+{offset_hz / 1e3:.3f} kHz" for offset_hz in reference.offsets_hz)
    text = f"a pilot may be offset by {offsets}: check it by a second reference"
    return (Caution(code="pilot-offset", text=text),)


def _result(
    fit: Fit, warmed: Warmed, track: Track, *, saved: str | None, why: str | None
) -> FollowResult:
    return FollowResult(
        ppm=fit.correction.ppm,
        u_ppm=fit.correction.u_ppm,
        references=fit.references,
        birge_ratio=fit.birge_ratio,
        drift_ppm_per_hour=warmed.fit.drift_ppm_per_hour,
        u_drift_ppm_per_hour=warmed.fit.u_drift_ppm_per_hour,
        shape=warmed.fit.shape,
        settling=warmed.fit.settling,
        scatter_ppm=warmed.fit.scatter_ppm,
        tolerance_ppm=warmed.tolerance_ppm,
        trust=warmed.trust,
        followed_s=warmed.followed_s,
        unobserved_s=warmed.unobserved_s,
        step_s=warmed.pace.step_s,
        mean_s=warmed.pace.mean_s,
        settled_s=warmed.settled_s,
        stability=warmed.stability,
        points=tuple(
            FollowedPoint(time_s=float(t), ppm=_or_none(p), u_ppm=_or_none(u))
            for t, p, u in zip(warmed.times_s, warmed.ppm, warmed.u_ppm, strict=True)
        ),
        stopped=track.stopped,
        saved=saved,
        why=why,
    )


def _or_none(value: float) -> float | None:
    return float(value) if isfinite(value) else None


def _exit_code(track: Track, warmed: Warmed) -> int:
    """Undecided where a tolerance was named for which the clock is not yet to be trusted."""
    if track.stopped is Stopped.INTERRUPTED:
        return _INTERRUPTED
    if track.stopped is Stopped.SOURCE:
        return 4
    return 3 if warmed.trust.after_s is None and not warmed.tolerance_assumed else 0
