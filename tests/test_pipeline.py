"""The whole path of a look: bounds near the threshold, close lines, gaps."""

import numpy as np
import pytest

from calib.correction import Correction
from sniff.errors import UsageError
from sniff.model import Mark
from sniff.peaks import noise_floor
from sniff.pipeline import look
from sniff.refine import cramer_rao_hz
from sniff.resolution import SpectrumSettings
from sniff.spectrum import estimate
from sniff.survey import LookSettings
from sniff.windows import Window
from tests.signals import CENTER_HZ, RATE_HZ, MemoryTake, block, noise, take_of, tone
from tests.test_frontend import info

EXACT = Correction(ppm=0.0, u_ppm=0.0, origin="exact")
SETTINGS = LookSettings(spectrum=SpectrumSettings(segment=1024))


@pytest.mark.parametrize("segments", [1, 31, 127])
def test_three_decibels_over_the_threshold_the_bound_still_holds(segments: int) -> None:
    """Within 1.2 times the Cramér-Rao bound (Rife and Boorstyn 1974) and ±2u covering 93 to 98 %,
    at any place between bins, where a line is only just detected."""
    rng = np.random.default_rng(segments)
    samples, power, trials = 512 * (segments + 1), 1e-3, 500
    blank = estimate([block(noise(rng, samples, power=power))], SETTINGS.spectrum)
    floor = noise_floor(blank)
    excess = float(np.median(floor.threshold / floor.density)) - 1.0
    amplitude = np.sqrt(2.0 * excess * power / RATE_HZ * blank.rbw_hz)
    errors, claims = [], []
    for _ in range(trials):
        offset_hz = rng.uniform(-0.35, 0.35) * RATE_HZ
        line = tone(samples, offset_hz=offset_hz, amplitude=amplitude, phase=rng.uniform(0, 7))
        take = take_of(line + noise(rng, samples, power=power))
        peaks = look(take, info(), SETTINGS, EXACT).result.peaks
        near = [p for p in peaks if abs(p.indicated_hz - CENTER_HZ - offset_hz) < 1_000.0]
        if near:
            errors.append(near[0].frequency_hz - CENTER_HZ - offset_hz)
            claims.append(near[0].u_hz)
    assert len(errors) > 0.9 * trials
    bound_hz = cramer_rao_hz(
        carrier_to_noise_hz=amplitude**2 / (power / RATE_HZ), seconds=samples / RATE_HZ
    )
    assert np.sqrt(np.mean(np.square(errors))) < 1.2 * bound_hz
    covered = np.mean(np.abs(errors) <= 2 * np.array(claims))
    assert 0.93 <= covered <= 0.985


@pytest.mark.parametrize("apart_rbw", [2.0, 2.7, 4.0])
def test_close_lines_are_each_right_within_their_u(apart_rbw: float) -> None:
    rng = np.random.default_rng(2)
    first_hz = -30_123.0
    second_hz = first_hz + apart_rbw * 1.5 * RATE_HZ / 1024
    right = 0
    for _ in range(40):
        samples = tone(60_000, offset_hz=first_hz, phase=rng.uniform(0, 7))
        samples = samples + tone(
            60_000, offset_hz=second_hz, amplitude=0.15, phase=rng.uniform(0, 7)
        )
        take = take_of(samples + noise(rng, 60_000, power=1e-3))
        peaks = look(take, info(), SETTINGS, EXACT).result.peaks
        assert len(peaks) == 2
        for peak, true_hz in zip(peaks, (first_hz, second_hz), strict=True):
            right += abs(peak.frequency_hz - CENTER_HZ - true_hz) <= 2 * peak.u_hz
    assert right >= 0.9 * 80


def test_the_clock_is_corrected_once_and_its_doubt_is_added() -> None:
    """true = indicated (1 + ppm); u² = u_line² + (f u_ppm)² (JCGM 100:2008, 5.1.2)."""
    rng = np.random.default_rng(3)
    samples = tone(60_000, offset_hz=25_000.0) + noise(rng, 60_000, power=1e-4)
    clock = Correction(ppm=-40.0, u_ppm=0.5, origin="test")
    peak = look(take_of(samples), info(), SETTINGS, clock).result.peaks[0]
    assert peak.frequency_hz == pytest.approx(100.025e6 * (1 - 40e-6), abs=0.2)
    assert peak.u_hz == pytest.approx(np.hypot(50.0125, peak.u_indicated_hz), rel=1e-3)


def test_a_gap_is_counted_and_said() -> None:
    samples = tone(100_000, offset_hz=25_000.0)
    samples = samples + noise(np.random.default_rng(5), 100_000, power=1e-6)
    parts = (block(samples[:40_000]), block(samples[60_000:], index=60_000))
    found = look(MemoryTake(parts=parts), info(), SETTINGS, EXACT)
    assert "gaps" in [caution.code for caution in found.cautions]
    assert found.result.seconds == pytest.approx(80_000 / RATE_HZ, rel=0.01)  # whole segments
    assert found.result.peaks[0].frequency_hz == pytest.approx(CENTER_HZ + 25_000.0, abs=1e-3)


def test_a_take_shorter_than_a_segment_is_refused_with_what_would_work() -> None:
    with pytest.raises(UsageError, match=r"rbw|RBW|resolution"):
        look(take_of(np.zeros(500, complex)), info(), SETTINGS, EXACT)


