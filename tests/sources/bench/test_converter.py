"""The 8-bit converter and the gain before it."""

import numpy as np
import pytest
from scipy.integrate import quad

from sniff.sources.bench.converter import digitize
from sniff.sources.bench.schema import IfAmplifier
from tests.sources.bench.measure import (
    bench,
    carrier,
    center_hz,
    density_dbfs_per_hz,
    heard,
    level_dbfs,
    projection,
    quiet_dongle,
)
from tests.values import bench as values

RATE_HZ = 240e3


def offset(source, hz):
    return hz - center_hz(source)


@pytest.mark.parametrize("level", [-0.5, -3.0, -20.0])
def test_a_line_has_the_level_the_scene_states(level):
    source = bench(carrier(83.4631e6, level))
    found = level_dbfs(heard(source, 0.5), RATE_HZ, offset(source, 83.4631e6))
    assert found == pytest.approx(level, abs=0.05)


def test_what_eight_bits_add_is_the_noise_of_their_step():
    """A signal without pattern, so that every place within a step is as likely."""
    rng = np.random.default_rng(5)
    pairs = rng.normal(scale=0.2, size=(500_000, 2)).astype(np.float32)
    samples = pairs[np.abs(pairs).max(axis=1) < 0.99].reshape(-1).view(np.complex64)
    added = digitize(samples.copy(), dongle=quiet_dongle()) - samples
    noise_dbfs = 10 * np.log10(np.mean(np.abs(added) ** 2))
    assert noise_dbfs == pytest.approx(values.QUANTIZATION_NOISE_DBFS, abs=0.01)


def test_what_eight_bits_add_to_a_line_near_the_rails():
    source = bench(carrier(83.4631e6, 20 * np.log10(0.99)))
    samples = heard(source, 0.5)
    hz = offset(source, 83.4631e6)
    turning = np.exp(2j * np.pi * hz / RATE_HZ * np.arange(samples.size))
    rest = samples - projection(samples, RATE_HZ, hz) * turning
    noise_dbfs = 10 * np.log10(np.mean(np.abs(rest) ** 2))
    assert noise_dbfs == pytest.approx(values.QUANTIZATION_NOISE_OF_A_TONE_DBFS, abs=0.05)


def test_every_sample_is_one_of_256_codes_about_the_middle():
    source = bench(carrier(83.4631e6, -0.3))
    codes = heard(source, 0.05).view(np.float32).astype(np.float64) * 127.5 + 127.5
    assert np.abs(codes - np.rint(codes)).max() < 1e-4
    assert codes.min() >= 0
    assert codes.max() <= 255


def test_an_offset_of_half_a_step_is_a_line_at_the_centre():
    """Noise of 2 steps goes before it: without, the offset would stay below a step unseen."""
    source = bench(dongle=quiet_dongle(dc_i_lsb=0.5, dc_q_lsb=-0.5, noise_dbfs_per_hz=-86.0))
    mean = np.mean(heard(source, 4.0))
    assert 20 * np.log10(abs(mean)) == pytest.approx(values.DC_OFFSET_OF_HALF_A_STEP_DBFS, abs=0.3)
    assert mean.real > 0 > mean.imag


def clipped_harmonic(amplitude: float, order: int) -> float:
    """Fourier coefficient of a cosine whose peaks are cut off at 1."""
    value, _ = quad(
        lambda x: np.clip(amplitude * np.cos(x), -1, 1) * np.cos(order * x), 0, np.pi, limit=200
    )
    return 2 / np.pi * value


