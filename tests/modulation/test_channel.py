"""The channel filter against what a filter of its description must do."""

import numpy as np
import pytest

from sniff.errors import UsageError
from sniff.model import IQBlock
from sniff.modulation.channel import ChannelFilter, widest_hz
from tests.signals import block, noise, tone

RATE_HZ = 240e3
LINE_HZ = 100e6 - 31_700.0


def through(samples: np.ndarray, *, width_hz: float, pieces: int = 1) -> list[IQBlock]:
    channel = ChannelFilter(LINE_HZ, width_hz=width_hz, rate_hz=RATE_HZ, center_hz=100e6)
    made: list[IQBlock] = []
    index = 0
    for part in np.array_split(samples, pieces):
        made += channel.push(block(part, rate_hz=RATE_HZ, index=index))
        index += part.size
    return made


def joined(blocks: list[IQBlock]) -> np.ndarray:
    return np.concatenate([part.samples for part in blocks])


@pytest.mark.parametrize("at", [-0.5, -0.31, 0.0, 0.2, 0.5])
def test_a_tone_anywhere_in_the_channel_keeps_its_level_and_its_phase(at: float) -> None:
    offset_hz = LINE_HZ - 100e6 + at * 12_500.0
    samples = tone(48_000, offset_hz=offset_hz, rate_hz=RATE_HZ, phase=0.4)
    blocks = through(samples, width_hz=12_500.0)
    t = blocks[0].index / blocks[0].rate_hz + np.arange(joined(blocks).size) / blocks[0].rate_hz
    expected = 0.3 * np.exp(1j * (2 * np.pi * at * 12_500.0 * t + 0.4))
    # 0.001 dB is 1.2e-4 of the amplitude.
    assert np.abs(joined(blocks) - expected).max() < 1.2e-4 * 0.3


def test_what_would_fold_into_the_channel_is_gone() -> None:
    channel = ChannelFilter(LINE_HZ, width_hz=12_500.0, rate_hz=RATE_HZ, center_hz=100e6)
    for fold in (1, -1, 3):
        offset_hz = LINE_HZ - 100e6 + fold * channel.rate_hz + 5_000.0
        left = joined(
            through(tone(48_000, offset_hz=offset_hz, rate_hz=RATE_HZ), width_hz=12_500.0)
        )
        assert np.abs(left).max() < 10 ** (-78 / 20) * 0.3


def test_it_does_not_matter_how_the_stream_is_cut_into_blocks() -> None:
    samples = noise(np.random.default_rng(3), 30_011, power=0.1)
    whole = through(samples, width_hz=25_000.0)
    pieces = through(samples, width_hz=25_000.0, pieces=37)
    assert whole[0].index == pieces[0].index
    np.testing.assert_allclose(joined(pieces), joined(whole), atol=1e-6)


def test_a_gap_in_the_stream_is_a_gap_in_the_channel_at_the_same_time() -> None:
    channel = ChannelFilter(LINE_HZ, width_hz=12_500.0, rate_hz=RATE_HZ, center_hz=100e6)
    samples = tone(24_000, offset_hz=LINE_HZ - 100e6, rate_hz=RATE_HZ)
    first = list(channel.push(block(samples, rate_hz=RATE_HZ)))
    after = list(channel.push(block(samples, rate_hz=RATE_HZ, index=100_001)))
    assert first[-1].end_index < after[0].index
    # Begins half a filter after the gap's end, to one output sample.
    assert after[0].start_s == pytest.approx(
        100_001 / RATE_HZ + 16 / channel.rate_hz, abs=1 / channel.rate_hz
    )


def test_its_noise_bandwidth_is_what_it_passes_of_white_noise() -> None:
    samples = noise(np.random.default_rng(5), 400_000, power=0.2)
    channel = ChannelFilter(LINE_HZ, width_hz=25_000.0, rate_hz=RATE_HZ, center_hz=100e6)
    power = float(np.mean(np.abs(joined(list(channel.push(block(samples, rate_hz=RATE_HZ))))) ** 2))
    assert power == pytest.approx(0.2 * channel.noise_bandwidth_hz / RATE_HZ, rel=0.02)
    assert 25_000.0 < channel.noise_bandwidth_hz < 1.3 * 25_000.0


def test_a_channel_wider_than_the_recording_is_refused() -> None:
    widest = widest_hz(RATE_HZ)
    ChannelFilter(LINE_HZ, width_hz=widest, rate_hz=RATE_HZ, center_hz=100e6)
    with pytest.raises(UsageError, match="wider than the recording"):
        ChannelFilter(LINE_HZ, width_hz=1.01 * widest, rate_hz=RATE_HZ, center_hz=100e6)
