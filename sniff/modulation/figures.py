"""The figures of a modulation: deviation or depth, tones, and how clean they are."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from sniff.modulation.baseband import Baseband, audio_spectrum
from sniff.modulation.subtones import (
    Pilot,
    Squelch,
    find_hum,
    find_pilot,
    find_squelch,
)
from sniff.modulation.tones import (
    AudioBand,
    AudioLines,
    Period,
    Tone,
    average_period,
    dominant_tone_hz,
    measure_tone,
    sinad_db,
)

PEAK_SHARE = 0.999
"""Share of the time below the peak of a modulation that is no tone."""

_CLIP_OFF = 0.3  # of the top: from there on the baseband is receiver noise alone


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What a baseband holds, in its own unit: Hz of deviation, or depth (1 = 100 %).

    Attributes
    ----------
    positive, negative : float
        Peaks above and below the carrier, both as sizes. Of a test tone those of its averaged
        period, with the amplitudes of other tones added; otherwise exceeded a thousandth of the
        time.
    by_tone : bool
        Which of the two.
    rms : float
        Effective value, the receiver's noise taken off.
    largest, largest_share : float
        Largest value over the capture, noise and all, and the share of the time below `positive`
        or `negative`, whichever is larger.
    audio : Tone or None
        The test tone.
    sinad_db : float or None
        Of the test tone in the audio band, dB.
    thd_percent : float or None
        Of the test tone: harmonics 2 to 10 as far as the baseband holds them.
    harmonics : int
        How many of them it holds.
    audio_top_hz : float
        Highest frequency of the audio: the tone's, else below which 99 % of its power lies, Hz.
    residual : float
        Effective value within the audio band that is neither test tone nor its harmonics, the
        receiver's noise taken off.
    hum : Tone or None
    squelch : Squelch or None
    pilot : Pilot or None
    """

    positive: float
    negative: float
    by_tone: bool
    rms: float
    largest: float
    largest_share: float
    audio: Tone | None
    sinad_db: float | None
    thd_percent: float | None
    harmonics: int
    audio_top_hz: float
    residual: float
    hum: Tone | None
    squelch: Squelch | None
    pilot: Pilot | None

    @property
    def peak(self) -> float:
        """The larger of the two peaks."""
        return max(self.positive, self.negative)


def figures(
    baseband: Baseband, band: AudioBand, *, noise_per_hz: float, angle: bool
) -> Figures | None:
    """Measure a baseband; None when it is too short.

    Parameters
    ----------
    baseband : Baseband
    band : AudioBand
        For SINAD, THD and residual.
    noise_per_hz : float
        Noise density over carrier power, N0 / C, 1/Hz.
    angle : bool
        True for a frequency: its noise density is then ``f² N0 / C``, one-sided (Rice 1963), and
        ``N0 / C`` for an amplitude.
    """
    spectrum = audio_spectrum(baseband)
    if spectrum is None:
        return None
    lines = AudioLines(spectrum, baseband.scale)
    low_hz, high_hz = band.low_hz, min(band.high_hz, baseband.top_hz)
    squelch = find_squelch(baseband, lines) if angle else None
    pilot = find_pilot(baseband, lines, audio_top_hz=high_hz) if angle else None
    hum = find_hum(baseband, lines)
    beside = tuple(found.tone.frequency_hz for found in (squelch, pilot) if found is not None)
    near_hz = dominant_tone_hz(lines, band, without=beside)
    tone = None if near_hz is None else measure_tone(baseband, lines, near_hz)
    period: Period | None = None
    sinad: float | None = None
    if pilot is not None and tone is not None and _is_multiple(pilot, tone):
        pilot, beside = None, beside[:-1]
    audio_power = _less_noise(lines, low_hz, high_hz, noise_per_hz, angle)
    residual = audio_power
    if tone is not None:
        sinad = sinad_db(lines, tone.frequency_hz, band, without=beside)
        period = average_period(baseband, lines, tone)
        for k in range(1, int(high_hz / tone.frequency_hz) + 1):
            residual -= lines.tone_power(k * tone.frequency_hz)
    for found in (squelch, pilot):
        if found is not None and low_hz <= found.tone.frequency_hz <= high_hz:
            residual -= lines.tone_power(found.tone.frequency_hz)
    joined = np.concatenate(baseband.parts)
    if period is not None:
        values = period.values
        others = sum(found.tone.amplitude for found in (squelch, pilot) if found is not None)
        positive, negative = float(values.max()) + others, float(-values.min()) + others
    else:
        share = 1.0 - PEAK_SHARE
        positive, negative = (
            float(value)
            for value in (np.quantile(joined, 1.0 - share / 2), -np.quantile(joined, share / 2))
        )
    peak = max(positive, negative)
    return Figures(
        positive=positive,
        negative=negative,
        by_tone=tone is not None,
        rms=sqrt(max(0.0, _less_noise(lines, 0.0, baseband.top_hz, noise_per_hz, angle))),
        largest=float(np.abs(joined).max()),
        largest_share=float((np.abs(joined) <= peak).mean()),
        audio=tone,
        sinad_db=sinad,
        thd_percent=(
            None if tone is None or period is None else period.thd_percent(tone.frequency_hz, band)
        ),
        harmonics=0 if period is None else period.harmonics,
        audio_top_hz=high_hz if tone is None else tone.frequency_hz,
        residual=sqrt(max(0.0, residual)),
        hum=hum,
        squelch=squelch,
        pilot=pilot,
    )


def _is_multiple(pilot: Pilot, tone: Tone) -> bool:
    ratio = pilot.tone.frequency_hz / tone.frequency_hz
    return pilot.name == "other" and abs(ratio - round(ratio)) < 0.002


def _less_noise(
    lines: AudioLines, low_hz: float, high_hz: float, noise_per_hz: float, angle: bool
) -> float:
    noise = (
        noise_per_hz * (high_hz**3 - low_hz**3) / 3.0
        if angle
        else noise_per_hz * (high_hz - low_hz)
    )
    return lines.power(low_hz, high_hz) - noise
