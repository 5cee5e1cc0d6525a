"""Arithmetic of these tests' own: nothing here comes from the rooms that measure."""

from typing import Any

import numpy as np
import numpy.typing as npt

from sniff.sources.bench.schema import Dongle, Emitter, Line, Scene
from sniff.sources.bench.source import BenchSource

Samples = npt.NDArray[Any]

QUIET = {
    "noise_dbfs_per_hz": -220.0,
    "late_noise_dbfs_per_hz": -220.0,
    "phase_noise_dbc_per_hz": -220.0,
    "spur_dbfs": -220.0,
    "half_spur_dbfs": -220.0,
    "dc_i_lsb": 0.0,
    "dc_q_lsb": 0.0,
}
"""A dongle of which only the converter and the clock are left."""


def quiet_dongle(**changes: Any) -> Dongle:
    return Dongle(**{**QUIET, **changes})


def carrier(hz: float, level_dbfs: float = -6.0, **more: Any) -> Emitter:
    return Emitter(name="carrier", oscillator_hz=hz, lines=(Line(level_dbfs=level_dbfs),), **more)


def bench(
    *emitters: Emitter,
    dongle: Dongle | None = None,
    rate_hz: float = 240e3,
    center_hz: float = 83.5e6,
    gain_db: float | None = 40.2,
    **more: Any,
) -> BenchSource:
    scene = Scene(
        title="test",
        rate_hz=rate_hz,
        center_hz=center_hz,
        gain_db=gain_db,
        dongle=dongle or quiet_dongle(),
        emitters=emitters,
    )
    return BenchSource(scene, name="bench:test", **more)


def heard(source: BenchSource, seconds: float) -> Samples:
    return np.concatenate([block.samples for block in source.stream(seconds=seconds)])


def center_hz(source: BenchSource) -> float:
    return source.info.centers_hz[0]


def projection(samples: Samples, rate_hz: float, hz: float) -> complex:
    """Complex amplitude at one frequency under a Hann window."""
    window = np.hanning(samples.size)
    turning = np.exp(-2j * np.pi * hz / rate_hz * np.arange(samples.size))
    return complex(np.sum(samples * window * turning) / np.sum(window))


def level_dbfs(samples: Samples, rate_hz: float, hz: float) -> float:
    return 20 * float(np.log10(abs(projection(samples, rate_hz, hz))))


def frequency_hz(samples: Samples, rate_hz: float, near_hz: float) -> float:
    """Frequency of a line from the phase it gains between the two halves of the samples."""
    half = samples.size // 2
    found_hz = near_hz
    for _ in range(3):
        first = projection(samples[:half], rate_hz, found_hz)
        later = projection(samples[half : 2 * half], rate_hz, found_hz)
        # Each projection counts from its own first sample: what a line at `found_hz` turns from
        # the first half to the second is taken off.
        expected = np.exp(2j * np.pi * found_hz / rate_hz * half)
        gained = float(np.angle(later / first / expected)) / (2 * np.pi)
        found_hz += gained * rate_hz / half
    return found_hz


def strongest_hz(samples: Samples, rate_hz: float) -> float:
    """Frequency of the strongest line, to a bin."""
    power = np.abs(np.fft.fft(samples * np.hanning(samples.size)))
    return float(np.fft.fftfreq(samples.size, 1 / rate_hz)[int(np.argmax(power))])


def density_dbfs_per_hz(
    samples: Samples, rate_hz: float, from_hz: float, to_hz: float, bins: int = 1024
) -> float:
    """Mean power density within a part of the band."""
    rows = samples[: samples.size // bins * bins].reshape(-1, bins)
    window = np.hanning(bins)
    power = np.mean(np.abs(np.fft.fft(rows * window, axis=1)) ** 2, axis=0)
    density = power / (rate_hz * np.sum(window**2))
    hz = np.fft.fftfreq(bins, 1 / rate_hz)
    return 10 * float(np.log10(np.mean(density[(hz >= from_hz) & (hz <= to_hz)])))
