"""Recordings of a fleet of transmitters, each with the error that is planted in it."""

from pathlib import Path

import numpy as np

from tests.signals import eight_bit, noise, tone
from tests.sources.recording.files import metadata, write_pair

RATE_HZ = 240e3
CENTER_HZ = 72.88e6
NOMINAL_HZ = 72.9e6


def write_set(folder: Path, stem: str, *, error_ppm: float, seed: int = 1) -> Path:
    """A tenth of a second of one carrier; returns the metadata's path."""
    folder.mkdir(parents=True, exist_ok=True)
    samples = int(0.1 * RATE_HZ)
    offset_hz = NOMINAL_HZ * (1 + error_ppm * 1e-6) - CENTER_HZ
    signal = tone(samples, offset_hz=offset_hz, rate_hz=RATE_HZ)
    signal += noise(np.random.default_rng(seed), samples, power=1e-4)
    codes = np.round(eight_bit(signal).view(np.float64) * 127.5 + 127.5).astype(np.uint8)
    document = metadata(
        {"core:sample_start": 0, "core:frequency": CENTER_HZ}, rate_hz=RATE_HZ, core__hw="dongle"
    )
    return write_pair(folder, document, codes, stem)
