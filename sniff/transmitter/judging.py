"""From a measured carrier to the answer: corrected once, last; judged by the decision rule."""

from collections.abc import Sequence
from dataclasses import replace
from math import hypot, sqrt

import numpy as np

from calib.correction import Correction
from sniff.channels import Channel, nearest
from sniff.limits import Held, Limits, Quantity, hold
from sniff.model import Caution
from sniff.modulation.classify import Kind
from sniff.modulation.measured import MeasuredCarrier
from sniff.modulation.tones import Tone
from sniff.transmitter.nouns import (
    CarrierRequest,
    CarrierResult,
    HeldLimits,
    ModulationResult,
    SettlingResult,
    ToneResult,
)
from sniff.units import (
    format_error,
    format_expanded,
    format_frequency,
    format_parts,
    format_seconds,
    format_share,
    format_span,
    to_db,
)
from sniff.verdict import Outcome, decide

DEVIATION_EXPANDED = 0.01
"""U (k = 2) of a deviation, relative: what the tests hold it to at 30 dB SNR."""

BANDWIDTH_EXPANDED = 0.02
"""U (k = 2) of an occupied bandwidth, relative: what the tests hold it to."""

_CLEAN_DB = 30.0  # over the noise in the channel, where that U is shown to hold
_AUDIO_GONE_S = 0.05
_RESTLESS_SHARE = 0.01  # of the time outside the tolerance, from which on it is told


def judge(
    measured: MeasuredCarrier,
    request: CarrierRequest,
    correction: Correction,
    *,
    u_center_hz: float,
    observed_s: float,
) -> tuple[CarrierResult, tuple[Caution, ...]]:
    """Correct, name the channel, and judge.

    Parameters
    ----------
    measured : MeasuredCarrier
    request : CarrierRequest
    correction : Correction
    u_center_hz : float
        Doubt about where the tuner stands, Hz; it is in a line's u already.
    observed_s : float
        Length of the take, s.
    """
    own_hz = measured.u_indicated_hz
    if measured.estimator != "line":
        own_hz = hypot(own_hz, u_center_hz)
    reading = correction.apply(measured.indicated_hz, own_hz)
    expanded_hz = reading.expanded_hz()
    channel = nearest(request.channels, reading.value_hz) if request.channels else None
    factor = correction.factor
    drift = None if measured.drift_hz_per_s is None else measured.drift_hz_per_s * factor
    result = CarrierResult(
        verdict=None,
        why=f"{format_frequency(reading.value_hz, expanded_hz)}: no tolerance was given to "
        "judge it by",
        channel=channel.name if channel is not None and channel.name else None,
        frequency_hz=reading.value_hz,
        u_hz=reading.u_hz,
        expanded_hz=expanded_hz,
        indicated_hz=measured.indicated_hz,
        u_indicated_hz=own_hz,
        estimator=measured.estimator,
        estimator_why=measured.because,
        level_dbfs=to_db(measured.power),
        snr_db=measured.snr_db,
        observed_s=observed_s,
        on_share=measured.on.share,
        on_times=measured.on.times if measured.on.keyed else 1,
        modulation=_modulation(measured, factor),
        occupied_bandwidth_hz=None if measured.occupied is None else measured.occupied.width_hz,
        x_db=request.settings.x_db,
        x_db_bandwidth_hz=None if measured.x_db is None else measured.x_db.width_hz,
        x_db_reference=measured.x_db_reference if measured.x_db is not None else None,
        carson_hz=measured.carson_hz,
        bandwidth_rbw_hz=None if measured.spectrum is None else measured.spectrum.rbw_hz,
        channel_width_hz=measured.channel.width_hz,
        adjacent=measured.neighbours,
        pilot=_pilot(measured, correction),
        squelch=_squelch(measured, correction),
        drift_hz_per_s=drift,
        drift_ppm_per_min=None if drift is None else 60e6 * drift / reading.value_hz,
        settling=_settling(measured, factor),
    )
    if channel is None:
        return result, ()
    result = replace(
        result,
        nominal_hz=channel.frequency_hz,
        error_hz=reading.value_hz - channel.frequency_hz,
        error_ppm=(reading.value_hz / channel.frequency_hz - 1.0) * 1e6,
    )
    if request.tolerance is None:
        return result, ()
    return _judged(result, measured, channel, request, correction)


