"""The work of ``sniff calibrate``: measure the references, fit, keep, and tell."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timezone
from typing import Any

from calib.fit import Residual, fit_correction, settle
from calib.profile import Profile
from calib.references import ATSC_OFFSETS_HZ, KINDS, Reference, is_good_enough, reference_of
from sniff.calibrating.measured import Measured
from sniff.calibrating.reference import measure_reference
from sniff.cli.clocks import clock_store
from sniff.cli.defaults import with_defaults
from sniff.cli.running import look_settings, opened, say_unless_quiet, seconds_of
from sniff.errors import UsageError
from sniff.model import Caution
from sniff.report.calibration_text import print_calibration
from sniff.report.envelope import envelope
from sniff.units import Tolerance, format_frequency, format_parts, parse_frequency


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
    references = [_reference(text, given["accuracy"]) for text in given["references"]]
    for reference in references:
        _refuse_if_useless(reference, given["wanted"])
    source, options = with_defaults(given["source"], given)
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
    else:
        profile = Profile(
            name=name,
            ppm=fit.correction.ppm,
            u_ppm=fit.correction.u_ppm,
            made=datetime.now(timezone.utc),
            references=tuple(r.name for r in fit.references if r.used),
            temperature_c=options["temperature"],
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
    cautions = _cautions(measured, fit.references, references)
    if options["as_json"]:
        import click

        click.echo(
            envelope("calibrate", result, source=info, correction=fit.correction, cautions=cautions)
        )
    else:
        print_calibration(result)
    say_unless_quiet(cautions, options)
    return 0


def _reference(text: str, accuracy: Tolerance | None) -> Reference:
    kind_name, colon, rest = text.partition(":")
    if colon:
        if kind_name not in KINDS:
            raise UsageError(f"{kind_name!r} is no kind of reference; there are {', '.join(KINDS)}")
        return reference_of(KINDS[kind_name], _above_zero(rest))
    nominal_hz = _above_zero(text)
    if accuracy is None:
        raise UsageError(
            f"--reference {text}: how good is it? Give --accuracy, or a kind: {', '.join(KINDS)}"
        )
    return Reference(
        name=f"reference {format_frequency(nominal_hz)}",
        nominal_hz=nominal_hz,
        # A reference without any doubt would let the fit claim what nobody knows.
        limit_hz=max(accuracy.at(nominal_hz), nominal_hz * 1e-12),
        source=f"accuracy {accuracy} as stated",
    )


def _above_zero(text: str) -> float:
    hz = parse_frequency(text)
    if hz <= 0:
        raise UsageError(f"--reference {text}: a carrier lies above zero")
    return hz


def _refuse_if_useless(reference: Reference, wanted: Tolerance | None) -> None:
    if wanted is None:
        return
    tolerance_ppm = wanted.ppm or wanted.at(reference.nominal_hz) / reference.nominal_hz * 1e6
    if not is_good_enough(reference, tolerance_ppm):
        expanded = format_parts(2.0 * reference.u_ppm)
        raise UsageError(
            f"{reference.name} cannot serve for {wanted}: it lies within "
            f"±{format_parts(reference.limit_hz / reference.nominal_hz * 1e6)}, so u = "
            f"{format_parts(reference.u_ppm)} (by the root of 3) and U = {expanded}, more than "
            f"half of {format_parts(tolerance_ppm)}"
        )


def _cautions(
    measured: list[Measured], residuals: tuple[Residual, ...], references: list[Reference]
) -> tuple[Caution, ...]:
    cautions = [caution for each in measured for caution in each.cautions]
    for residual in residuals:
        if not residual.used:
            text = (
                f"{residual.name} disagrees with all others by {residual.residual_ppm:+.2f} ppm "
                "and was left out"
            )
            cautions.append(Caution(code="outlier", text=text))
    if any(reference.name.startswith("atsc") for reference in references):
        offsets = " or ".join(f"+{offset_hz / 1e3:.3f} kHz" for offset_hz in ATSC_OFFSETS_HZ)
        text = f"a pilot may be offset by {offsets}: check it by a second reference"
        cautions.append(Caution(code="pilot-offset", text=text))
    return tuple(cautions)
