"""Stitching and the pass-band: no ripple at borders, blind spots marked, the shape learned."""

import numpy as np
import pytest

from sniff.model import Caution
from sniff.resolution import SpectrumSettings
from sniff.sweep.grid import HopSpectrum
from sniff.sweep.hops import HopPlan
from sniff.sweep.passband import learn_shape
from sniff.sweep.stitch import stitch

SEGMENT, HALF, GUARD = 400, 160, 5
FLOOR = 1e-10
AVERAGES = 120
OFFSETS = np.arange(SEGMENT) - SEGMENT // 2
GAIN = 10.0 ** (-0.35 * ((OFFSETS + 9) / HALF) ** 4)
"""3.5 dB down at the edges, and lopsided."""


def plan_of(centers: list[int], *, holds: bool = False) -> HopPlan:
    return HopPlan(
        spectrum=SpectrumSettings(segment=SEGMENT, holds=holds),
        rate_hz=SEGMENT * 1e3,
        bin_hz=1e3,
        first_bin=10_000,
        last_bin=12_000,
        half_bins=HALF,
        guard_bins=GUARD,
        centers_hz=tuple(1e3 * center for center in centers),
        seconds=None,
        cautions=tuple[Caution, ...](),
    )


def hops_of(
    centers: list[int], *, lines: tuple[int, ...] = (), spike: float = 1e4, hold: bool = False
) -> list[HopSpectrum]:
    """Gamma-distributed noise (Welch 1967) through the pass-band, a spike, lines of 40 dB."""
    rng = np.random.default_rng(11)
    hops = []
    for center in centers:
        psd = FLOOR * GAIN * rng.gamma(AVERAGES, 1.0 / AVERAGES, SEGMENT)
        for line in lines:
            at = line - center + SEGMENT // 2
            if 0 <= at < SEGMENT:
                psd[at] += 1e4 * FLOOR * GAIN[at]
        psd[SEGMENT // 2 - 2 : SEGMENT // 2 + 3] += spike * FLOOR
        hops.append(
            HopSpectrum(
                center_bin=center,
                center_hz=1e3 * center,
                psd=psd.astype(np.float32),
                max_hold=(5.0 * psd).astype(np.float32) if hold else None,
                averages=2 * AVERAGES,
                effective_averages=float(AVERAGES),
            )
        )
    return hops


TWICE = list(range(10_150, 12_050, 150))
"""Centres whose neighbours see each other's spike."""


def test_the_planted_pass_band_is_learned_to_a_tenth_of_a_decibel() -> None:
    lines = tuple(range(10_037, 12_000, 61))  # in most hops, at different distances
    shape = learn_shape(hops_of(TWICE, lines=lines), half_bins=HALF, guard_bins=GUARD)
    assert shape is not None
    truth = GAIN[SEGMENT // 2 - HALF : SEGMENT // 2 + HALF + 1]
    off_db = 10.0 * np.log10(shape / truth)
    assert np.ptp(off_db) < 0.35
    assert off_db.std() < 0.1


@pytest.mark.parametrize("count", [1, 2, 4])
def test_of_a_few_hops_no_pass_band_is_learned(count: int) -> None:
    """A signal in two hops of four, as wide as an FM channel, would pass for part of it."""
    assert learn_shape(hops_of(TWICE[:count]), half_bins=HALF, guard_bins=GUARD) is None


def _wide(hops: list[HopSpectrum], at: range, *, over: float) -> list[HopSpectrum]:
    """Signals of 30 bins, planted at the same distance from these hops' centres."""
    for number in at:
        hops[number].psd[260:290] += np.float32(over * FLOOR) * GAIN[260:290].astype(np.float32)
    return hops


def test_wide_signals_alike_in_two_hops_of_five_are_none_of_the_pass_band() -> None:
    hops = _wide(hops_of(TWICE[:5]), range(2), over=6.0)
    shape = learn_shape(hops, half_bins=HALF, guard_bins=GUARD)
    assert shape is not None
    truth = GAIN[SEGMENT // 2 - HALF : SEGMENT // 2 + HALF + 1]
    assert np.abs(10.0 * np.log10(shape / truth)).max() < 1.0


@pytest.mark.parametrize("over", [1.0, 6.0])
def test_a_hump_that_no_filter_has_is_no_pass_band(over: float) -> None:
    """Signals whose raster is the hops', 3 and 8.5 dB over the noise: taken out, they were gone."""
    hops = _wide(hops_of(TWICE), range(len(TWICE)), over=over)
    assert learn_shape(hops, half_bins=HALF, guard_bins=GUARD) is None


@pytest.mark.parametrize("order", [2, 5, 8])
@pytest.mark.parametrize("down_db", [1.0, 3.0, 9.0])
def test_the_slopes_of_a_filter_are_learned(order: int, down_db: float) -> None:
    """Of Butterworth's: ``1 / (1 + (f / f0)^2n)``, so far down at the edge of what is used."""
    at_edge = (10.0 ** (down_db / 10.0) - 1.0) * (OFFSETS / HALF) ** (2 * order)
    gain = 1.0 / (1.0 + at_edge)
    hops = hops_of(TWICE, spike=0.0)
    for hop in hops:
        hop.psd[:] *= (gain / GAIN).astype(np.float32)
    shape = learn_shape(hops, half_bins=HALF, guard_bins=GUARD)
    assert shape is not None
    truth = gain[SEGMENT // 2 - HALF : SEGMENT // 2 + HALF + 1]
    assert np.abs(10.0 * np.log10(shape / truth)).max() < 0.5


def test_signals_everywhere_are_no_pass_band() -> None:
    hops = hops_of(TWICE, spike=0.0)
    for hop in hops:
        hop.psd[200:360] *= 30.0
    assert learn_shape(hops, half_bins=HALF, guard_bins=GUARD) is None


def test_digital_silence_has_no_pass_band() -> None:
    silent = hops_of(TWICE)
    for hop in silent:
        hop.psd[:] = 0.0
    assert learn_shape(silent, half_bins=HALF, guard_bins=GUARD) is None


def test_flat_noise_is_flat_across_hop_borders_and_spikes() -> None:
    """Less than 1 dB is asked for. With 120 averages a point scatters by 0.4 dB rms; nine averaged
    over by 0.13 dB."""
    hops = hops_of(TWICE)
    shape = learn_shape(hops, half_bins=HALF, guard_bins=GUARD)
    stitched = stitch(hops, shape, plan_of(TWICE))
    assert stitched.observed.all()
    assert not stitched.interpolated.any()
    level_db = 10.0 * np.log10(stitched.psd / FLOOR)
    assert np.ptp(np.convolve(level_db, np.full(9, 1 / 9), mode="valid")) < 1.0
    # Without the shape the edges would stand out: the test can see what it is for.
    raw_db = 10.0 * np.log10(stitch(hops, None, plan_of(TWICE)).psd / FLOOR)
    assert np.ptp(np.convolve(raw_db, np.full(9, 1 / 9), mode="valid")) > 1.5


def test_a_line_reads_its_level_wherever_it_lies() -> None:
    lines = (10_030, 10_150, 10_152, 10_313, 11_001, 11_988)
    hops = hops_of(TWICE, lines=lines)
    shape = learn_shape(hops, half_bins=HALF, guard_bins=GUARD)
    stitched = stitch(hops, shape, plan_of(TWICE))
    for line in lines:
        assert 10.0 * np.log10(stitched.psd[line - 10_000] / FLOOR) == pytest.approx(40.0, abs=0.5)


def test_the_averages_are_those_of_the_weakest_place() -> None:
    hops = hops_of(TWICE)
    stitched = stitch(hops, None, plan_of(TWICE))
    assert stitched.effective_averages == pytest.approx(AVERAGES)
    assert stitched.averages == 2 * AVERAGES
    assert stitched.most_averages >= 2 * stitched.averages


def test_a_spike_that_no_other_hop_sees_is_interpolated_and_marked() -> None:
    centers = [10_200, 10_500]
    stitched = stitch(hops_of(centers), None, plan_of(centers))
    spans = [(span.low_hz, span.high_hz) for span in stitched.joined]
    assert spans == [
        (1e3 * (center - GUARD - 0.5), 1e3 * (center + GUARD + 0.5)) for center in centers
    ]
    at = slice(10_200 - GUARD - 10_000, 10_200 + GUARD + 1 - 10_000)
    assert 10.0 * np.log10(stitched.psd[at] / FLOOR) == pytest.approx(0.0, abs=1.0)


def test_what_no_hop_shows_is_not_a_number_and_is_told() -> None:
    centers = [10_200, 10_900]
    stitched = stitch(hops_of(centers, hold=True), None, plan_of(centers, holds=True))
    holes = [(span.low_hz, span.high_hz) for span in stitched.unobserved]
    assert holes == [
        (9_999_500.0, 1e3 * (10_200 - HALF - 0.5)),
        (1e3 * (10_200 + HALF + 0.5), 1e3 * (10_900 - HALF - 0.5)),
        (1e3 * (10_900 + HALF + 0.5), 12_000_500.0),
    ]
    assert stitched.max_hold is not None
    assert np.isnan(stitched.psd[500])
    assert np.isnan(stitched.max_hold[500])
    assert list(stitched.stretches()) == [(40, 361), (740, 1061)]


def test_the_highest_level_is_kept_equalised() -> None:
    hops = hops_of(TWICE, hold=True)
    shape = learn_shape(hops, half_bins=HALF, guard_bins=GUARD)
    stitched = stitch(hops, shape, plan_of(TWICE, holds=True))
    assert stitched.max_hold is not None
    over_db = 10.0 * np.log10(stitched.max_hold / (5.0 * FLOOR))
    assert np.median(over_db) == pytest.approx(0.2, abs=0.3)
    assert np.ptp(np.convolve(over_db, np.full(25, 1 / 25), mode="valid")) < 1.0
