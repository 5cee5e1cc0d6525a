"""One carrier measured: what it carries, where it stands, how wide it is."""

from dataclasses import dataclass, replace

import numpy as np

from sniff.model import ComplexSamples, Doubles, Peak, Spectrum, Take
from sniff.modulation.bandwidth import Adjacent, Span, carson_hz, x_db_span
from sniff.modulation.baseband import (
    Baseband,
    amplitude_baseband,
    frequency_baseband,
)
from sniff.modulation.channel import ChannelFilter, widest_hz
from sniff.modulation.classify import WEAKEST_DB, Decided, Kind, classify, swings
from sniff.modulation.drift import (
    FrequencyCourse,
    Settling,
    drift_of,
    frequency_course,
    settling_of,
)
from sniff.modulation.evidence import Evidence
from sniff.modulation.extent import Extent
from sniff.modulation.figures import Figures, figures
from sniff.modulation.kept import KeptSamples
from sniff.modulation.mean_frequency import mean_frequencies
from sniff.modulation.on_times import OnTimes, on_times
from sniff.modulation.phase import PhaseSteps
from sniff.modulation.tones import AudioBand
from sniff.modulation.widths import WidthMeter
from sniff.peaks import Floor

NARROWEST_HZ = 10e3
"""Of a channel whose width the user does not state: sidebands of a voice, too weak to be seen, lie
within."""

UNMODULATED = "unmodulated carrier"
HIGHEST = "highest density"

NARROW_HZ = 30e3
"""Occupied bandwidth up to which a set counts as one for speech."""

_AROUND = 1.25  # channel over what stands out: the weaker sidebands beyond
_SPEECH_BAND_HZ = (300.0, 3000.0)
_PROGRAMME_BAND_HZ = (50.0, 15e3)
_SAMPLES_PER_MARK = 80.0  # the filter rings for 20 at either end
_BASEBAND_SHARE = 0.5  # of the channel


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierSettings:
    """How a carrier is to be measured.

    Attributes
    ----------
    kind : Kind or None
        What it carries; None to decide from the signal.
    width_hz : float or None
        Of the channel; None by what stands out of the noise.
    audio_band_hz : tuple of float or None
        In which audio is judged; None for 300 to 3,000 Hz where a set is narrow, and 50 Hz to
        15 kHz where it is wide (common practice, no source).
    deemphasis_s : float
        Time constant; 0 for none.
    x_db : float
        For the x-dB bandwidth.
    neighbours_hz : tuple of (float, float)
        Offset and width of adjacent channels.
    """

    kind: Kind | None = None
    width_hz: float | None = None
    audio_band_hz: tuple[float, float] | None = None
    deemphasis_s: float = 0.0
    x_db: float = 26.0
    neighbours_hz: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredCarrier:
    """A carrier on the uncorrected scale.

    Attributes
    ----------
    indicated_hz, u_indicated_hz : float
        Its frequency and standard uncertainty (k = 1), Hz.
    estimator, because : str
        How that was found, and why so.
    decided : Decided
    power : float
        While on, FS².
    snr_db : float
        Over the noise in the channel, dB.
    on : OnTimes
    channel : Span
        What was demodulated, Hz.
    drift_hz_per_s : float or None
    settling : Settling or None
    course : FrequencyCourse or None
        From `channel_zero_hz`.
    channel_zero_hz : float
        Indicated, Hz.
    band : AudioBand
    baseband : Baseband or None
        What it carries; None when it is too weak, too short or too wide to be demodulated.
    figures : Figures or None
    spectrum : Spectrum or None
        Of the channel and its neighbours.
    noise : ndarray of float64 or None
        Receiver noise in that, FS²/Hz.
    occupied, x_db : Span or None
    x_db_reference : str
        What the x dB are counted from: ``unmodulated carrier``, where the spectrum is of lines, or
        ``highest density``.
    carson_hz : float or None
    neighbours : tuple of Adjacent
    complete : bool
        False when the take was longer than what could be kept for demodulation.
    kept_s : float
        How much was kept, s.
    """

    indicated_hz: float
    u_indicated_hz: float
    estimator: str
    because: str
    decided: Decided
    power: float
    snr_db: float
    on: OnTimes
    channel: Span
    drift_hz_per_s: float | None
    settling: Settling | None
    course: FrequencyCourse | None
    channel_zero_hz: float
    band: AudioBand
    baseband: Baseband | None
    figures: Figures | None
    spectrum: Spectrum | None
    noise: Doubles | None
    occupied: Span | None
    x_db: Span | None
    x_db_reference: str
    carson_hz: float | None
    neighbours: tuple[Adjacent, ...]
    complete: bool
    kept_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Unmeasured:
    """Why a carrier that was seen could not be measured."""

    why: str


