"""The streaming spectrum against SciPy, closed forms of tones and noise, and Welch's variance."""

from collections.abc import Iterator, Sequence

import numpy as np
import pytest
import scipy.signal
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.errors import SourceError, UsageError
from sniff.model import IQBlock, Spectrum
from sniff.resolution import (
    MAX_SEGMENT,
    MIN_SEGMENT,
    SpectrumSettings,
    finest_rbw,
    segment_for_rbw,
)
from sniff.spectrum import Welch, effective_averages, estimate
from sniff.windows import Window, correlation_at
from tests.values import welch

RATE_HZ = 250e3
CENTER_HZ = 83.5e6


def blocks_of(
    samples: np.ndarray, sizes: Sequence[int] = (), start: int = 0, center_hz: float = CENTER_HZ
) -> Iterator[IQBlock]:
    """Cut into blocks of these sizes, the rest in one."""
    at = 0
    for size in (*sizes, samples.size):
        part = samples[at : at + size].astype(np.complex64)
        yield IQBlock(samples=part, rate_hz=RATE_HZ, center_hz=center_hz, index=start + at)
        at += part.size


def noise(n: int, power: float, seed: int) -> np.ndarray:
    values = np.random.default_rng(seed).normal(scale=np.sqrt(power / 2), size=2 * n)
    return values.view(np.complex128)


def tone(n: int, offset_hz: float, power: float) -> np.ndarray:
    return np.sqrt(power) * np.exp(2j * np.pi * offset_hz / RATE_HZ * np.arange(n))


def scipy_psd(samples: np.ndarray, window: Window, segment: int, hop: int) -> np.ndarray:
    _, psd = scipy.signal.welch(
        samples.astype(np.complex64).astype(np.complex128),
        fs=RATE_HZ,
        window=window.samples(segment),
        nperseg=segment,
        noverlap=segment - hop,
        return_onesided=False,
        detrend=False,
    )
    return np.fft.fftshift(psd)


# --- SciPy


@pytest.mark.parametrize("window", Window)
@pytest.mark.parametrize("overlap", [0.0, 0.5, 0.75, None])
@pytest.mark.parametrize("segment", [16, 225, 1024])
@pytest.mark.parametrize("holds", [False, True])
def test_is_scipys_welch_to_1e_5(
    window: Window, overlap: float | None, segment: int, holds: bool
) -> None:
    samples = noise(50_000, 0.02, seed=4) + tone(50_000, -31_234.5, 0.1)
    asked = SpectrumSettings(window=window, segment=segment, overlap=overlap, holds=holds)
    spectrum = estimate(blocks_of(samples, [30_001, 3]), asked)
    expected = scipy_psd(samples, window, segment, asked.hop_of(segment))
    np.testing.assert_allclose(spectrum.psd, expected, rtol=1e-5)


def test_rounding_does_not_pile_up_over_many_equal_segments() -> None:
    # A tone on a bin: every segment squares to the same number, and so do all roundings.
    samples = tone(1_600_000, RATE_HZ / 16 * -3, 0.7)
    spectrum = estimate(blocks_of(samples), SpectrumSettings(segment=16))
    assert spectrum.averages == 199_999
    assert spectrum.tone_power[8 - 3] == pytest.approx(0.7, rel=2e-6)


# --- Closed forms: where and how large a tone is


@pytest.mark.parametrize("window", Window)
def test_a_tone_below_the_center_shows_there_with_its_power(window: Window) -> None:
    offset_hz = -37 * RATE_HZ / 1000
    samples = tone(20_000, offset_hz, 0.25)
    spectrum = estimate(blocks_of(samples), SpectrumSettings(window=window, segment=1000))
    top = int(spectrum.psd.argmax())
    assert spectrum.frequencies_hz[top] == pytest.approx(CENTER_HZ + offset_hz, abs=1e-6)
    assert spectrum.tone_power[top] == pytest.approx(0.25, rel=1e-5)


