"""Tones in a baseband: where they are, how strong, and how clean the test tone is."""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles, Spectrum
from sniff.modulation.baseband import Baseband
from sniff.refine import refine
from sniff.zoom import MIN_HOP, Zoom

_LOBE_BINS = 5  # of a Blackman-Harris window: 4, and one for a tone between bins
_NOTCH = 0.005  # of the tone's frequency: a generator's own wander belongs to the tone
_ROUND = (12, 60)  # bins about a tone from which its noise is told
_TONE_SHARE = 0.5  # of the audio's power, from which on a line is a test tone: 3 dB SINAD
_HARMONICS = 10
_GRID = 512
_MOST_AVERAGED = 2**20
_SURE = 9.0  # power over that of noise alone, exceeded by it once in 8,000 (exponential)
_FRAMES_HZ = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """One tone of a baseband.

    Attributes
    ----------
    frequency_hz, u_hz : float
        By the source's own clock, and standard uncertainty (k = 1), Hz.
    amplitude : float
        Peak value, in the baseband's unit: Hz of deviation, or depth.
    over_noise_db : float
        Its power over that of the noise in one RBW, dB.
    """

    frequency_hz: float
    u_hz: float
    amplitude: float
    over_noise_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AudioBand:
    """In which band, and behind which filter, audio is judged.

    Attributes
    ----------
    low_hz, high_hz : float
        Hz.
    deemphasis_s : float
        Time constant; 0 for none.
    """

    low_hz: float
    high_hz: float
    deemphasis_s: float = 0.0

    def gain(self, f_hz: Doubles) -> Doubles:
        """Power gain of the de-emphasis: ``1 / (1 + (2 pi f tau)²)`` (ITU-R BS.450-3, 2)."""
        return np.asarray(1.0 / (1.0 + np.square(2.0 * pi * f_hz * self.deemphasis_s)))


class AudioLines:
    """The power in a baseband's spectrum, line by line.

    Parameters
    ----------
    spectrum : Spectrum
        From `audio_spectrum`.
    scale : float
        Unit of the samples it was made of.
    """

    def __init__(self, spectrum: Spectrum, scale: float) -> None:
        half = spectrum.psd.size // 2
        self.density: Doubles = 2.0 * scale**2 * spectrum.psd[half:]
        self.density[0] /= 2.0
        self.bin_hz = spectrum.bin_hz
        self.rbw_hz = spectrum.rbw_hz
        self.f_hz: Doubles = np.arange(self.density.size, dtype=np.float64) * self.bin_hz

    def bins(self, low_hz: float, high_hz: float) -> slice:
        """Bins from `low_hz` to `high_hz`."""
        first = int(np.ceil(low_hz / self.bin_hz))
        last = int(np.floor(high_hz / self.bin_hz))
        return slice(max(first, 0), min(last + 1, self.density.size))

    def power(self, low_hz: float, high_hz: float) -> float:
        """Mean square between two frequencies."""
        return float(self.density[self.bins(low_hz, high_hz)].sum()) * self.bin_hz

    def about(self, hz: float) -> tuple[float, float]:
        """Bounds of what belongs to a tone."""
        half_hz = max(_LOBE_BINS * self.bin_hz, _NOTCH * hz)
        return hz - half_hz, hz + half_hz

    def noise_about(self, hz: float) -> float:
        """Density beside a tone, median of the bins on both sides."""
        at = round(hz / self.bin_hz)
        sides = np.concatenate(
            [
                self.density[max(1, at - _ROUND[1]) : max(1, at - _ROUND[0])],
                self.density[at + _ROUND[0] : at + _ROUND[1]],
            ]
        )
        return float(np.median(sides)) if sides.size else 0.0

    def tone_power(self, hz: float) -> float:
        """Mean square of a tone, the noise beneath it taken off."""
        low_hz, high_hz = self.about(hz)
        chosen = self.bins(low_hz, high_hz)
        over = self.density[chosen] - self.noise_about(hz)
        return max(0.0, float(over.sum()) * self.bin_hz)

    def strongest_hz(self, low_hz: float, high_hz: float) -> float | None:
        """The highest bin between two frequencies."""
        chosen = self.bins(low_hz, high_hz)
        if chosen.stop <= chosen.start:
            return None
        return float(self.f_hz[chosen.start + int(self.density[chosen].argmax())])

    def over_noise_db(self, hz: float) -> float:
        """A tone's power over that of the noise in one RBW, dB."""
        noise = max(self.noise_about(hz) * self.rbw_hz, 1e-300)
        return float(10.0 * np.log10(max(self.tone_power(hz) / noise, 1e-30)))


