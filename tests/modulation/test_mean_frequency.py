"""The mean frequency of modulated carriers: right, and as right as it says."""

import numpy as np
import pytest

from sniff.modulation.channel import ChannelFilter
from sniff.modulation.mean_frequency import MeanFrequency, mean_frequency
from sniff.modulation.phase import PhaseSteps
from sniff.refine import cramer_rao_hz
from tests.modulation.signals import frequency_modulated, in_noise, speech_like
from tests.signals import block

RATE_HZ = 32e3
OFFSET_HZ = -1234.0


def measured(samples: np.ndarray, *, rate_hz: float = RATE_HZ, width_hz: float) -> MeanFrequency:
    """From the channel's zero, which lies 20 Hz above the carrier."""
    channel = ChannelFilter(
        100e6 + OFFSET_HZ + 20.0, width_hz=width_hz, rate_hz=rate_hz, center_hz=100e6
    )
    steps = PhaseSteps(channel.rate_hz, seconds=samples.size / rate_hz)
    for part in channel.push(block(samples, rate_hz=rate_hz)):
        steps.push(part)
    (run,) = steps.runs()
    return mean_frequency(run.phase, run.step_s)


def trials(kind: str, count: int, seconds: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """Errors and uncertainties at 20 dB SNR in the channel."""
    errors, us = [], []
    for number in range(count):
        rng = np.random.default_rng([6, number])
        size = int(seconds * RATE_HZ)
        low_hz = {"speech": 300.0, "rumble": 0.0}.get(kind)
        swing = (
            None
            if low_hz is None
            else speech_like(rng, size, rate_hz=RATE_HZ, peak_hz=3e3, low_hz=low_hz)
        )
        samples = frequency_modulated(
            size,
            rate_hz=RATE_HZ,
            offset_hz=OFFSET_HZ,
            tones=[(3e3, 1e3)] if kind == "tone" else [],
            swing_hz=swing,
        )
        found = measured(
            in_noise(rng, samples, rate_hz=RATE_HZ, snr_db=20.0, width_hz=14e3), width_hz=14e3
        )
        errors.append(found.offset_hz + 20.0)
        us.append(found.u_hz)
    return np.array(errors), np.array(us)


@pytest.mark.parametrize("kind", ["none", "tone", "speech", "rumble"])
def test_twice_its_u_covers_the_error_as_often_as_it_should(kind: str) -> None:
    """60 trials of a coverage of 95.4 %: at least 52 but once in 10,000 (binomial)."""
    errors, us = trials(kind, 60)
    covered = int((np.abs(errors) <= 2.0 * us).sum())
    assert covered >= 52
    # And u is no larger than it need be: the errors scatter by it, within 30 % (chi-square of 60).
    assert 0.7 < np.median(us) / np.sqrt(np.mean(errors**2)) < 1.4


@pytest.mark.parametrize("kind", ["none", "tone"])
def test_it_comes_near_the_cramer_rao_bound(kind: str) -> None:
    """By its weights 1.28 times the bound; 60 trials scatter by a tenth of that."""
    errors, _ = trials(kind, 60)
    bound = cramer_rao_hz(carrier_to_noise_hz=100.0 * 14e3, seconds=2.0)
    assert np.sqrt(np.mean(errors**2)) < 1.28 * 1.3 * bound


def test_a_low_tone_with_a_broken_period_hardly_moves_it() -> None:
    """88.5 Hz with 500 Hz of deviation over 1.5 s: least squares would be off by up to
    ``12 b / (2 pi w T²)``, 9 mHz."""
    worst_hz = 0.0
    for phase in range(4):
        samples = frequency_modulated(
            48_000 + 90 * phase, rate_hz=RATE_HZ, offset_hz=OFFSET_HZ, tones=[(500.0, 88.5)]
        )
        worst_hz = max(worst_hz, abs(measured(samples, width_hz=14e3).offset_hz + 20.0))
    assert worst_hz < 1e-4


def test_audio_that_reaches_down_to_zero_frequency_makes_u_large() -> None:
    """Of noise of one-sided density S of the frequency, the mean over T scatters by S / 2T; with
    a Hann window by 3/2 of that."""
    _, us = trials("rumble", 20)
    f = np.linspace(0.0, 3400.0, 3401)
    shape = 1.0 / (1.0 + (f / 500.0) ** 2) ** 2
    density = 1e3**2 / np.trapezoid(shape, f)
    expected = np.sqrt(1.5 * density / 2.0 / 2.0)
    assert np.median(us) == pytest.approx(expected, rel=0.3)


def test_a_long_symmetric_tone_leaves_less_than_a_twentieth_of_a_ppm_of_200_mhz() -> None:
    rng = np.random.default_rng(9)
    samples = frequency_modulated(
        2_560_000, rate_hz=256e3, offset_hz=OFFSET_HZ, tones=[(75e3, 1e3)]
    )
    found = measured(
        in_noise(rng, samples, rate_hz=256e3, snr_db=20.0, width_hz=152e3),
        rate_hz=256e3,
        width_hz=190e3,
    )
    assert abs(found.offset_hz + 20.0) <= 3.0 * found.u_hz
    assert found.u_hz < 0.05e-6 * 200e6


def test_drift_is_told_and_the_mean_is_that_of_the_whole() -> None:
    t = np.arange(64_000) / RATE_HZ
    rng = np.random.default_rng(2)
    samples = frequency_modulated(
        64_000, rate_hz=RATE_HZ, offset_hz=OFFSET_HZ, swing_hz=50.0 * (t - 1.0)
    )
    found = measured(
        in_noise(rng, samples, rate_hz=RATE_HZ, snr_db=30.0, width_hz=14e3), width_hz=14e3
    )
    assert found.drift_hz_per_s == pytest.approx(50.0, abs=0.01)
    assert found.offset_hz == pytest.approx(-20.0, abs=0.02)


def test_a_phase_of_fewer_than_four_steps_is_refused() -> None:
    with pytest.raises(ValueError, match="too few"):
        mean_frequency(np.zeros(3), 1e-3)


def test_steps_are_few_however_long_the_take_and_keep_the_phase() -> None:
    """A stretch of an hour, said to be one: each step is long, the mean is the same."""
    rate_hz, seconds = 8e3, 20.0
    samples = frequency_modulated(
        int(rate_hz * seconds), rate_hz=rate_hz, offset_hz=137.0, tones=[(900.0, 400.0)]
    )
    fine, coarse = PhaseSteps(rate_hz, seconds=seconds), PhaseSteps(rate_hz, seconds=3600.0)
    for first in range(0, samples.size, 1_777):
        part = block(samples[first : first + 1_777], rate_hz=rate_hz, index=first)
        fine.push(part)
        coarse.push(part)
    (a,), (b,) = fine.runs(), coarse.runs()
    assert b.phase.size < a.phase.size / 20
    assert mean_frequency(a.phase, a.step_s).offset_hz == pytest.approx(137.0, abs=1e-3)
    assert mean_frequency(b.phase, b.step_s).offset_hz == pytest.approx(137.0, abs=1e-3)