@pytest.mark.parametrize("order", [1, 3, 5, 7])
def test_an_overdriven_line_folds_its_odd_harmonics_where_they_must_fall(order):
    """I is cut as a cosine, Q as a sine, whose harmonics differ by (-1)^((k-1)/2): of every other
    order the harmonic lies on the other side, at -3 f, +5 f, -7 f, and folds by the rate."""
    source = bench(carrier(83.5473e6, 6.0))
    hz = offset(source, 83.5473e6)
    harmonic_hz = order * hz * (-1) ** ((order - 1) // 2)
    folded_hz = (harmonic_hz + RATE_HZ / 2) % RATE_HZ - RATE_HZ / 2
    samples = heard(source, 0.5)
    expected = abs(clipped_harmonic(10 ** (6.0 / 20), order))
    found = abs(projection(samples, RATE_HZ, folded_hz))
    assert found == pytest.approx(expected, abs=5e-4)  # a step is 8e-3
    if order > 1:
        assert found > 100 * abs(projection(samples, RATE_HZ, -folded_hz))


def test_nothing_leaves_the_rails():
    source = bench(carrier(83.5473e6, 12.0))
    samples = heard(source, 0.05)
    assert np.abs(samples.view(np.float32)).max() == 1.0


@pytest.mark.parametrize("step_db", values.GAIN_STEPS_DB)
def test_the_gain_takes_the_nearest_step_of_the_tuner(step_db):
    source = bench()
    assert source.set_gain(step_db + 0.2) == step_db
    assert source.set_gain(None) is None


def test_a_frozen_amplifier_shows_a_step_of_gain_whole():
    source = bench(carrier(83.4631e6, -10.0), dongle=quiet_dongle(noise_dbfs_per_hz=-90.0))
    hz = offset(source, 83.4631e6)
    loud = heard(source, 1.0)
    source.set_gain(28.0)
    soft = heard(source, 1.0)
    step_db = 40.2 - 28.0
    assert level_dbfs(loud, RATE_HZ, hz) - level_dbfs(soft, RATE_HZ, hz) == pytest.approx(
        step_db, abs=0.02
    )
    noise_step_db = density_dbfs_per_hz(loud, RATE_HZ, -20e3, 60e3) - density_dbfs_per_hz(
        soft, RATE_HZ, -20e3, 60e3
    )
    # The converter's own noise, -103.7 dBFS/Hz at this rate, stays: 10 lg of (10^-9 + q) over
    # (10^-10.22 + q).
    own = 10 ** (values.QUANTIZATION_NOISE_DBFS / 10) / RATE_HZ
    expected_db = 10 * np.log10((10**-9 + own) / (10 ** (-9 - step_db / 10) + own))
    assert noise_step_db == pytest.approx(expected_db, abs=0.25)


def automatic_bench(**changes):
    dongle = quiet_dongle(
        if_amplifier=IfAmplifier.AUTOMATIC,
        target_dbfs=-12.0,
        loop_s=0.1,
        noise_dbfs_per_hz=-100.0,
        **changes,
    )
    return bench(carrier(83.4631e6, -20.0), dongle=dongle)


def test_an_automatic_amplifier_hides_a_step_of_gain_after_its_time_constant():
    source = automatic_bench()
    hz = offset(source, 83.4631e6)
    heard(source, 1.5)
    before_db = level_dbfs(heard(source, 0.5), RATE_HZ, hz)
    assert before_db == pytest.approx(-12.0, abs=0.1)
    source.set_gain(48.0)
    step_db = 48.0 - 40.2
    courses = heard(source, 1.5)
    for at_s in (0.02, 0.1, 0.2):
        place = round(at_s * RATE_HZ)
        part = courses[place - 240 : place + 240]
        jump_db = level_dbfs(part, RATE_HZ, hz) - before_db
        assert jump_db == pytest.approx(step_db * np.exp(-at_s / 0.1), abs=0.15)
    after_db = level_dbfs(courses[-60_000:], RATE_HZ, hz)
    assert after_db == pytest.approx(before_db, abs=0.1)


def test_an_automatic_amplifier_goes_on_from_where_it_was_after_a_change():
    """It rises by 8 dB (1 - exp(-t / 0.1 s)); 20 ms after it was switched on it is set anew."""
    source = automatic_bench()
    hz = offset(source, 83.4631e6)
    heard(source, 0.02)
    source.set_gain(40.2)
    found_db = level_dbfs(heard(source, 0.002), RATE_HZ, hz)
    assert found_db == pytest.approx(-20.0 + 8.0 * (1 - np.exp(-0.021 / 0.1)), abs=0.2)


def test_an_automatic_amplifier_is_said_in_a_caution():
    assert [caution.code for caution in automatic_bench().info.cautions] == ["levels-not-fixed"]
    assert bench().info.cautions == ()


def test_automatic_gain_keeps_a_strong_line_off_the_rails():
    source = bench(carrier(83.4631e6, 5.0), gain_db=None)
    found = level_dbfs(heard(source, 0.2), RATE_HZ, offset(source, 83.4631e6))
    # The highest step not above the target of -12 dBFS is 22.9 dB: 17.3 dB under the reference.
    assert found == pytest.approx(5.0 - (40.2 - 22.9), abs=0.1)
