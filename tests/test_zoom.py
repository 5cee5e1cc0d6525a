"""Zoom: closed forms of a filtered tone, and independence of how the samples arrive."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.zoom import Zoom
from tests.signals import CENTER_HZ, RATE_HZ, block, noise, tone


def test_a_tone_at_the_middle_is_a_constant_of_its_amplitude() -> None:
    zoom = Zoom([CENTER_HZ - 31_415.9], hop=128)
    zoom.push(block(tone(20_000, offset_hz=-31_415.9, amplitude=0.25, phase=1.0)))
    values = zoom.results()[0].values
    assert np.allclose(values, 0.25 * np.exp(1j), atol=2e-6)


def test_the_filter_falls_to_half_at_half_the_frame_rate() -> None:
    """A Hann window of n samples is down to one half, −6.02 dB, one bin off (Harris 1978)."""
    zoom = Zoom([CENTER_HZ], hop=128)
    zoom.push(block(tone(20_000, offset_hz=RATE_HZ / 128 / 2, amplitude=1.0)))
    assert np.allclose(np.abs(zoom.results()[0].values), 0.5, atol=1e-3)


def test_two_lines_in_one_pass_are_as_if_alone() -> None:
    samples = noise(np.random.default_rng(1), 10_000, power=0.1)
    both = Zoom([CENTER_HZ + 1e4, CENTER_HZ - 2e4], hop=64)
    alone = Zoom([CENTER_HZ - 2e4], hop=64)
    for zoom in (both, alone):
        zoom.push(block(samples))
    assert np.allclose(both.results()[1].values, alone.results()[0].values, atol=1e-6)


def test_the_sum_of_frames_is_the_plain_fourier_sum() -> None:
    samples = noise(np.random.default_rng(2), 6_400, power=0.1)
    zoom = Zoom([CENTER_HZ + 5_000.0], hop=64)
    zoom.push(block(samples))
    ours = zoom.results()[0].values.sum() * 64
    inner = np.ones(samples.size)
    inner[:64], inner[-64:] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(64) + 0.5) / 64), 0
    inner[-64:] = inner[:64][::-1]
    plain = (inner * samples * np.exp(-2j * np.pi * 5_000.0 / RATE_HZ * np.arange(6_400))).sum()
    assert ours == pytest.approx(plain, rel=1e-4)


@settings(max_examples=40, deadline=None)
@given(cuts=st.lists(st.integers(1, 2_999), max_size=12, unique=True), hop=st.sampled_from([8, 33]))
def test_frames_do_not_depend_on_where_blocks_end(cuts: list[int], hop: int) -> None:
    samples = noise(np.random.default_rng(3), 3_000, power=0.1)
    whole, parts = (Zoom([CENTER_HZ + 777.0], hop=hop) for _ in range(2))
    whole.push(block(samples))
    edges = [0, *sorted(cuts), 3_000]
    for first, last in pairwise(edges):
        parts.push(block(samples[first:last], index=first))
    assert np.allclose(whole.results()[0].values, parts.results()[0].values, atol=1e-6)


@settings(max_examples=40, deadline=None)
@given(stop=st.integers(0, 1_500), lost=st.integers(1, 1_000))
def test_a_gap_leaves_unobserved_frames_and_keeps_the_time(stop: int, lost: int) -> None:
    samples = tone(4_000, offset_hz=9_000.0, amplitude=0.5)
    zoom = Zoom([CENTER_HZ + 9_000.0], hop=32)
    zoom.push(block(samples[:stop]))
    zoom.push(block(samples[stop + lost :], index=stop + lost))
    values = zoom.results()[0].values
    # A frame is right or unobserved, never made of samples from both sides.
    seen = np.isfinite(values)
    assert np.allclose(values[seen], 0.5, atol=1e-5)
    numbers = np.flatnonzero(~seen)
    touched = [m for m in range(values.size) if m * 32 < stop + lost and m * 32 + 64 > stop]
    assert set(touched) <= set(numbers)


def test_a_change_of_tuning_is_refused() -> None:
    zoom = Zoom([CENTER_HZ], hop=32)
    zoom.push(block(np.zeros(100, complex)))
    with pytest.raises(ValueError, match="rate or centre"):
        zoom.push(block(np.zeros(100, complex), index=100, center_hz=CENTER_HZ + 1))
