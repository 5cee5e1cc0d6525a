"""Modulated carriers in closed form, independent of the simulated bench."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Complexes = npt.NDArray[np.complex128]
Doubles = npt.NDArray[np.float64]


def frequency_modulated(
    samples: int,
    *,
    rate_hz: float,
    offset_hz: float,
    tones: Sequence[tuple[float, float]] = (),
    swing_hz: Doubles | None = None,
    amplitude: float = 0.3,
    phase: float = 0.0,
) -> Complexes:
    """A carrier whose frequency swings by tones, (deviation Hz, audio Hz) each, which integrate
    to ``D / f sin`` in phase; or by any swing, summed up."""
    t = np.arange(samples) / rate_hz
    angle = 2 * np.pi * offset_hz * t + phase
    for number, (deviation_hz, audio_hz) in enumerate(tones):
        angle += deviation_hz / audio_hz * np.sin(2 * np.pi * audio_hz * t + number)
    if swing_hz is not None:
        angle += 2 * np.pi * np.cumsum(swing_hz) / rate_hz
    return np.asarray(amplitude * np.exp(1j * angle))


def speech_like(
    rng: np.random.Generator, samples: int, *, rate_hz: float, peak_hz: float, low_hz: float = 300.0
) -> Doubles:
    """Noise of the telephone band, falling from 500 Hz on, in syllables; peak is three times rms.

    Cut out of twice its length, so that it is not periodic over the take.
    """
    f = np.fft.rfftfreq(2 * samples, 1 / rate_hz)
    shape = ((f >= low_hz) & (f <= 3400.0)) / (1.0 + (f / 500.0) ** 2)
    parts = rng.standard_normal((f.size, 2)).view(np.complex128).ravel()
    sound = np.fft.irfft(shape * parts, 2 * samples)[samples // 2 : samples // 2 + samples]
    t = np.arange(samples) / rate_hz
    sound *= np.clip(0.5 + 0.5 * np.sin(2 * np.pi * (3.7 * t + rng.random())), 0.0, 1.0)
    return np.asarray(sound * (peak_hz / 3.0 / sound.std()))


def in_noise(
    rng: np.random.Generator,
    samples: Complexes,
    *,
    rate_hz: float,
    snr_db: float,
    width_hz: float,
    amplitude: float = 0.3,
) -> Complexes:
    """White noise added, so strong that in `width_hz` it is `snr_db` below the carrier."""
    power = amplitude**2 * 10 ** (-snr_db / 10) * rate_hz / width_hz
    parts = rng.standard_normal((samples.size, 2)) * np.sqrt(power / 2)
    return np.asarray(samples + parts.view(np.complex128).ravel())
