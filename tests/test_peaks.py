"""Detection: its false-alarm rate by simulation, the floor, close lines, the would-see level."""

import numpy as np
import pytest
from scipy import stats

from sniff.model import Spectrum
from sniff.peaks import (
    DEFAULT_FALSE_ALARM_RATE,
    DETECTION_PROBABILITY,
    find_summits,
    noise_floor,
    would_see_ratio,
)
from sniff.resolution import SpectrumSettings
from sniff.spectrum import estimate
from sniff.windows import Window
from tests.signals import CENTER_HZ, RATE_HZ, block, noise, tone


def spectrum_of(samples: np.ndarray, segment: int = 1024, window: Window = Window.HANN) -> Spectrum:
    return estimate([block(samples)], SpectrumSettings(segment=segment, window=window))


@pytest.mark.parametrize(
    ("segments", "rate", "looks"), [(1, 0.02, 3000), (15, 0.02, 3000), (31, 1e-3, 4000)]
)
def test_noise_alone_shows_a_line_as_rarely_as_stated(
    segments: int, rate: float, looks: int
) -> None:
    rng = np.random.default_rng(segments)
    segment = 256
    samples = segment // 2 * (segments + 1)
    alarms = sum(
        bool(
            find_summits(
                spectrum := spectrum_of(noise(rng, samples, power=1e-3), segment),
                noise_floor(spectrum, false_alarm_rate=rate),
            )
        )
        for _ in range(looks)
    )
    # Exact binomial bounds of a right rate, 99.9 % on either side; a third off is allowed for.
    low, high = stats.binom.interval(0.998, looks, rate)
    assert low / 1.4 <= alarms <= high * 1.4


def test_the_default_is_one_false_line_in_a_thousand_looks() -> None:
    assert DEFAULT_FALSE_ALARM_RATE == 1e-3


def test_the_floor_is_the_density_of_the_noise() -> None:
    rng = np.random.default_rng(1)
    spectrum = spectrum_of(noise(rng, 400_000, power=2e-3))
    floor = noise_floor(spectrum)
    assert np.median(floor.density) == pytest.approx(2e-3 / RATE_HZ, rel=0.01)


def test_the_floor_follows_the_pass_band_and_passes_over_a_line() -> None:
    rng = np.random.default_rng(2)
    shape = 1.0 / (1.0 + (np.fft.fftfreq(2**19) / 0.42) ** 16)
    samples = np.fft.ifft(np.fft.fft(noise(rng, 2**19, power=1e-3)) * np.sqrt(shape))
    samples = samples + tone(samples.size, offset_hz=30_000.0, amplitude=0.1)
    spectrum = spectrum_of(samples)
    floor = noise_floor(spectrum)
    x = (np.arange(1024) - 512) / 1024
    true = 1e-3 / RATE_HZ / (1.0 + (x / 0.42) ** 16)
    inner = np.abs(x) < 0.45  # down to −6 dB
    assert np.abs(10 * np.log10(floor.density / true))[inner].max() < 0.6
    found = find_summits(spectrum, floor)
    assert [summit.bin for summit in found] == [512 + round(30_000 / (RATE_HZ / 1024))]


def test_a_broad_signal_is_not_taken_for_the_floor() -> None:
    rng = np.random.default_rng(3)
    hump = np.abs(np.fft.fftfreq(2**18) - 0.1) < 0.05
    broad = np.fft.ifft(np.fft.fft(noise(rng, 2**18, power=1e-2)) * hump)
    spectrum = spectrum_of(broad + noise(rng, 2**18, power=1e-3))
    floor = noise_floor(spectrum)
    assert floor.density[512 + 102] < 3 * 1e-3 / RATE_HZ  # it lies from bin 563 to bin 666
    assert find_summits(spectrum, floor)


@pytest.mark.parametrize("place", [0.0, 0.25, 0.5])
@pytest.mark.parametrize("apart_rbw", [2.0, 3.0, 5.0])
def test_lines_two_rbw_apart_are_two(place: float, apart_rbw: float) -> None:
    rng = np.random.default_rng(4)
    bin_hz = RATE_HZ / 1024
    first_hz = (100 + place) * bin_hz
    second_hz = first_hz + apart_rbw * 1.5 * bin_hz
    samples = tone(200_000, offset_hz=first_hz) + tone(200_000, offset_hz=second_hz, amplitude=0.2)
    spectrum = spectrum_of(samples + noise(rng, 200_000, power=1e-4))
    found = find_summits(spectrum, noise_floor(spectrum))
    places = sorted(summit.bin - 512 for summit in found)
    assert len(places) == 2
    assert abs(places[0] - first_hz / bin_hz) <= 0.75
    assert abs(places[1] - second_hz / bin_hz) <= 0.75


@pytest.mark.parametrize("window", list(Window))
def test_one_clean_line_is_one_summit_with_every_window(window: Window) -> None:
    rng = np.random.default_rng(5)
    samples = tone(100_000, offset_hz=-33_333.3) + noise(rng, 100_000, power=1e-5)
    spectrum = spectrum_of(samples, window=window)
    found = find_summits(spectrum, noise_floor(spectrum))
    assert abs(found[0].bin - 512 + 33_333.3 / (RATE_HZ / 1024)) <= 0.75
    assert len(found) == 1


@pytest.mark.parametrize("segments", [1, 15, 255])
def test_a_line_at_the_would_see_level_is_seen_as_often_as_stated(segments: int) -> None:
    rng = np.random.default_rng(segments)
    segment, trials = 256, 400
    samples = segment // 2 * (segments + 1)
    bin_hz = RATE_HZ / segment
    reference = spectrum_of(noise(rng, samples, power=1e-3), segment)
    ratio = float(would_see_ratio(reference, noise_floor(reference))[0])
    amplitude = np.sqrt(ratio * 1e-3 / RATE_HZ * reference.rbw_hz)
    seen = 0
    for _ in range(trials):
        # Half-way between two bins, the worst place.
        line = tone(samples, offset_hz=20.5 * bin_hz, amplitude=amplitude, phase=rng.uniform(0, 7))
        spectrum = spectrum_of(line + noise(rng, samples, power=1e-3), segment)
        found = find_summits(spectrum, noise_floor(spectrum))
        seen += any(abs(c.bin - 128 - 20.5) < 1 for c in found)
    # Either of two bins may show it, so it is seen at least as often as one bin would.
    assert seen / trials >= DETECTION_PROBABILITY - 0.03
    assert seen / trials <= 0.9999 or segments == 1


def test_an_absurd_rate_is_a_programmers_mistake() -> None:
    spectrum = spectrum_of(noise(np.random.default_rng(0), 4096, power=1e-3))
    with pytest.raises(ValueError, match="false_alarm_rate"):
        noise_floor(spectrum, false_alarm_rate=0.0)


def test_frequencies_of_summits_are_not_mirrored() -> None:
    samples = tone(50_000, offset_hz=-60_000.0) + noise(
        np.random.default_rng(6), 50_000, power=1e-5
    )
    spectrum = spectrum_of(samples)
    best = find_summits(spectrum, noise_floor(spectrum))[0]
    assert spectrum.frequencies_hz[best.bin] == pytest.approx(CENTER_HZ - 60_000.0, abs=200)
