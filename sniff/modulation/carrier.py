"""One carrier measured: what it carries, where it stands, how wide it is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sniff.model import ComplexSamples, Peak, Spectrum, Take
from sniff.modulation.bandwidth import Span, carson_hz, x_db_span
from sniff.modulation.baseband import (
    Baseband,
    amplitude_baseband,
    frequency_baseband,
)
from sniff.modulation.channel import ChannelFilter, widest_hz
from sniff.modulation.classify import WEAKEST_DB, Decided, Kind, classify, swings
from sniff.modulation.drift import (
    drift_of,
    frequency_course,
    settling_of,
)
from sniff.modulation.evidence import Evidence
from sniff.modulation.extent import Extent
from sniff.modulation.figures import Figures, figures
from sniff.modulation.kept import KeptSamples
from sniff.modulation.mean_frequency import mean_frequencies
from sniff.modulation.measured import (
    HIGHEST,
    UNMODULATED,
    CarrierSettings,
    MeasuredCarrier,
    Unmeasured,
)
from sniff.modulation.on_times import OnTimes, on_times
from sniff.modulation.phase import PhaseSteps, Run
from sniff.modulation.tones import AudioBand
from sniff.modulation.widths import WidthMeter, Widths
from sniff.peaks import Floor

NARROWEST_HZ = 10e3
"""Of a channel whose width the user does not state: sidebands of a voice, too weak to be seen, lie
within."""

NARROW_HZ = 30e3
"""Occupied bandwidth up to which a set counts as one for speech."""

_WIDELY, _CLOSELY = 2.0, 1.25  # channel over what stands out
_QUIET = 50.0  # power over noise, 17 dB, from which on the wider one does not slip by noise
_SPEECH_BAND_HZ = (300.0, 3000.0)
_PROGRAMME_BAND_HZ = (50.0, 15e3)
_SAMPLES_PER_MARK = 80.0  # the filter rings for 20 at either end
_LOWEST = 0.05
_BASEBAND_SHARE = 0.5  # of the channel


def channel_of(
    extent: Extent,
    *,
    rate_hz: float,
    center_hz: float,
    density: float,
    width_hz: float | None = None,
    others: Sequence[Extent] = (),
) -> Span:
    """Which channel to demodulate: the width asked for, or what stands out and as much again.

    Rare swings reach beyond what stands out; where they leave the channel the phase slips. Where
    that much noise would make it slip instead, only a quarter more is taken. A channel ends where
    another signal begins, and never lies beyond what the take holds.

    Parameters
    ----------
    extent : Extent
    rate_hz, center_hz : float
        Of the take, Hz.
    density : float
        Receiver noise, FS²/Hz.
    width_hz : float, optional
        Asked for, Hz.
    others : sequence of Extent
        The other signals in the take.
    """
    half_hz = max(extent.middle_hz - extent.low_hz, extent.high_hz - extent.middle_hz)
    wide_hz = max(NARROWEST_HZ, 2.0 * _WIDELY * half_hz)
    if density * wide_hz * _QUIET > extent.power:
        wide_hz = max(NARROWEST_HZ, 2.0 * _CLOSELY * half_hz)
    for other in others:
        apart_hz = max(other.low_hz - extent.middle_hz, extent.middle_hz - other.high_hz)
        wide_hz = max(2.0 * half_hz, min(wide_hz, 2.0 * apart_hz))
    wanted_hz = width_hz or wide_hz
    room_hz = 2.0 * (rate_hz / 2.0 - abs(extent.middle_hz - center_hz))
    width = min(wanted_hz, room_hz, widest_hz(rate_hz))
    return Span(low_hz=extent.middle_hz - width / 2.0, high_hz=extent.middle_hz + width / 2.0)


def measure_carrier(
    take: Take,
    *,
    spectrum: Spectrum,
    floor: Floor,
    extent: Extent,
    peak: Peak | None,
    settings: CarrierSettings,
    others: Sequence[Extent] = (),
) -> MeasuredCarrier | Unmeasured:
    """Measure one carrier in one pass over the take, in bounded memory.

    Where it is keyed so shortly that the channel smears the marks, a second pass goes through a
    wider one.

    Parameters
    ----------
    take : Take
    spectrum, floor
        Of the whole take.
    extent : Extent
        The signal in it.
    peak : Peak or None
        The carrier's line, refined, where one was.
    settings : CarrierSettings
    others : sequence of Extent
        The other signals in the take.
    """
    rate_hz = spectrum.rate_hz
    density = _density(spectrum, floor, extent)
    own = channel_of(
        extent,
        rate_hz=rate_hz,
        center_hz=spectrum.center_hz,
        density=density,
        width_hz=settings.width_hz,
        others=others,
    )
    heard = _listen(take, own, settings, density=density)
    if not heard.runs:
        return Unmeasured(why="the take is too short to cut a channel out of it; take more")
    on = on_times(heard.runs, noise_power=heard.noise_power, rate_hz=heard.rate_hz)
    short = on.keyed and on.longest_s * heard.rate_hz < _SAMPLES_PER_MARK
    if short and settings.width_hz is None and own.width_hz < widest_hz(rate_hz) / 1.5:
        return measure_carrier(
            take,
            spectrum=spectrum,
            floor=floor,
            extent=extent,
            peak=peak,
            settings=replace(settings, width_hz=1.2 * _SAMPLES_PER_MARK / on.longest_s),
            others=others,
        )
    if not on.runs:
        return Unmeasured(
            why=f"keyed too short to measure: on {on.times} times, at the longest "
            f"{on.longest_s * 1e3:.3g} ms; a wider --width, or longer marks"
        )
    snr_db = float(10.0 * np.log10(max(on.power, 1e-30) / max(heard.noise_power, 1e-30)))
    if snr_db < WEAKEST_DB and peak is None:
        return Unmeasured(why="too weak in its channel, and no single line; more gain, or nearer")
    parts = heard.kept.while_on(on) if snr_db >= WEAKEST_DB else []
    heard.kept.forget()
    kept_s = sum(part.size for part in parts) / heard.rate_hz
    decided = _decide(settings.kind, parts, on, heard)
    means = mean_frequencies([run.phase for run in on.runs], on.runs[0].step_s)
    estimate, estimator, because = Evidence(
        zero_hz=heard.zero_hz,
        means=means,
        on=on,
        peak=peak,
        parts=parts,
        rate_hz=heard.rate_hz,
        noise_power=heard.noise_power,
    ).by(decided.kind)
    widths = heard.meter.result(heard.density, estimate.indicated_hz)
    top_hz = _top_hz(own, extent, settings)
    band = _band(settings, widths, top_hz=top_hz)
    course = frequency_course(on.runs) if parts else None
    began = on.keyed and on.runs[0].start_s - heard.runs[0].start_s > 2.0 * on.runs[0].step_s
    baseband: Baseband | None = None
    carried: Figures | None = None
    if parts and not extent.cut and decided.kind is not Kind.KEYED:
        mean_hz = estimate.indicated_hz - heard.zero_hz
        baseband = _baseband(decided.kind, parts, heard, mean_hz=mean_hz, top_hz=top_hz)
        parts.clear()  # large, and no longer needed
        carried = figures(
            baseband,
            band,
            noise_per_hz=heard.density / on.power,
            angle=decided.kind is not Kind.AM,
        )
    reference, x_db = _x_db_span(decided.kind, carried, widths, own, settings, on)
    return MeasuredCarrier(
        indicated_hz=estimate.indicated_hz,
        u_indicated_hz=estimate.u_hz,
        estimator=estimator,
        because=because,
        decided=decided,
        power=on.power,
        snr_db=snr_db,
        on=on,
        channel=own,
        drift_hz_per_s=None if course is None else drift_of(means, on.runs),
        settling=None if course is None or not began else settling_of(on.runs[0], course),
        course=course,
        channel_zero_hz=heard.zero_hz,
        band=band,
        baseband=baseband,
        figures=carried,
        spectrum=widths.spectrum,
        noise=widths.noise,
        occupied=None if extent.cut else widths.occupied,
        x_db=None if extent.cut else x_db,
        x_db_reference=reference,
        carson_hz=_carson_hz(decided.kind, carried),
        neighbours=widths.neighbours,
        complete=heard.kept.complete,
        kept_s=kept_s,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard:
    """What one pass over the take left of a channel."""

    zero_hz: float
    rate_hz: float
    density: float
    noise_power: float
    runs: tuple[Run, ...]
    kept: KeptSamples
    meter: WidthMeter


def _listen(take: Take, own: Span, settings: CarrierSettings, *, density: float) -> _Heard:
    zero_hz = (own.low_hz + own.high_hz) / 2.0
    channel = ChannelFilter(
        zero_hz, width_hz=own.width_hz, rate_hz=take.rate_hz, center_hz=take.center_hz
    )
    noise_power = density * channel.noise_bandwidth_hz
    steps = PhaseSteps(channel.rate_hz, seconds=take.seconds)
    kept = KeptSamples(noise_power)
    meter = WidthMeter(
        own,
        channel_rate_hz=channel.rate_hz,
        neighbours_hz=settings.neighbours_hz,
        seconds=take.seconds,
        rate_hz=take.rate_hz,
        center_hz=take.center_hz,
    )
    for block in take.blocks():
        made = list(channel.push(block))
        for part in made:
            steps.push(part)
            kept.push(part)
        meter.push(block, made)
    return _Heard(
        zero_hz=zero_hz,
        rate_hz=channel.rate_hz,
        density=density,
        noise_power=noise_power,
        runs=steps.runs(),
        kept=kept,
        meter=meter,
    )


def _top_hz(own: Span, extent: Extent, settings: CarrierSettings) -> float:
    """Up to where the baseband is kept: beyond what stands out lies noise, ever louder."""
    if settings.width_hz is not None:
        return _BASEBAND_SHARE * own.width_hz
    half_hz = max(extent.middle_hz - extent.low_hz, extent.high_hz - extent.middle_hz)
    close_hz = max(NARROWEST_HZ, 2.0 * _CLOSELY * half_hz)
    return _BASEBAND_SHARE * min(own.width_hz, close_hz)


def _band(settings: CarrierSettings, widths: Widths, *, top_hz: float) -> AudioBand:
    occupied_hz = 0.0 if widths.occupied is None else widths.occupied.width_hz
    low_hz, high_hz = settings.audio_band_hz or (
        _SPEECH_BAND_HZ if occupied_hz <= NARROW_HZ else _PROGRAMME_BAND_HZ
    )
    return AudioBand(
        low_hz=low_hz, high_hz=min(high_hz, top_hz), deemphasis_s=settings.deemphasis_s
    )


def _x_db_span(
    kind: Kind,
    carried: Figures | None,
    widths: Widths,
    own: Span,
    settings: CarrierSettings,
    on: OnTimes,
) -> tuple[str, Span | None]:
    lines = kind is not Kind.FM or (carried is not None and carried.by_tone)
    reference = UNMODULATED if lines else HIGHEST
    if widths.spectrum is None:
        return reference, None
    power = on.power * on.share if lines else None
    return reference, x_db_span(widths.spectrum, own, x_db=settings.x_db, power=power)


def _carson_hz(kind: Kind, carried: Figures | None) -> float | None:
    if carried is None or kind is not Kind.FM:
        return None
    highest_hz = carried.audio_top_hz
    if carried.pilot is not None:
        highest_hz = max(highest_hz, carried.pilot.tone.frequency_hz)
    return carson_hz(peak_deviation_hz=carried.peak, audio_hz=highest_hz)


def _density(spectrum: Spectrum, floor: Floor, extent: Extent) -> float:
    """Receiver noise in the channel, FS²/Hz.

    Where one signal fills much of the span, the local floor beneath it is the signal's own: then
    the lowest bins count, which are noise yet.
    """
    from scipy.special import gammaincinv

    f = spectrum.frequencies_hz
    inside = (f >= extent.low_hz) & (f <= extent.high_hz)
    local = float(np.median(floor.density[inside] if inside.any() else floor.density))
    size = spectrum.psd.size
    usable = spectrum.psd[size // 10 : size - size // 10]
    # A bin of noise is Gamma-distributed about the floor (Welch 1967).
    averages = spectrum.effective_averages
    lowest = float(np.quantile(usable, _LOWEST)) * averages / float(gammaincinv(averages, _LOWEST))
    return min(local, lowest)


def _decide(
    wanted: Kind | None,
    parts: list[ComplexSamples],
    on: OnTimes,
    heard: _Heard,
) -> Decided:
    if wanted is not None:
        return Decided(kind=wanted, why="as asked for")
    if not parts:
        return Decided(kind=Kind.NONE, why="too weak in its channel to tell what it carries")
    seen = swings(parts, rate_hz=heard.rate_hz, noise_power=heard.noise_power)
    return classify(seen, times_on=on.times, keyed=on.keyed, longest_on_s=on.longest_s)


def _baseband(
    kind: Kind, parts: list[ComplexSamples], heard: _Heard, *, mean_hz: float, top_hz: float
) -> Baseband:
    if kind is Kind.AM:
        return amplitude_baseband(
            parts, rate_hz=heard.rate_hz, noise_power=heard.noise_power, top_hz=top_hz
        )
    return frequency_baseband(parts, rate_hz=heard.rate_hz, mean_hz=mean_hz, top_hz=top_hz)