def test_silence_is_no_line_and_no_traceback() -> None:
    found = look(take_of(np.zeros(50_000, complex)), info(), SETTINGS, EXACT)
    assert found.result.peaks == ()


@pytest.mark.parametrize("constant", [-1.0 - 1.0j, 0.25 + 0.125j, 1.0 / 255.0 + 0.0j])
def test_a_receiver_that_sends_one_value_shows_rounding_at_most_and_no_traceback(
    constant: complex,
) -> None:
    """What is left beside its mean is rounding."""
    samples = np.full(100_000, constant, np.complex64)
    seen = look(take_of(samples), info(), SETTINGS, EXACT)
    # The line at the centre is the value itself.
    assert all(line.level_dbfs < -120.0 for line in seen.result.peaks if Mark.DC not in line.marks)
    assert np.isfinite(seen.threshold).all()
    assert (seen.noise > 0.0).all()


def test_the_course_shows_when_a_line_was_there() -> None:
    rng = np.random.default_rng(4)
    samples = tone(200_000, offset_hz=-50_000.0)
    samples[80_000:120_000] = 0
    settings = LookSettings(spectrum=SpectrumSettings(segment=1024), course=True)
    found = look(take_of(samples + noise(rng, 200_000, power=1e-5)), info(), settings, EXACT)
    assert found.course is not None
    column = round((CENTER_HZ - 50_000.0 - found.course.first_hz) / found.course.column_hz)
    strip = found.course.tone_power[:, column - 1 : column + 2].max(axis=1)
    times = found.course.start_s + (np.arange(strip.size) + 0.5) * found.course.row_s
    gone = times[strip < 0.01]
    assert gone.min() == pytest.approx(80_000 / RATE_HZ, abs=0.02)
    assert gone.max() == pytest.approx(120_000 / RATE_HZ, abs=0.02)


@pytest.mark.parametrize("place", [0.0, 0.25, 0.5])
def test_a_line_that_drifts_a_little_is_not_called_wide(place: float) -> None:
    rng = np.random.default_rng(6)
    offset_hz = (100 + place) * RATE_HZ / 1024
    samples = tone(250_000, offset_hz=offset_hz, drift_hz_per_s=2.0)
    found = look(take_of(samples + noise(rng, 250_000, power=1e-5)), info(), SETTINGS, EXACT)
    (peak,) = found.result.peaks
    assert peak.width_hz == 0.0
    assert peak.u_hz < 3.0


def test_a_line_that_is_wide_has_its_width() -> None:
    """Frequency noise of rms s far slower than s makes a Gaussian line 2.355 s wide (closed form:
    the spectrum follows the distribution of the frequency)."""
    rng = np.random.default_rng(7)
    slow = np.repeat(rng.standard_normal(500), 1_000) * 1_500.0
    samples = 0.3 * np.exp(2j * np.pi * (20_000.0 * np.arange(500_000) + np.cumsum(slow)) / RATE_HZ)
    found = look(take_of(samples + noise(rng, 500_000, power=1e-4)), info(), SETTINGS, EXACT)
    peak = found.result.peaks[0]
    assert not peak.steady
    assert peak.width_hz == pytest.approx(2.355 * 1_500.0, rel=0.5)
    assert abs(peak.frequency_hz - CENTER_HZ - 20_000.0) < 2 * peak.u_hz


def test_the_phase_noise_beside_a_strong_line_is_no_line_of_its_own() -> None:
    rng = np.random.default_rng(8)
    shape = 1 / (1 + (np.fft.fftfreq(500_000, 1 / RATE_HZ) / 15_000.0) ** 4)
    skirt = np.fft.ifft(np.fft.fft(noise(rng, 500_000, power=1.0)) * np.sqrt(shape))
    samples = tone(500_000, offset_hz=-30_000.0) * (1 + 0.01 * skirt)
    found = look(take_of(samples + noise(rng, 500_000, power=3e-5)), info(), SETTINGS, EXACT)
    beside = [p for p in found.result.peaks if p.level_dbfs < -20]
    assert len(beside) <= 2  # of some hundred bins over the threshold
    assert found.result.peaks[0].frequency_hz == pytest.approx(CENTER_HZ - 30_000.0, abs=0.1)


def test_a_line_beside_a_much_stronger_one_is_not_given_its_power() -> None:
    """With a window of wide lobes: six bins away the stronger one's still reaches its own."""
    rng = np.random.default_rng(9)
    apart_hz = 6 * RATE_HZ / 1024
    samples = tone(200_000, offset_hz=20_000.0)
    weak = tone(200_000, offset_hz=20_000.0 + apart_hz, amplitude=0.003)
    weak[100_000:] *= 0.5  # not steady, so that its band is summed
    take = take_of(samples + weak + noise(rng, 200_000, power=1e-6))
    wide = LookSettings(spectrum=SpectrumSettings(segment=1024, window=Window.BLACKMAN_HARRIS))
    found = look(take, info(), wide, EXACT)
    beside = [
        peak
        for peak in found.result.peaks
        if abs(peak.frequency_hz - CENTER_HZ - 20_000.0 - apart_hz) < RATE_HZ / 1024
    ]
    assert len(beside) == 1
    assert beside[0].level_dbfs == pytest.approx(20 * np.log10(0.003) - 2.04, abs=1.5)
