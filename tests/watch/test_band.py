"""The decimated band and the near past: closed forms of tones, times, and gaps."""

import numpy as np
import pytest

from sniff.model import IQBlock
from sniff.watch.band import CLEAN, Band
from sniff.watch.past import NearPast
from sniff.watch.states import TwoThresholds

RATE_HZ = 2.4e6
CENTER_HZ = 100e6
LINE_HZ = 100.2952e6


def a_block(offset_hz: float, samples: int = 240_000, index: int = 0) -> IQBlock:
    """A tone of amplitude 0.5, its phase counted from the source's opening."""
    t = (index + np.arange(samples)) / RATE_HZ
    turns = (LINE_HZ - CENTER_HZ + offset_hz) * t
    return IQBlock(
        samples=(0.5 * np.exp(2j * np.pi * (turns % 1.0))).astype(np.complex64),
        rate_hz=RATE_HZ,
        center_hz=CENTER_HZ,
        index=index,
    )


def a_band(least_hz: float = 64e3) -> Band:
    return Band(LINE_HZ, rate_hz=RATE_HZ, center_hz=CENTER_HZ, least_hz=least_hz)


def test_a_tone_keeps_its_level_frequency_and_time() -> None:
    band = a_band()
    (piece,) = band.push(a_block(-7_000.0))
    t = piece.start_s + np.arange(piece.values.size) / band.rate_hz
    still = piece.values * np.exp(2j * np.pi * 7_000.0 * t)
    assert np.abs(still) == pytest.approx(0.5, rel=1e-3)
    # What is left is the phase at the first sample, which the mixing took away.
    assert np.ptp(np.unwrap(np.angle(still))) < 1e-4
    assert band.rate_hz == pytest.approx(RATE_HZ / 37)


@pytest.mark.parametrize("part", [1.0 - CLEAN, 1.0 + CLEAN, 2.3, -3.1])
def test_nothing_folds_into_the_clean_part(part: float) -> None:
    band = a_band()
    (piece,) = band.push(a_block(part * band.rate_hz))
    assert 20 * np.log10(np.abs(piece.values).max() / 0.5) < -55.0


def test_the_clean_part_is_flat() -> None:
    band = a_band()
    (piece,) = band.push(a_block(CLEAN * band.rate_hz))
    assert 20 * np.log10(np.abs(piece.values).mean() / 0.5) == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("least_hz", [64e3, 700e3, 2e6])
def test_how_it_is_cut_into_blocks_changes_nothing(least_hz: float) -> None:
    whole = a_block(3_000.0, 50_000)
    band = a_band(least_hz)
    once = np.concatenate([piece.values for piece in band.push(whole)])
    other, cut = a_band(least_hz), []
    for at in range(0, 50_000, 1_771):
        part = whole.samples[at : at + 1_771].copy()
        block = IQBlock(samples=part, rate_hz=RATE_HZ, center_hz=CENTER_HZ, index=at)
        cut += [piece.values for piece in other.push(block)]
    np.testing.assert_allclose(np.concatenate(cut), once, atol=2e-6)


def test_a_gap_begins_afresh_with_nothing_of_what_came_before() -> None:
    band = a_band()
    list(band.push(a_block(3_000.0, 10_007)))
    (piece,) = band.push(a_block(3_000.0, 10_000, index=50_000))
    assert piece.fresh
    middle = (8 * 37 - 1) / 2
    assert piece.start_s == pytest.approx((50_000 + middle) / RATE_HZ, abs=1e-12)
    assert np.abs(piece.values) == pytest.approx(0.5, rel=1e-3)


def test_a_retuning_is_refused() -> None:
    band = a_band()
    list(band.push(a_block(0.0, 1_000)))
    block = IQBlock(
        samples=np.zeros(10, np.complex64), rate_hz=RATE_HZ, center_hz=99e6, index=1_000
    )
    with pytest.raises(ValueError, match="change of rate or centre"):
        list(band.push(block))


def test_the_near_past_keeps_times_over_a_gap_and_forgets_the_far() -> None:
    past = NearPast(step_s=0.01, seconds=1.0)
    past.add(5.0, np.arange(50.0), np.zeros(50))
    past.add(5.7, 100.0 + np.arange(20.0), np.zeros(20))
    start_s, level, _ = past.between(5.4, 5.75)
    assert start_s == pytest.approx(5.4)
    assert level[:10].tolist() == list(np.arange(40.0, 50.0))
    assert np.isnan(level[10:30]).all()
    assert level[30] == 100.0
    past.add(5.9, np.zeros(150), np.zeros(150))
    past.add(7.4, np.zeros(10), np.zeros(10))  # a second before this is kept, and no more
    assert past.between(0.0, 6.38)[1].size == 0
    assert past.between(0.0, 6.45)[1].size > 0


def test_between_the_thresholds_it_stays_as_it_was() -> None:
    states = TwoThresholds(step_s=1.0)
    there, crossings = states.push(
        0.0, np.array([1.0, 0.3, 0.1, 0.3, 0.5, 0.3]), gone_below=0.2, there_above=0.4
    )
    assert there.tolist() == [True, True, False, False, True, True]
    assert [(crossing.there, crossing.seen) for crossing in crossings] == [
        (True, False),
        (False, True),
        (True, True),
    ]
    # Evenly in dB: from 0.3 to 0.1 the level 0.2 is passed at log(1.5) / log(3) of the step.
    assert crossings[1].at_s == pytest.approx(1.0 + np.log(1.5) / np.log(3.0))
    there, crossings = states.push(6.0, np.array([0.3, 0.3]), gone_below=0.2, there_above=0.4)
    assert there.tolist() == [True, True]
    assert crossings == ()