def hold_limits(result: CarrierResult, limits: Limits) -> CarrierResult:
    """Hold a result against limits; the verdict on the tolerance stays as it is."""
    if result.frequency_hz is None:
        return replace(result, limits=_not_held(limits))
    place_hz = result.frequency_hz if result.nominal_hz is None else result.nominal_hz
    band = limits.band_of(place_hz)
    if band is None:
        return replace(result, limits=_not_held(limits))
    held: list[Held] = []
    if band.tolerance is not None:
        held.append(
            hold(
                Quantity.FREQUENCY_ERROR,
                limit_hz=band.tolerance.at(place_hz),
                measured_hz=result.error_hz,
                expanded_hz=result.expanded_hz,
            )
        )
    if band.deviation_hz is not None:
        held.append(_deviation_held(result, band.deviation_hz))
    if band.bandwidth_hz is not None:
        width_hz, rbw_hz = result.occupied_bandwidth_hz, result.bandwidth_rbw_hz
        u_hz = None if width_hz is None else BANDWIDTH_EXPANDED * width_hz + (rbw_hz or 0.0)
        held.append(
            hold(
                Quantity.BANDWIDTH,
                limit_hz=band.bandwidth_hz,
                measured_hz=width_hz,
                expanded_hz=u_hz,
            )
        )
    told = HeldLimits(title=limits.title, source=limits.source, note=limits.note, held=tuple(held))
    return replace(result, limits=told)


def _not_held(limits: Limits) -> HeldLimits:
    return HeldLimits(title=limits.title, source=limits.source, note=limits.note, held=())


def _deviation_held(result: CarrierResult, limit_hz: float) -> Held:
    modulation = result.modulation
    peak_hz = None if modulation is None else modulation.deviation_peak_hz
    # Noise adds to peaks in time by an amount that is not in U; those of a tone are averaged.
    by_time = modulation is not None and modulation.deviation_by == "time"
    noisy = by_time and (result.snr_db is None or result.snr_db < _CLEAN_DB)
    if modulation is not None and modulation.kind in ("none", "am", "keyed"):
        peak_hz = 0.0  # no frequency modulation beyond the noise is within any deviation
    return hold(
        Quantity.DEVIATION,
        limit_hz=limit_hz,
        measured_hz=peak_hz,
        expanded_hz=None if peak_hz is None or noisy else DEVIATION_EXPANDED * peak_hz,
    )


def _judged(
    result: CarrierResult,
    measured: MeasuredCarrier,
    channel: Channel,
    request: CarrierRequest,
    correction: Correction,
) -> tuple[CarrierResult, tuple[Caution, ...]]:
    assert request.tolerance is not None
    assert result.error_hz is not None
    assert result.expanded_hz is not None
    assert result.u_indicated_hz is not None
    tolerance_hz = request.tolerance.at(channel.frequency_hz)
    decision = decide(
        error_hz=result.error_hz, expanded_hz=result.expanded_hz, tolerance_hz=tolerance_hz
    )
    error = format_error(result.error_hz, result.expanded_hz)
    allowed = format_span(tolerance_hz)
    expanded = format_expanded(result.expanded_hz)
    if decision.outcome is Outcome.PASS:
        why = f"{error} ± {expanded} off, within ±{allowed}"
    elif decision.outcome is Outcome.FAIL:
        why = f"{error} ± {expanded} off, more than the ±{allowed} allowed"
    else:
        needed_hz = decision.needed_expanded_hz or 0.0
        why = (
            f"{error} off, but ±{allowed} cannot be judged with U = {expanded}: "
            f"{_what_would_decide(result, needed_hz, tolerance_hz, correction)}"
        )
    share = _outside_share(measured, channel.frequency_hz, tolerance_hz, correction)
    cautions: tuple[Caution, ...] = ()
    if share is not None and share > _RESTLESS_SHARE and decision.outcome is Outcome.PASS:
        text = (
            f"its mean is within the tolerance, but {format_share(share)} of the time it was "
            "outside: see the picture of its frequency against time"
        )
        cautions = (Caution(code="outside", text=text),)
    judged = replace(
        result,
        verdict=decision.outcome,
        why=why,
        tolerance_hz=tolerance_hz,
        outside_share=share,
    )
    return judged, cautions


def _what_would_decide(
    result: CarrierResult, needed_hz: float, tolerance_hz: float, correction: Correction
) -> str:
    """The sentence that says which part of U must shrink, and to what."""
    assert result.u_indicated_hz is not None
    assert result.indicated_hz is not None
    if needed_hz < 1e-3 * tolerance_hz:
        return "it stands on the limit itself, and no measurement will tell"
    own_hz = 2.0 * result.u_indicated_hz
    clock_hz = 2.0 * correction.u_at(result.indicated_hz)
    parts: list[str] = []
    if own_hz < needed_hz:
        left_hz = sqrt(needed_hz**2 - own_hz**2)
        better = format_parts(left_hz / result.indicated_hz * 1e6)
        parts.append(
            f"calibrate the clock to U = {better} or better by a reference good enough for it"
        )
    else:
        if clock_hz > 0.5 * needed_hz:
            better = format_parts(0.5 * needed_hz / result.indicated_hz * 1e6)
            parts.append(f"calibrate the clock to U = {better} or better")
        longer = f"observe longer than {format_seconds(result.observed_s or 0.0)}"
        parts.append(f"{longer}, without modulation where that can be turned off")
    return f"{'; and '.join(parts)} (U = {format_expanded(needed_hz)} would decide)"