def measure_tone(baseband: Baseband, lines: AudioLines, near_hz: float) -> Tone | None:
    """A tone near a frequency, refined beyond the spectrum's bins; None when it is not one line."""
    block = baseband.longest_block()
    hop = max(MIN_HOP, min(block.samples.size // 16, round(baseband.rate_hz / _FRAMES_HZ)))
    zoom = Zoom([near_hz], hop=hop)
    stretches = []
    for (stretch,) in [*zoom.push(block), *zoom.finish()]:
        stretches.append(stretch)
    if not stretches:
        return None
    first = stretches[0]
    # Half of a real line's one-sided density lies on either side, in units of the blocks' scale.
    density = lines.noise_about(near_hz) / 2.0 / baseband.scale**2
    found = refine(
        first,
        noise_density=max(density, 1e-30),
        search_hz=min(2.0 * lines.rbw_hz, first.rate_hz / 2.0),
    )
    if found is None:
        return None
    return Tone(
        frequency_hz=found.indicated_hz,
        u_hz=found.u_hz,
        amplitude=sqrt(2.0 * lines.tone_power(found.indicated_hz)),
        over_noise_db=lines.over_noise_db(found.indicated_hz),
    )


def dominant_tone_hz(
    lines: AudioLines, band: AudioBand, *, without: tuple[float, ...] = ()
) -> float | None:
    """The frequency of a tone that makes up most of the audio, or None."""
    hz = lines.strongest_hz(band.low_hz, band.high_hz)
    if hz is None:
        return None
    share = _power(lines, *lines.about(hz), band) / max(_total(lines, band, without), 1e-300)
    return hz if share >= _TONE_SHARE and lines.over_noise_db(hz) > 10.0 else None


def sinad_db(
    lines: AudioLines, tone_hz: float, band: AudioBand, *, without: tuple[float, ...] = ()
) -> float:
    """``(S + N + D) / (N + D)`` of a test tone in the audio band (ANSI/TIA-603, from memory), dB.

    Parameters
    ----------
    lines : AudioLines
    tone_hz : float
    band : AudioBand
        Noise and distortion within it count.
    without : tuple of float
        Tones that are no part of the audio: pilots and squelch tones, Hz.
    """
    low_hz, high_hz = lines.about(tone_hz)
    total = _total(lines, band, without)
    rest = max(total - _power(lines, low_hz, high_hz, band), 1e-300)
    # What lies under the tone's own bins is noise too, as much as beside it.
    under = lines.noise_about(tone_hz) * (high_hz - low_hz)
    rest += under * float(band.gain(np.array([tone_hz]))[0])
    return float(10.0 * np.log10(total / rest))


def _power(lines: AudioLines, low_hz: float, high_hz: float, band: AudioBand) -> float:
    chosen = lines.bins(low_hz, high_hz)
    return float((lines.density[chosen] * band.gain(lines.f_hz[chosen])).sum()) * lines.bin_hz


def _total(lines: AudioLines, band: AudioBand, without: tuple[float, ...]) -> float:
    total = _power(lines, band.low_hz, band.high_hz, band)
    for hz in without:
        low_hz, high_hz = lines.about(hz)
        low_hz, high_hz = max(low_hz, band.low_hz), min(high_hz, band.high_hz)
        if low_hz < high_hz:
            total -= _power(lines, low_hz, high_hz, band)
    return total


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Period:
    """One period of a test tone with its harmonics, noise and other tones averaged out.

    Attributes
    ----------
    amplitudes : ndarray of complex128, shape (n,)
        Of the tone and its harmonics 2, 3, …; zero where no more than noise was found.
    """

    amplitudes: npt.NDArray[np.complex128]

    @property
    def harmonics(self) -> int:
        """How many harmonics beyond the tone were held."""
        return self.amplitudes.size - 1

    @property
    def values(self) -> Doubles:
        """Over one period, shape (512,)."""
        bins = np.zeros(_GRID // 2 + 1, np.complex128)
        bins[1 : self.amplitudes.size + 1] = self.amplitudes * _GRID / 2.0
        return np.asarray(np.fft.irfft(bins, _GRID), dtype=np.float64)

    def thd_percent(self, tone_hz: float, band: AudioBand) -> float:
        """Effective value of the harmonics over that of the tone (THD_F), %."""
        hz = np.asarray([k * tone_hz for k in range(1, self.amplitudes.size + 1)], np.float64)
        sizes = np.asarray(np.abs(self.amplitudes), np.float64)
        power = np.square(sizes) * band.gain(hz)
        return 100.0 * sqrt(float(power[1:].sum()) / max(float(power[0]), 1e-300))


def average_period(baseband: Baseband, lines: AudioLines, tone: Tone) -> Period:
    """Average a test tone's period over the longest part, or a million samples of it.

    The tone's phase is followed in time, so that a generator's wander does not smear it; each
    harmonic is then a coherent mean over the whole part, which noise reaches with 1 / T only.

    Parameters
    ----------
    baseband : Baseband
    lines : AudioLines
    tone : Tone
    """
    longest = max(baseband.parts, key=lambda part: part.size)[:_MOST_AVERAGED]
    hop = max(MIN_HOP, min(longest.size // 16, round(baseband.rate_hz / _FRAMES_HZ)))
    zoom = Zoom([tone.frequency_hz], hop=hop)
    block = baseband.longest_block(_MOST_AVERAGED)
    stretches = [stretch for (stretch,) in [*zoom.push(block), *zoom.finish()]]
    t = block.start_s + np.arange(longest.size) / baseband.rate_hz
    times = np.concatenate([stretch.times_s for stretch in stretches])
    phase = np.unwrap(np.angle(np.concatenate([stretch.values for stretch in stretches])))
    angle = 2.0 * pi * tone.frequency_hz * t + np.interp(t, times, phase)
    # Whole periods only: else the mean of the tone itself leaks into its harmonics.
    periods = int((angle[-1] - angle[0]) / (2.0 * pi))
    size = int(np.searchsorted(angle, angle[0] + 2.0 * pi * max(periods, 1)))
    turn = np.exp(-1j * angle[:size])
    seconds = size / baseband.rate_hz
    amplitudes = []
    power = np.ones_like(turn)
    for k in range(1, _HARMONICS + 1):
        hz = k * tone.frequency_hz
        if k > 1 and lines.about(hz)[1] > baseband.top_hz:
            break
        power = power * turn
        amplitude = 2.0 * np.vdot(np.conj(power), longest[:size]) / size
        # The mean of noise of one-sided density S over T has a power of 2 S / T there.
        noise = 2.0 * lines.noise_about(hz) / seconds
        amplitudes.append(amplitude if k == 1 or abs(amplitude) ** 2 > _SURE * noise else 0.0)
    return Period(amplitudes=np.array(amplitudes, dtype=np.complex128))