def channel_of(extent: Extent, *, rate_hz: float, center_hz: float, width_hz: float | None) -> Span:
    """Which channel to demodulate: what stands out and a quarter more, or the width asked for.

    Never beyond what the take holds.
    """
    half_hz = max(extent.middle_hz - extent.low_hz, extent.high_hz - extent.middle_hz)
    wanted_hz = width_hz or max(NARROWEST_HZ, 2.0 * _AROUND * half_hz)
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
    """
    rate_hz, center_hz = spectrum.rate_hz, spectrum.center_hz
    own = channel_of(extent, rate_hz=rate_hz, center_hz=center_hz, width_hz=settings.width_hz)
    zero_hz = (own.low_hz + own.high_hz) / 2.0
    density = _density(spectrum, floor, own)
    channel = ChannelFilter(zero_hz, width_hz=own.width_hz, rate_hz=rate_hz, center_hz=center_hz)
    noise_power = density * channel.noise_bandwidth_hz
    steps = PhaseSteps(channel.rate_hz, seconds=take.seconds)
    kept = KeptSamples(noise_power)
    meter = WidthMeter(
        own,
        channel_rate_hz=channel.rate_hz,
        neighbours_hz=settings.neighbours_hz,
        seconds=take.seconds,
        rate_hz=rate_hz,
        center_hz=center_hz,
    )
    for block in take.blocks():
        made = list(channel.push(block))
        for part in made:
            steps.push(part)
            kept.push(part)
        meter.push(block, made)
    runs = steps.runs()
    if not runs:
        return Unmeasured(why="the take is too short to cut a channel out of it; take more")
    on = on_times(runs, noise_power=noise_power, rate_hz=channel.rate_hz)
    short = on.keyed and on.longest_s * channel.rate_hz < _SAMPLES_PER_MARK
    if short and settings.width_hz is None and own.width_hz < widest_hz(rate_hz) / 1.5:
        return measure_carrier(
            take,
            spectrum=spectrum,
            floor=floor,
            extent=extent,
            peak=peak,
            settings=replace(settings, width_hz=1.2 * _SAMPLES_PER_MARK / on.longest_s),
        )
    if not on.runs:
        return Unmeasured(
            why=f"keyed too short to measure: on {on.times} times, at the longest "
            f"{on.longest_s * 1e3:.3g} ms; a wider --width, or longer marks"
        )
    snr_db = float(10.0 * np.log10(max(on.power, 1e-30) / max(noise_power, 1e-30)))
    if snr_db < WEAKEST_DB and peak is None:
        return Unmeasured(why="too weak in its channel, and no single line; more gain, or nearer")
    parts = kept.while_on(on) if snr_db >= WEAKEST_DB else []
    decided = _decide(settings.kind, parts, on, noise_power, channel.rate_hz)
    means = mean_frequencies([run.phase for run in on.runs], on.runs[0].step_s)
    evidence = Evidence(
        zero_hz=zero_hz,
        means=means,
        on=on,
        peak=peak,
        parts=parts,
        rate_hz=channel.rate_hz,
        noise_power=noise_power,
    )
    estimate, estimator, because = evidence.by(decided.kind)
    baseband, measured = None, None
    widths = meter.result(density, estimate.indicated_hz)
    occupied_hz = 0.0 if widths.occupied is None else widths.occupied.width_hz
    low_hz, high_hz = settings.audio_band_hz or (
        _SPEECH_BAND_HZ if occupied_hz <= NARROW_HZ else _PROGRAMME_BAND_HZ
    )
    top_hz = _BASEBAND_SHARE * own.width_hz
    band = AudioBand(
        low_hz=low_hz, high_hz=min(high_hz, top_hz), deemphasis_s=settings.deemphasis_s
    )
    if parts and not extent.cut and decided.kind is not Kind.KEYED:
        baseband = _baseband(
            decided.kind,
            parts,
            rate_hz=channel.rate_hz,
            mean_hz=estimate.indicated_hz - zero_hz,
            noise_power=noise_power,
            top_hz=top_hz,
        )
        measured = figures(
            baseband,
            band,
            noise_per_hz=density / on.power,
            angle=decided.kind is not Kind.AM,
        )
    lines = decided.kind is not Kind.FM or (measured is not None and measured.by_tone)
    reference = UNMODULATED if lines else HIGHEST
    x_db = None
    if widths.spectrum is not None and not extent.cut:
        x_db = x_db_span(
            widths.spectrum,
            own,
            x_db=settings.x_db,
            power=on.power * on.share if lines else None,
        )
    carson = None
    if measured is not None and decided.kind is Kind.FM:
        highest_hz = measured.audio_top_hz
        if measured.pilot is not None:
            highest_hz = max(highest_hz, measured.pilot.tone.frequency_hz)
        carson = carson_hz(peak_deviation_hz=measured.peak, audio_hz=highest_hz)
    course = frequency_course(on.runs) if parts else None
    began = on.keyed and on.runs[0].start_s - runs[0].start_s > 2.0 * on.runs[0].step_s
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
        drift_hz_per_s=drift_of(means, on.runs) if parts else None,
        settling=None if course is None or not began else settling_of(on.runs[0], course),
        course=course,
        channel_zero_hz=zero_hz,
        band=band,
        baseband=baseband,
        figures=measured,
        spectrum=widths.spectrum,
        noise=widths.noise,
        occupied=None if extent.cut else widths.occupied,
        x_db=x_db,
        x_db_reference=reference,
        carson_hz=carson,
        neighbours=widths.neighbours,
        complete=kept.complete,
        kept_s=sum(part.size for part in parts) / channel.rate_hz,
    )


def _density(spectrum: Spectrum, floor: Floor, own: Span) -> float:
    inside = (spectrum.frequencies_hz >= own.low_hz) & (spectrum.frequencies_hz <= own.high_hz)
    return (
        float(np.median(floor.density[inside])) if inside.any() else float(np.median(floor.density))
    )


def _decide(
    wanted: Kind | None,
    parts: list[ComplexSamples],
    on: OnTimes,
    noise_power: float,
    rate_hz: float,
) -> Decided:
    if wanted is not None:
        return Decided(kind=wanted, why="as asked for")
    if not parts:
        return Decided(kind=Kind.NONE, why="too weak in its channel to tell what it carries")
    seen = swings(parts, rate_hz=rate_hz, noise_power=noise_power)
    return classify(seen, times_on=on.times, keyed=on.keyed, longest_on_s=on.longest_s)


def _baseband(
    kind: Kind,
    parts: list[ComplexSamples],
    *,
    rate_hz: float,
    mean_hz: float,
    noise_power: float,
    top_hz: float,
) -> Baseband:
    if kind is Kind.AM:
        return amplitude_baseband(parts, rate_hz=rate_hz, noise_power=noise_power, top_hz=top_hz)
    return frequency_baseband(parts, rate_hz=rate_hz, mean_hz=mean_hz, top_hz=top_hz)
