"""What frequency modulation adds to an oscillator's phase: tones, and a sound like speech."""

import numpy as np

from sniff.model import Doubles
from sniff.sources.bench.clock import ChunkTime
from sniff.sources.bench.grid import ROW, hermite, linear
from sniff.sources.bench.schema import Tone

_PITCH_HZ = 118.0
_HARMONICS = np.arange(3, 27)  # 350 Hz ... 3.1 kHz, the band of a telephone
_FORMANTS = ((500.0, 200.0, 1.0), (1500.0, 300.0, 0.4), (2500.0, 400.0, 0.15))  # Hz, width, weight
_SYLLABLES_HZ = (3.7, 0.83)
_CREST = 3.0
"""Peak over effective value that is taken for the sound."""

_KNOTS_PER_S = 60e3
"""Knots for speech: at 3.1 kHz the interpolation is then off by 3e-5 of a component."""


def sine(cycles: Doubles) -> Doubles:
    """Sine of a phase in cycles, to single precision."""
    turn = (cycles - np.rint(cycles)).astype(np.float32)
    return np.asarray(np.sin(turn * np.float32(2 * np.pi)), np.float64)


def tone_cycles(tone: Tone, time: ChunkTime) -> Doubles:
    """Phase, in cycles, that a tone adds to each sample of a chunk.

    A deviation ``D cos(2 pi f t)`` integrates to ``D / (2 pi f) sin(2 pi f t)`` cycles.
    """
    audio = linear(tone.audio_hz * time.true_s, ROW)
    return tone.deviation_hz / (2 * np.pi * tone.audio_hz) * sine(audio)


class Speech:
    """A voice without words: harmonics of a gliding pitch, formants, syllables.

    A function of time alone, so that it goes on where it was after every retuning.

    Parameters
    ----------
    deviation_hz : float
        About the peak deviation in the loudest syllables, Hz.
    rng : Generator
        For the phases.
    """

    def __init__(self, deviation_hz: float, rng: np.random.Generator) -> None:
        audio_hz = _PITCH_HZ * _HARMONICS
        shape = sum(w / (1 + ((audio_hz - f) / width) ** 2) for f, width, w in _FORMANTS)
        weight = np.asarray(shape)
        weight *= deviation_hz / _CREST / np.sqrt(np.sum(weight**2) / 2)
        self._weight = weight * np.exp(2j * np.pi * rng.random(weight.size))
        self._glide = tuple(rng.random(2).tolist())
        self._syllable = tuple(rng.random(2).tolist())

    def cycles(self, time: ChunkTime) -> Doubles:
        """Phase, in cycles, that it adds to each sample of a chunk."""
        step = ROW
        while step > 1 and time.rate_hz / step < _KNOTS_PER_S:
            step //= 2
        inner_s = linear(time.true_s, ROW)[::step]
        knots_s = np.append(inner_s, time.true_s[-1])
        values, hz = self.at(knots_s)
        return hermite(values, hz * step / time.rate_hz, step)

    def at(self, true_s: Doubles) -> tuple[Doubles, Doubles]:
        """Phase in cycles and deviation in Hz at these times."""
        pitch_cycles, pitch_hz = self._pitch(true_s)
        turn = np.exp(2j * np.pi * (pitch_cycles - np.rint(pitch_cycles)))
        power = turn ** int(_HARMONICS[0])
        sound = np.zeros_like(turn)  # of the frequency, its harmonics turning as the pitch does
        phase = np.zeros_like(turn)  # of the phase, each harmonic divided by its frequency
        for harmonic, weight in zip(_HARMONICS.tolist(), self._weight.tolist(), strict=True):
            sound += weight * power
            phase += weight / (2j * np.pi * _PITCH_HZ * harmonic) * power
            power = power * turn
        loudness, change = self._loudness(true_s)
        deviation_hz = change * phase.real + loudness * sound.real * pitch_hz / _PITCH_HZ
        return loudness * phase.real, deviation_hz

    def _pitch(self, true_s: Doubles) -> tuple[Doubles, Doubles]:
        cycles = _PITCH_HZ * true_s
        hz = np.full_like(true_s, _PITCH_HZ)
        for rate_hz, depth_hz, start in zip((0.37, 1.3), (22.0, 9.0), self._glide, strict=True):
            angle = 2 * np.pi * (rate_hz * true_s + start)
            hz = hz + depth_hz * np.cos(angle)
            cycles = cycles + depth_hz / (2 * np.pi * rate_hz) * np.sin(angle)
        return cycles, hz

    def _loudness(self, true_s: Doubles) -> tuple[Doubles, Doubles]:
        """0 to 1, with pauses, and its change per second."""
        value = np.full_like(true_s, 0.3)
        change = np.zeros_like(true_s)
        for rate_hz, weight, start in zip(_SYLLABLES_HZ, (0.45, 0.25), self._syllable, strict=True):
            angle = 2 * np.pi * (rate_hz * true_s + start)
            value = value + weight * np.sin(angle)
            change = change + weight * 2 * np.pi * rate_hz * np.cos(angle)
        heard = np.maximum(value, 0.0)
        # A smooth step, so that a syllable neither begins nor ends with a click.
        return heard**2 * (3 - 2 * heard), 6 * heard * (1 - heard) * change