def _outside_share(
    measured: MeasuredCarrier, nominal_hz: float, tolerance_hz: float, correction: Correction
) -> float | None:
    course = measured.course
    if course is None:
        return None
    if measured.decided.kind is Kind.FM and course.point_s < _AUDIO_GONE_S:
        return None  # a point still swings with the audio
    offset_hz = course.offset_hz[np.isfinite(course.offset_hz)]
    if offset_hz.size == 0:
        return None
    true_hz = (measured.channel_zero_hz + offset_hz) * correction.factor + correction.offset_hz
    return float((np.abs(true_hz - nominal_hz) > tolerance_hz).mean())


def _modulation(measured: MeasuredCarrier, factor: float) -> ModulationResult:
    plain = ModulationResult(
        kind=measured.decided.kind.value,
        why=measured.decided.why,
        audio_low_hz=measured.band.low_hz,
        audio_high_hz=measured.band.high_hz,
        deemphasis_s=measured.band.deemphasis_s,
        measured_s=measured.kept_s,
    )
    found = measured.figures
    if found is None:
        return plain
    tone = found.audio
    told = replace(
        plain,
        audio_hz=None if tone is None else tone.frequency_hz * factor,
        u_audio_hz=None if tone is None else tone.u_hz,
        sinad_db=found.sinad_db,
        thd_percent=found.thd_percent,
        harmonics=found.harmonics if tone is not None else None,
        hum_hz=None if found.hum is None else found.hum.frequency_hz * factor,
    )
    hum = None if found.hum is None else found.hum.amplitude
    if measured.decided.kind is Kind.AM:
        return replace(
            told,
            depth_percent=100.0 * found.peak,
            depth_positive_percent=100.0 * found.positive,
            depth_negative_percent=100.0 * found.negative,
            residual_percent=100.0 * found.residual,
            hum_depth_percent=None if hum is None else 100.0 * hum,
        )
    told = replace(told, residual_hz=found.residual * factor, hum_deviation_hz=hum)
    if measured.decided.kind is not Kind.FM:
        return told  # the peaks of an unmodulated carrier are those of the receiver's noise
    return replace(
        told,
        deviation_peak_hz=found.peak * factor,
        deviation_positive_hz=found.positive * factor,
        deviation_negative_hz=found.negative * factor,
        deviation_by="tone" if found.by_tone else "time",
        deviation_rms_hz=found.rms * factor,
        deviation_largest_hz=found.largest * factor,
        deviation_below_peak_share=found.largest_share,
    )


def _tone(name: str, tone: Tone, measured: MeasuredCarrier, correction: Correction) -> ToneResult:
    # The sampler counts the tone's cycles by the same crystal, whatever converter lies ahead.
    u_hz = hypot(tone.u_hz, tone.frequency_hz * correction.u_ppm * 1e-6)
    fm = measured.decided.kind is not Kind.AM
    return ToneResult(
        name=name,
        frequency_hz=tone.frequency_hz * correction.factor,
        u_hz=u_hz,
        deviation_hz=tone.amplitude * correction.factor if fm else None,
    )


def _pilot(measured: MeasuredCarrier, correction: Correction) -> ToneResult | None:
    if measured.figures is None or measured.figures.pilot is None:
        return None
    pilot = measured.figures.pilot
    return _tone(pilot.name, pilot.tone, measured, correction)


def _squelch(measured: MeasuredCarrier, correction: Correction) -> ToneResult | None:
    if measured.figures is None or measured.figures.squelch is None:
        return None
    squelch = measured.figures.squelch
    name = "other" if squelch.nominal_hz is None else f"{squelch.nominal_hz:.1f} Hz"
    return _tone(name, squelch.tone, measured, correction)


def _settling(measured: MeasuredCarrier, factor: float) -> SettlingResult | None:
    if measured.settling is None:
        return None
    return SettlingResult(
        start_hz=measured.settling.start_hz * factor, after_s=measured.settling.after_s
    )


def worst(outcomes: Sequence[Outcome | None]) -> Outcome | None:
    """The outcome of several: a failure outweighs what is undecided, and that a pass."""
    for outcome in (Outcome.FAIL, Outcome.UNDECIDED, Outcome.PASS):
        if outcome in outcomes:
            return outcome
    return None
