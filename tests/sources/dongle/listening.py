"""What a test wants to know of the blocks it heard."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from sniff.model import IQBlock


def gaps(blocks: Sequence[IQBlock]) -> list[tuple[int, int]]:
    """First missing sample and first one after, of each gap."""
    return [
        (before.end_index, after.index)
        for before, after in pairwise(blocks)
        if after.index != before.end_index
    ]


def joined(blocks: Iterable[IQBlock]) -> tuple[np.ndarray, float, float]:
    """Samples without a gap, rate and centre, Hz."""
    heard = list(blocks)
    assert gaps(heard) == []
    assert len({block.center_hz for block in heard}) == 1
    samples = np.concatenate([block.samples for block in heard])
    return samples, heard[0].rate_hz, heard[0].center_hz


def tone(blocks: Iterable[IQBlock]) -> tuple[float, float]:
    """Indicated frequency, Hz, and level, dBFS, of the strongest line.

    The frequency is that of the largest bin, refined by the turn of phase from the first half to
    the second.
    """
    samples, rate_hz, center_hz = joined(blocks)
    half = samples.size // 2
    window = np.hanning(half)
    first = np.fft.fft(samples[:half] * window)
    second = np.fft.fft(samples[half : 2 * half] * window)
    peak = int(np.argmax(np.abs(first)))
    # Between the halves the bin's own frequency makes whole turns.
    turn = np.angle(second[peak] / first[peak]) / (2 * np.pi)
    frequency_hz = (np.fft.fftfreq(half)[peak] + turn / half) * rate_hz
    level = (
        np.abs(
            np.vdot(np.exp(2j * np.pi * frequency_hz / rate_hz * np.arange(samples.size)), samples)
        )
        / samples.size
    )
    return center_hz + frequency_hz, 20 * float(np.log10(level))
