"""Zoom: closed forms of a filtered tone, and independence of how the samples arrive."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.zoom import Zoom
from tests.signals import CENTER_HZ, RATE_HZ, block, noise, tone, zoomed


def test_a_tone_at_the_middle_is_a_constant_of_its_amplitude() -> None:
    zoom = Zoom([CENTER_HZ - 31_415.9], hop=128)
    samples = tone(20_000, offset_hz=-31_415.9, amplitude=0.25, phase=1.0)
    ((line,),) = zoomed(zoom, block(samples))
    values = line.values
    assert np.allclose(values, 0.25 * np.exp(1j), atol=2e-6)


def test_the_filter_falls_to_half_at_half_the_frame_rate() -> None:
    """A Hann window of n samples is down to one half, −6.02 dB, one bin off (Harris 1978)."""
    zoom = Zoom([CENTER_HZ], hop=128)
    ((line,),) = zoomed(zoom, block(tone(20_000, offset_hz=RATE_HZ / 128 / 2, amplitude=1.0)))
    assert np.allclose(np.abs(line.values), 0.5, atol=1e-3)


def test_two_lines_in_one_pass_are_as_if_alone() -> None:
    samples = noise(np.random.default_rng(1), 10_000, power=0.1)
    both = Zoom([CENTER_HZ + 1e4, CENTER_HZ - 2e4], hop=64)
    alone = Zoom([CENTER_HZ - 2e4], hop=64)
    ((_, second),) = zoomed(both, block(samples))
    ((only,),) = zoomed(alone, block(samples))
    assert np.allclose(second.values, only.values, atol=1e-6)


def test_the_sum_of_frames_is_the_plain_fourier_sum() -> None:
    samples = noise(np.random.default_rng(2), 6_400, power=0.1)
    zoom = Zoom([CENTER_HZ + 5_000.0], hop=64)
    ((line,),) = zoomed(zoom, block(samples))
    ours = line.values.sum() * 64
    inner = np.ones(samples.size)
    inner[:64], inner[-64:] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(64) + 0.5) / 64), 0
    inner[-64:] = inner[:64][::-1]
    plain = (inner * samples * np.exp(-2j * np.pi * 5_000.0 / RATE_HZ * np.arange(6_400))).sum()
    assert ours == pytest.approx(plain, rel=1e-4)


@settings(max_examples=40)
@given(cuts=st.lists(st.integers(1, 2_999), max_size=12, unique=True), hop=st.sampled_from([8, 33]))
def test_frames_do_not_depend_on_where_blocks_end(cuts: list[int], hop: int) -> None:
    samples = noise(np.random.default_rng(3), 3_000, power=0.1)
    whole, parts = (Zoom([CENTER_HZ + 777.0], hop=hop) for _ in range(2))
    edges = [0, *sorted(cuts), 3_000]
    blocks = [block(samples[first:last], index=first) for first, last in pairwise(edges)]
    ((at_once,),) = zoomed(whole, block(samples))
    ((in_parts,),) = zoomed(parts, *blocks)
    assert np.allclose(at_once.values, in_parts.values, atol=1e-6)


def test_stretches_follow_each_other_without_a_lost_frame() -> None:
    samples = tone(10_000, offset_hz=-7_000.0, amplitude=0.5, phase=2.0)
    blocks = [block(samples[at : at + 1_000], index=at) for at in range(0, 10_000, 1_000)]
    (one,), *rest = zoomed(Zoom([CENTER_HZ - 7_010.0], hop=16), *blocks)
    assert not rest
    stretches = zoomed(Zoom([CENTER_HZ - 7_010.0], hop=16, longest=100), *blocks)
    assert len(stretches) > 4
    joined = np.concatenate([line.values for (line,) in stretches])
    assert np.allclose(np.abs(joined), np.abs(one.values), atol=1e-6)
    times = np.concatenate([line.times_s for (line,) in stretches])
    assert np.allclose(times, one.times_s)
    for (line,) in stretches:
        turns = np.angle(line.values[1:] / line.values[:-1]) / (2 * np.pi)
        assert np.allclose(turns * line.rate_hz, 10.0, atol=0.5)


def test_a_long_gap_ends_the_stretch_instead_of_filling_memory() -> None:
    samples = tone(8_000, offset_hz=9_000.0, amplitude=0.5)
    zoom = Zoom([CENTER_HZ + 9_000.0], hop=32, longest=200)
    hour = round(3_600 * RATE_HZ)
    (before,), (after,) = zoomed(zoom, block(samples[:4_000]), block(samples[4_000:], index=hour))
    assert after.start_s == pytest.approx(3_600 + 32 / RATE_HZ)
    assert np.allclose(np.abs(before.values), 0.5, atol=1e-5)
    assert np.allclose(np.abs(after.values), 0.5, atol=1e-5)


@settings(max_examples=40)
@given(stop=st.integers(0, 1_500), lost=st.integers(1, 1_000))
def test_a_gap_leaves_unobserved_frames_and_keeps_the_time(stop: int, lost: int) -> None:
    samples = tone(4_000, offset_hz=9_000.0, amplitude=0.5)
    zoom = Zoom([CENTER_HZ + 9_000.0], hop=32)
    ((line,),) = zoomed(
        zoom, block(samples[:stop]), block(samples[stop + lost :], index=stop + lost)
    )
    values = line.values
    # A frame is right or unobserved, never made of samples from both sides.
    seen = np.isfinite(values)
    assert np.allclose(values[seen], 0.5, atol=1e-5)
    numbers = np.flatnonzero(~seen)
    touched = [m for m in range(values.size) if m * 32 < stop + lost and m * 32 + 64 > stop]
    assert set(touched) <= set(numbers)


def test_a_change_of_tuning_is_refused() -> None:
    zoom = Zoom([CENTER_HZ], hop=32)
    list(zoom.push(block(np.zeros(100, complex))))
    with pytest.raises(ValueError, match="rate or centre"):
        list(zoom.push(block(np.zeros(100, complex), index=100, center_hz=CENTER_HZ + 1)))
