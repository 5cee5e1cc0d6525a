"""Turning samples onto the grid: the shift theorem, over blocks and gaps."""

import numpy as np
import pytest

from sniff.model import IQBlock
from sniff.resolution import SpectrumSettings
from sniff.spectrum import Welch
from sniff.sweep.grid import HopSpectrum, grid_bin, merged, turned

RATE_HZ = 48e3
BIN_HZ = 100.0


def blocks_of(
    samples: np.ndarray[tuple[int], np.dtype[np.complex128]], center_hz: float
) -> list[IQBlock]:
    parts, index = [], 500
    for part in np.array_split(samples, [1_000, 1_001, 7_777]):
        parts.append(
            IQBlock(
                samples=part.astype(np.complex64), rate_hz=RATE_HZ, center_hz=center_hz, index=index
            )
        )
        index += part.size
    return parts


@pytest.mark.parametrize("center_hz", [2_000_049.0, 1_999_951.5, 2_000_000.0])
def test_a_tone_keeps_its_frequency_to_a_thousandth_of_a_bin(center_hz: float) -> None:
    """Fourier's shift theorem: the tone at 2 003 700 Hz falls on point 20 037 exactly, and with a
    Hann window its neighbours read a quarter (Harris 1978: 6.02 dB) on either side."""
    tone_hz = 2_003_700.0
    t = np.arange(48_000) / RATE_HZ
    raw = blocks_of(0.1 * np.exp(2j * np.pi * (tone_hz - center_hz) * t), center_hz)
    assert grid_bin(center_hz, BIN_HZ) == 20_000
    welch = Welch(SpectrumSettings(segment=480), rate_hz=RATE_HZ, center_hz=2_000_000.0)
    for block in turned(raw, bin_hz=BIN_HZ):
        assert block.center_hz == 2_000_000.0
        welch.push(block)
    power = welch.result().tone_power
    top = int(np.argmax(power))
    assert 20_000 - 240 + top == 20_037
    assert power[top] == pytest.approx(0.01, rel=1e-4)
    assert power[top - 1] == pytest.approx(power[top] / 4.0, rel=1e-3)
    assert power[top + 1] == pytest.approx(power[top] / 4.0, rel=1e-3)


def test_the_phase_runs_on_over_a_gap() -> None:
    center_hz = 2_000_030.0
    index = np.arange(20_000)
    keep = (index < 6_000) | (index >= 9_500)
    tone = np.exp(2j * np.pi * 1_234.5 * index / RATE_HZ)
    raw = [
        IQBlock(samples=tone[s].astype(np.complex64), rate_hz=RATE_HZ, center_hz=center_hz, index=i)
        for s, i in ((slice(0, 6_000), 0), (slice(9_500, 20_000), 9_500))
    ]
    joined = np.concatenate([block.samples for block in turned(raw, bin_hz=BIN_HZ)])
    wanted = np.exp(2j * np.pi * (1_234.5 + 30.0) * index[keep] / RATE_HZ)
    assert np.abs(joined - wanted).max() < 1e-5


def test_two_passes_average_by_their_weight_and_keep_the_highest() -> None:
    def hop(level: float, hold: float, averages: float) -> HopSpectrum:
        return HopSpectrum(
            center_bin=7,
            center_hz=700.0,
            psd=np.full(4, level, dtype=np.float32),
            max_hold=np.full(4, hold, dtype=np.float32),
            averages=int(averages),
            effective_averages=averages,
        )

    both = merged(hop(1.0, 9.0, 10.0), hop(4.0, 5.0, 20.0))
    assert both.psd == pytest.approx(3.0)
    assert both.max_hold == pytest.approx(9.0)
    assert both.effective_averages == 30.0