@pytest.mark.parametrize("segment", [100, 225, 4096])
def test_the_level_of_a_tone_does_not_change_with_resolution(segment: int) -> None:
    samples = tone(50_000, 7 * RATE_HZ / segment, 0.04)
    spectrum = estimate(blocks_of(samples), SpectrumSettings(segment=segment))
    assert spectrum.tone_power[segment // 2 + 7] == pytest.approx(0.04, rel=1e-5)


@pytest.mark.parametrize("window", Window)
def test_a_tone_between_two_bins_reads_lower_by_the_scalloping_loss(window: Window) -> None:
    bin_hz = RATE_HZ / 4096
    levels_db = []
    for bins in (-700.0, -700.5):
        spectrum = estimate(
            blocks_of(tone(50_000, bins * bin_hz, 0.5)),
            SpectrumSettings(window=window, segment=4096),
        )
        levels_db.append(10 * np.log10(spectrum.tone_power[2048 - 700]))
    # Harris 1978, eq. 15, and CHECKS section 1 test (b).
    assert levels_db[0] - levels_db[1] == pytest.approx(window.scalloping_db, abs=0.001)


# --- Closed forms: noise


@pytest.mark.parametrize("window", Window)
def test_density_of_white_noise_times_rate_is_its_power(window: Window) -> None:
    samples = noise(1_000_000, 0.03, seed=11)
    spectrum = estimate(blocks_of(samples), SpectrumSettings(window=window, segment=500))
    # Relative spread of the whole power is 1/1000; 4 standard deviations.
    assert spectrum.psd.mean() * RATE_HZ == pytest.approx(0.03, rel=4e-3)
    # CHECKS section 1 test (c): in power scaling, variance times ENBW over the length.
    in_a_bin = 0.03 * window.enbw_bins / 500
    assert spectrum.tone_power.mean() == pytest.approx(in_a_bin, rel=4e-3)


def test_noise_in_the_resolution_bandwidth_grows_with_it() -> None:
    samples = noise(500_000, 0.03, seed=12)
    narrow, wide = (estimate(blocks_of(samples), SpectrumSettings(segment=n)) for n in (2000, 200))
    ratio_db = 10 * np.log10(wide.tone_power.mean() / narrow.tone_power.mean())
    assert wide.rbw_hz / narrow.rbw_hz == pytest.approx(10)
    assert ratio_db == pytest.approx(10.0, abs=0.02)


# --- How much the estimate varies


@pytest.mark.parametrize(("segments", "expected"), welch.EFFECTIVE_AVERAGES_HANN_50.items())
def test_effective_averages_follow_welch_1967(segments: int, expected: float) -> None:
    samples = noise((segments + 1) * 32, 1.0, seed=1)
    spectrum = estimate(blocks_of(samples), SpectrumSettings(segment=64))
    assert spectrum.averages == segments
    assert spectrum.effective_averages == pytest.approx(expected, rel=1e-9)


def test_segments_parted_by_a_gap_count_as_independent() -> None:
    first, second = noise(96, 1.0, seed=1), noise(96, 1.0, seed=2)
    blocks = [*blocks_of(first), *blocks_of(second, start=1000)]
    spectrum = estimate(blocks, SpectrumSettings(segment=64))
    # Twice two overlapping segments; Welch's table for two.
    assert spectrum.averages == 4
    assert spectrum.effective_averages == pytest.approx(
        2 * welch.EFFECTIVE_AVERAGES_HANN_50[2], rel=1e-9
    )


@pytest.mark.parametrize(
    ("window", "overlap"),
    [(Window.HANN, 0.5), (Window.HANN, 0.75), (Window.BLACKMAN_HARRIS, 0.661)],
)
def test_variance_of_the_density_is_that_of_the_effective_averages(
    window: Window, overlap: float
) -> None:
    asked = SpectrumSettings(window=window, segment=512, overlap=overlap)
    relative = []
    for seed in range(40):
        psd = estimate(blocks_of(noise(4096, 1.0, seed=seed)), asked).psd
        relative.append(psd * RATE_HZ)
    spectrum = estimate(blocks_of(noise(4096, 1.0, seed=0)), asked)
    # 40 * 512 / ENBW independent values: their variance is known to about 2 %.
    assert np.var(relative) == pytest.approx(1 / spectrum.effective_averages, rel=0.08)


def test_segments_on_their_own_are_as_many_as_they_are() -> None:
    assert effective_averages(7, [], []) == 7.0
    rho = correlation_at(Window.RECTANGULAR.samples(64), 32)
    # Rectangular, 50 %, many segments: 1 + 2 rho = 1.5 (Welch 1967 with rho = 1/4).
    assert effective_averages(10**6, [10**6 - 1], [rho]) == pytest.approx(10**6 / 1.5, rel=1e-5)


def test_the_chi_square_interval_covers_the_true_density_as_often_as_it_says() -> None:
    # Rectangular without overlap: K independent segments, 2 K degrees of freedom in every bin.
    asked = SpectrumSettings(window=Window.RECTANGULAR, segment=1000, overlap=0.0)
    for segments, (low_db, high_db) in welch.INTERVAL_95_DB.items():
        samples = noise(1000 * segments * 5, 1.0, seed=segments)
        parts = samples.reshape(5, -1)
        psd = np.concatenate([estimate(blocks_of(part), asked).psd for part in parts])
        error_db = 10 * np.log10(1.0 / (psd * RATE_HZ))
        covered = np.mean((error_db >= low_db) & (error_db <= high_db))
        assert covered == pytest.approx(0.95, abs=0.015)


def test_effective_averages_give_the_interval_of_overlapped_segments() -> None:
    asked = SpectrumSettings(segment=500)
    spectra = [estimate(blocks_of(noise(4250, 1.0, seed=s)), asked) for s in range(20)]
    averages = spectra[0].effective_averages
    # CHECKS section 9 gives the interval for K segments; here for an effective number of them.
    low, high = 2 * averages / scipy.stats.chi2.ppf([0.975, 0.025], 2 * averages)
    truth = 1.0 / np.concatenate([s.psd * RATE_HZ for s in spectra])
    assert spectra[0].averages == 16
    assert np.mean((truth >= low) & (truth <= high)) == pytest.approx(0.95, abs=0.015)


# --- Holds


def each_segment(samples: np.ndarray, segment: int, hop: int) -> np.ndarray:
    """Density of each segment by the definition, in double precision."""
    shape = Window.HANN.samples(segment)
    starts = range(0, samples.size - segment + 1, hop)
    bins = np.fft.fft([shape * samples[s : s + segment] for s in starts], axis=1)
    return np.fft.fftshift(np.abs(bins) ** 2 / (RATE_HZ * np.sum(shape**2)), axes=1)


def test_holds_are_the_largest_and_smallest_density_of_any_segment() -> None:
    samples = noise(60_000, 0.02, seed=5)
    samples[20_000:21_000] += tone(1000, -20_000.0, 0.5)  # a burst that the mean hides
    spectrum = estimate(blocks_of(samples), SpectrumSettings(segment=250, holds=True))
    densities = each_segment(samples, 250, 125)
    np.testing.assert_allclose(spectrum.max_hold, densities.max(axis=0), rtol=1e-4)
    # The smallest of many is a deep null, in which single precision leaves less.
    np.testing.assert_allclose(
        spectrum.min_hold, densities.min(axis=0), rtol=1e-3, atol=1e-6 * densities.mean()
    )
    assert spectrum.max_hold is not None
    assert spectrum.max_hold.argmax() == 125 - 20
    assert np.all(spectrum.max_hold >= spectrum.psd)


def test_there_are_no_holds_unless_asked_for() -> None:
    spectrum = estimate(blocks_of(noise(1000, 1.0, seed=1)), SpectrumSettings(segment=100))
    assert spectrum.max_hold is None
    assert spectrum.min_hold is None


# --- Blocks and gaps


@settings(max_examples=60)
@given(
    sizes=st.lists(st.integers(0, 3000), max_size=12),
    threads=st.integers(1, 3),
    overlap=st.sampled_from([0.0, 0.5, 0.754]),
)
def test_neither_block_size_nor_threads_change_a_bit(
    sizes: list[int], threads: int, overlap: float
) -> None:
    samples = noise(9000, 0.1, seed=9)
    asked = SpectrumSettings(segment=64, overlap=overlap, holds=True)
    whole = estimate(blocks_of(samples), asked)
    cut = estimate(
        blocks_of(samples, sizes),
        SpectrumSettings(segment=64, overlap=overlap, holds=True, threads=threads),
    )
    for name in ("psd", "max_hold", "min_hold"):
        np.testing.assert_array_equal(getattr(cut, name), getattr(whole, name))
    assert (cut.averages, cut.samples) == (whole.averages, whole.samples)


def two_tones_with_a_gap(gap: int) -> list[IQBlock]:
    """Before the gap a tone at -50 kHz, after it one at -80 kHz; both on bins of 250."""
    first, second = tone(1100, -50e3, 0.5), tone(990, -80e3, 0.5)
    return [*blocks_of(first), *blocks_of(second, start=1100 + gap)]


def test_no_segment_straddles_a_gap() -> None:
    asked = SpectrumSettings(segment=250)
    torn, joined = (estimate(two_tones_with_a_gap(gap), asked) for gap in (77, 0))
    clean = np.ones(250, dtype=bool)
    for line in (125 - 50, 125 - 80):
        clean[line - 1 : line + 2] = False  # a tone on a bin fills three of Hann's
    assert torn.psd[clean].max() < 1e-9 * torn.psd.max()
    assert joined.psd[clean].max() > 1e-4 * joined.psd.max()  # the seam would show
    assert torn.averages == 7 + 6
    assert torn.samples == 1000 + 875


def test_gaps_and_lost_samples_are_counted() -> None:
    estimator = Welch(SpectrumSettings(segment=250), rate_hz=RATE_HZ, center_hz=CENTER_HZ)
    for block in two_tones_with_a_gap(77):
        estimator.push(block)
    assert (estimator.gaps, estimator.lost_samples) == (1, 77)


def test_a_stream_may_begin_at_any_sample() -> None:
    estimator = Welch(SpectrumSettings(segment=250), rate_hz=RATE_HZ, center_hz=CENTER_HZ)
    for block in blocks_of(noise(1000, 1.0, seed=1), [400], start=123_456):
        estimator.push(block)
    assert estimator.gaps == 0
    assert estimator.result().averages == 7


def test_a_result_can_be_read_while_the_stream_goes_on() -> None:
    samples = noise(5000, 0.1, seed=3)
    asked = SpectrumSettings(segment=100)
    estimator = Welch(asked, rate_hz=RATE_HZ, center_hz=CENTER_HZ)
    early: Spectrum | None = None
    for block in blocks_of(samples, [1234]):
        estimator.push(block)
        early = early or estimator.result()
    assert early is not None
    np.testing.assert_array_equal(early.psd, estimate(blocks_of(samples[:1234]), asked).psd)
    np.testing.assert_allclose(
        estimator.result().psd, estimate(blocks_of(samples), asked).psd, rtol=1e-6
    )


@pytest.mark.parametrize("other", [{"rate_hz": 2 * RATE_HZ}, {"center_hz": CENTER_HZ + 1.0}])
def test_a_block_of_another_tuning_is_refused(other: dict[str, float]) -> None:
    tuning = {"rate_hz": RATE_HZ, "center_hz": CENTER_HZ}
    first, second = np.zeros(500, dtype=np.complex64), np.zeros(500, dtype=np.complex64)
    blocks = [
        IQBlock(samples=first, index=0, **tuning),
        IQBlock(samples=second, index=500, **(tuning | other)),
    ]
    with pytest.raises(ValueError, match=f"{next(iter(other.values()))}"):
        estimate(blocks, SpectrumSettings(segment=100))


def test_a_block_that_lies_before_the_last_one_is_refused() -> None:
    blocks = [*blocks_of(noise(500, 1.0, seed=1)), *blocks_of(noise(500, 1.0, seed=1), start=499)]
    with pytest.raises(ValueError, match="index=499"):
        estimate(blocks, SpectrumSettings(segment=100))


@pytest.mark.parametrize("bad", [np.nan, np.inf, complex(0, np.nan)])
@pytest.mark.parametrize("threads", [1, 2])
def test_a_sample_that_is_no_number_is_refused(bad: complex, threads: int) -> None:
    samples = noise(5000, 0.1, seed=3)
    samples[3333] = bad
    with pytest.raises(ValueError, match="not finite"):
        estimate(blocks_of(samples), SpectrumSettings(segment=100, threads=threads))


# --- Resolution


@settings(max_examples=200)
@given(
    ideal=st.floats(MIN_SEGMENT, MAX_SEGMENT),
    rate_hz=st.floats(1e3, 1e7),
    window=st.sampled_from(Window),
)
def test_the_rbw_is_met_within_a_few_percent(ideal: float, rate_hz: float, window: Window) -> None:
    rbw_hz = window.enbw_bins * rate_hz / ideal
    try:
        segment = segment_for_rbw(rbw_hz, rate_hz, window)
    except UsageError:  # rounding at the very limits
        assert ideal == pytest.approx(MIN_SEGMENT) or ideal == pytest.approx(MAX_SEGMENT)
        return
    assert segment % 2 == 0
    true_hz = window.enbw_bins * rate_hz / segment
    assert true_hz == pytest.approx(rbw_hz, rel=0.026 if ideal >= 256 else 0.084)


@pytest.mark.parametrize(("ideal", "nearest"), [(935, 924), (955, 960), (960, 960)])
def test_the_nearest_fast_length_is_taken(ideal: int, nearest: int) -> None:
    # 924 = 4 * 3 * 7 * 11 and 960 = 64 * 3 * 5 are neighbours among the fast ones.
    assert segment_for_rbw(1.5 * RATE_HZ / ideal, RATE_HZ, Window.HANN) == nearest


def test_the_spectrum_tells_its_true_rbw() -> None:
    spectrum = estimate(blocks_of(noise(50_000, 1.0, seed=1)), SpectrumSettings(rbw_hz=100.0))
    # By the definition, Harris 1978, eq. 11.
    shape = Window.HANN.samples(spectrum.psd.size)
    true_hz = RATE_HZ * np.sum(shape**2) / np.sum(shape) ** 2
    assert spectrum.rbw_hz == pytest.approx(true_hz)
    assert spectrum.rbw_hz == pytest.approx(100.0, rel=0.026)


@pytest.mark.parametrize(
    ("rbw_hz", "advice"), [(0.1, "at least 0.36 Hz"), (100e3, "at most 23 kHz")]
)
def test_an_rbw_out_of_reach_is_refused_with_the_limit(rbw_hz: float, advice: str) -> None:
    with pytest.raises(UsageError, match=advice):
        segment_for_rbw(rbw_hz, RATE_HZ, Window.HANN)


@pytest.mark.parametrize(("rbw_hz"), [0.36, 23e3])
def test_the_limit_that_is_named_works(rbw_hz: float) -> None:
    assert MIN_SEGMENT <= segment_for_rbw(rbw_hz, RATE_HZ, Window.HANN) <= MAX_SEGMENT


def test_too_few_samples_are_refused_with_an_rbw_that_works() -> None:
    samples = noise(3000, 1.0, seed=1)
    with pytest.raises(UsageError, match=r"3000 samples .* needs 3750; .* ask for 130 Hz or wider"):
        estimate(blocks_of(samples), SpectrumSettings(rbw_hz=100.0))
    assert estimate(blocks_of(samples), SpectrumSettings(rbw_hz=130.0)).averages >= 1


@given(samples=st.integers(MIN_SEGMENT, 10**8), window=st.sampled_from(Window))
@settings(max_examples=100)
def test_the_finest_rbw_named_always_works(samples: int, window: Window) -> None:
    rbw_hz = finest_rbw(samples, RATE_HZ, window)
    if rbw_hz <= window.enbw_bins * RATE_HZ / MIN_SEGMENT:
        assert segment_for_rbw(rbw_hz, RATE_HZ, window) <= samples


def test_with_gaps_the_longest_stretch_without_one_counts() -> None:
    blocks = [*blocks_of(noise(200, 1.0, seed=1)), *blocks_of(noise(90, 1.0, seed=2), start=210)]
    with pytest.raises(UsageError, match=r"^200 samples without a gap are too few"):
        estimate(blocks, SpectrumSettings(segment=250))


@pytest.mark.parametrize("n", [0, 1, 15])
def test_a_handful_of_samples_is_refused(n: int) -> None:
    with pytest.raises(UsageError, match=f"^{n} samples are too few for any spectrum"):
        estimate(blocks_of(np.zeros(n)), SpectrumSettings(segment=16))


def test_no_block_at_all_is_refused() -> None:
    with pytest.raises(SourceError, match="no samples"):
        estimate([], SpectrumSettings(segment=16))


@pytest.mark.parametrize("rbw_hz", [0.0, -5.0, float("nan"), float("inf")])
def test_an_rbw_that_makes_no_sense_is_refused(rbw_hz: float) -> None:
    with pytest.raises(UsageError, match="must be a finite number above zero"):
        SpectrumSettings(rbw_hz=rbw_hz)


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {"segment": 100, "rbw_hz": 100.0},
        {"segment": 15},
        {"segment": MAX_SEGMENT + 1},
        {"segment": 100, "overlap": 0.96},
        {"segment": 100, "overlap": -0.1},
        {"segment": 100, "overlap": float("nan")},
        {"segment": 100, "threads": 0},
    ],
)
def test_settings_that_do_not_go_together_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"segment|overlap|threads"):
        SpectrumSettings(**wrong)
