"""The work of ``sniff calibrate``: measure the references, fit, keep, and tell."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timezone
from typing import Any

from calib.fit import Fit, Residual, Settled, fit_correction, settle
from calib.profile import Profile
from sniff.calibrating.reference import measure_reference
from sniff.cli.clocks import clock_store
from sniff.cli.defaults import with_defaults
from sniff.cli.filing import Filing, with_job
from sniff.cli.references import references_from
from sniff.cli.running import look_settings, opened, say_unless_quiet, seconds_of
from sniff.errors import UsageError
from sniff.model import Caution
from sniff.report.calibration_text import print_calibration
from sniff.report.envelope import envelope
from sniff.units import format_ppm


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrateResult:
    """What a calibration came to, field by field what ``--json`` prints."""

    ppm: float
    u_ppm: float
    references: tuple[Residual, ...]
    birge_ratio: float
    drift_ppm_per_hour: float | None
    saved: str | None
    why: str | None


def calibrate_from(given: Mapping[str, Any]) -> int:
    """Calibrate as the options say; returns the exit code."""
    if given["source"] is None:
        raise UsageError("--from is missing: which dongle or recording hears the reference?")
    if not given["references"]:
        raise UsageError("--reference is missing: which carrier is known?")
    references = references_from(given)
    if given["follow"] is not None:
        from sniff.cli.following import follow_reference

        return follow_reference(references, given)
    if given["plot"] is not None:
        raise UsageError("--plot draws a --follow: say how long to follow")
    source, options = with_defaults(given["source"], with_job("calibrate", given))
    if options["converter"] is not None:
        raise UsageError("a converter's own LO would count as the clock's error; calibrate without")
    options.update(plot=None, course=None)
    with opened(source, options) as opened_source:
        measured = [
            measure_reference(
                opened_source,
                reference,
                settings=look_settings(options),
                seconds=seconds_of(opened_source.info, options),
                start_s=options["start"],
            )
            for reference in references
        ]
        info = opened_source.info
    settled = settle([each.ways for each in measured])
    fit = fit_correction(settled.points, origin="just calibrated")
    name = options["save"] or info.serial
    saved, why = None, None
    if options["no_save"]:
        why = "not asked for"
    elif name is None:
        why = "the source names no dongle: give --save NAME"
    elif settled.others and options["save"] is None:
        why = "which offset a pilot has is open: a second reference settles it, --save keeps it"
    else:
        profile = Profile(
            name=name,
            ppm=fit.correction.ppm,
            u_ppm=fit.correction.u_ppm,
            made=datetime.now(timezone.utc),
            references=tuple(r.name for r in fit.references if r.used),
            temperature_c=options["temperature"],
            dongle=info.serial,
        )
        saved = str(clock_store().save(profile))
    result = CalibrateResult(
        ppm=fit.correction.ppm,
        u_ppm=fit.correction.u_ppm,
        references=fit.references,
        birge_ratio=fit.birge_ratio,
        drift_ppm_per_hour=None,
        saved=saved,
        why=why,
    )
    cautions = (
        *(caution for each in measured for caution in each.cautions),
        *_disagreements(fit),
        *_open_ways(settled),
    )
    told = envelope("calibrate", result, source=info, correction=fit.correction, cautions=cautions)
    if options["as_json"]:
        import click

        click.echo(told)
    else:
        print_calibration(result)
    with Filing(told, options, 0) as filed:
        say_unless_quiet(cautions, options)
    return filed.exit_code


def _disagreements(fit: Fit) -> tuple[Caution, ...]:
    outliers = [
        Caution(
            code="outlier",
            text=f"{residual.name} disagrees with all others by "
            f"{format_ppm(residual.residual_ppm, 2.0 * residual.u_ppm)} and was left out",
        )
        for residual in fit.references
        if not residual.used
    ]
    at_odds = [
        Caution(
            code="at-odds",
            text=f"{one} and {other} cannot both lie within their limits: one of them is not what "
            "it is taken for",
        )
        for one, other in fit.at_odds
    ]
    return (*outliers, *at_odds)


def _open_ways(settled: Settled) -> tuple[Caution, ...]:
    if not settled.others:
        return ()
    ways = " or ".join(
        f"{format_ppm(fit_correction(points, origin='as offset').correction.ppm)} by "
        f"{', '.join(point.name for point in points)}"
        for points in settled.others
    )
    text = f"a pilot may be offset: the clock may as well be {ways}; a second reference settles it"
    return (Caution(code="pilot-offset", text=text),)
