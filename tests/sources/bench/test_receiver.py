"""Ways into the receiver: filters, image, mirror, folding, noise, the LO's phase."""

import numpy as np
import pytest

from sniff.sources.bench.schema import TunerKind
from tests.sources.bench.measure import (
    bench,
    carrier,
    center_hz,
    density_dbfs_per_hz,
    frequency_hz,
    heard,
    level_dbfs,
    projection,
    quiet_dongle,
    strongest_hz,
)
from tests.values import bench as values


def fir_loss_db(hz: float) -> float:
    return float(np.interp(abs(hz), *zip((0.0, 0.0), *values.FIR_LOSS_DB, strict=True)))


def if_loss_db(hz: float, width_hz: float) -> float:
    """A maximally flat filter of order 4 has 1 + (2 f / B)^8 for its loss (Butterworth 1930)."""
    return 10 * np.log10(1 + (2 * abs(hz) / width_hz) ** 8)


def noise_gain(hz: float, rate_hz: float, width_hz: float) -> float:
    """Power gain for white noise, what folds in from either side included."""
    losses_db = (
        fir_loss_db(hz + zone * rate_hz) + if_loss_db(hz + zone * rate_hz, width_hz)
        for zone in (-1, 0, 1)
    )
    return sum(10 ** (-loss_db / 10) for loss_db in losses_db)


@pytest.mark.parametrize(("rate_hz", "if_hz"), [(r, i) for r, _, i in values.IF_FILTERS_HZ])
@pytest.mark.parametrize("ppm", [0.0, 35.0])
def test_what_is_twice_the_if_above_shows_mirrored_and_weaker(rate_hz, if_hz, ppm):
    dongle = quiet_dongle(image_rejection_db=30.0, error_ppm=ppm)
    probe = bench(dongle=dongle, rate_hz=rate_hz)
    offset_hz = probe.info.image_offset_hz
    assert offset_hz == pytest.approx(2 * if_hz, abs=14.0)  # two quanta of the NCO, 6.87 Hz
    image_hz = (center_hz(probe) + offset_hz + 31e3) * (1 + ppm * 1e-6)
    source = bench(carrier(image_hz, 24.0), dongle=dongle, rate_hz=rate_hz)
    samples = heard(source, 0.2)
    assert frequency_hz(samples, rate_hz, -31e3) == pytest.approx(-31e3, abs=0.01)
    assert level_dbfs(samples, rate_hz, -31e3) == pytest.approx(
        24.0 - 30.0 - fir_loss_db(31e3), abs=0.05
    )


def test_an_image_moves_twice_as_far_as_the_centre_and_against_a_line():
    dongle = quiet_dongle(image_rejection_db=20.0)
    source = bench(carrier(83.5e6 + 2 * 1925e3 + 40e3, 12.0), dongle=dongle)
    found_hz, centers_hz = [], []
    for request_hz in (83.5e6, 83.51e6):
        source.tune(request_hz)
        samples = heard(source, 0.2)
        near_hz = strongest_hz(samples, 240e3)
        found_hz.append(center_hz(source) + frequency_hz(samples, 240e3, near_hz))
        centers_hz.append(center_hz(source))
    assert found_hz[1] - found_hz[0] == pytest.approx(2 * (centers_hz[1] - centers_hz[0]), abs=0.1)


def test_a_zero_if_tuner_shows_a_mirror_about_its_centre_and_no_image():
    dongle = quiet_dongle(tuner=TunerKind.ZERO_IF, mirror_rejection_db=33.0)
    source = bench(carrier(83.5613e6, -1.0), dongle=dongle)
    assert source.info.image_offset_hz is None
    hz = 83.5613e6 - center_hz(source)
    samples = heard(source, 0.5)
    assert level_dbfs(samples, 240e3, -hz) == pytest.approx(-34.0, abs=0.1)
    assert level_dbfs(samples, 240e3, hz) == pytest.approx(-1.0, abs=0.05)


@pytest.mark.parametrize("offset_hz", [-0.5e6, 0.8e6, -0.9765e6])
def test_a_line_off_the_centre_is_weaker_by_both_filters(offset_hz):
    rate_hz, width_hz, _ = values.IF_FILTERS_HZ[1]
    source = bench(carrier(83.5e6 + offset_hz, -3.0), rate_hz=rate_hz)
    found = level_dbfs(heard(source, 0.1), rate_hz, 83.5e6 + offset_hz - center_hz(source))
    # 0.01 dB for reading the fixed filter between its points.
    expected = -3.0 - fir_loss_db(offset_hz) - if_loss_db(offset_hz, width_hz)
    assert found == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize("offset_hz", [-150e3, 170e3])
def test_a_line_beyond_half_the_rate_folds_in(offset_hz):
    rate_hz, width_hz, _ = values.IF_FILTERS_HZ[0]
    source = bench(carrier(83.5e6 + offset_hz, -1.0), rate_hz=rate_hz)
    true_offset_hz = 83.5e6 + offset_hz - center_hz(source)
    folded_hz = true_offset_hz - np.sign(offset_hz) * rate_hz
    samples = heard(source, 0.2)
    assert frequency_hz(samples, rate_hz, folded_hz) == pytest.approx(folded_hz, abs=0.01)
    expected = -1.0 - fir_loss_db(offset_hz) - if_loss_db(offset_hz, width_hz)
    assert level_dbfs(samples, rate_hz, folded_hz) == pytest.approx(expected, abs=0.05)


def test_the_noise_floor_has_its_level_and_follows_the_filters():
    rate_hz, width_hz, _ = values.IF_FILTERS_HZ[1]
    source = bench(dongle=quiet_dongle(noise_dbfs_per_hz=-85.0), rate_hz=rate_hz)
    samples = heard(source, 2.0)
    middle = density_dbfs_per_hz(samples, rate_hz, -40e3, 80e3)
    assert middle == pytest.approx(-85.0, abs=0.1)
    for place_hz in (-0.8e6, 0.8e6, 0.96e6, -1.1e6):
        gain = noise_gain(place_hz, rate_hz, width_hz)
        found = density_dbfs_per_hz(samples, rate_hz, place_hz - 10e3, place_hz + 10e3)
        assert found == pytest.approx(-85.0 + 10 * np.log10(gain), abs=0.2)


def test_noise_from_behind_the_gain_does_not_follow_it():
    source = bench(dongle=quiet_dongle(late_noise_dbfs_per_hz=-88.0), gain_db=49.6)
    own = 10 ** (values.QUANTIZATION_NOISE_DBFS / 10) / 240e3
    expected = 10 * np.log10(10**-8.8 * noise_gain(0.0, 240e3, 290e3) + own)
    for gain_db in (49.6, 0.0):
        source.set_gain(gain_db)
        found = density_dbfs_per_hz(heard(source, 1.0), 240e3, -10e3, 12e3)
        assert found == pytest.approx(expected, abs=0.15)


def phase_density_dbc_per_hz(samples, rate_hz, hz, at_hz):
    """Two-sided density of the phase about a line, smoothed over a fifth of the distance."""
    turning = np.exp(-2j * np.pi * hz / rate_hz * np.arange(samples.size))
    still = samples * turning
    angle = np.angle(still / np.mean(still))
    rows = angle[: angle.size // 4096 * 4096].reshape(-1, 4096)
    window = np.hanning(4096)
    power = np.mean(np.abs(np.fft.rfft(rows * window, axis=1)) ** 2, axis=0)
    density = power / (rate_hz * np.sum(window**2))
    places_hz = np.fft.rfftfreq(4096, 1 / rate_hz)
    near = np.abs(places_hz - at_hz) < 0.1 * at_hz
    return 10 * np.log10(np.mean(density[near]))


def test_the_lo_has_the_phase_noise_that_is_stated_at_ten_kilohertz():
    loop_hz, rate_hz = 40e3, 2.4e6
    dongle = quiet_dongle(phase_noise_dbc_per_hz=-85.0, loop_bandwidth_hz=loop_hz)
    source = bench(carrier(83.2e6, -0.5), dongle=dongle, rate_hz=rate_hz)
    samples = heard(source, 1.0)
    hz = 83.2e6 - center_hz(source)
    assert phase_density_dbc_per_hz(samples, rate_hz, hz, 10e3) == pytest.approx(-85.0, abs=0.3)
    for at_hz in (4e3, 100e3):  # flat within the loop, 20 dB a decade beyond
        shape_db = 10 * np.log10((1 + (10e3 / loop_hz) ** 2) / (1 + (at_hz / loop_hz) ** 2))
        found = phase_density_dbc_per_hz(samples, rate_hz, hz, at_hz)
        assert found == pytest.approx(-85.0 + shape_db, abs=0.5)


def test_the_phase_noise_of_the_lo_is_common_to_all_lines():
    dongle = quiet_dongle(phase_noise_dbc_per_hz=-60.0)
    source = bench(carrier(83.45e6, -7.0), carrier(83.57e6, -7.5), dongle=dongle)
    samples = heard(source, 0.2)
    courses = []
    for line_hz in (83.45e6, 83.57e6):
        hz = line_hz - center_hz(source)
        turning = np.exp(-2j * np.pi * hz / 240e3 * np.arange(samples.size))
        still = (samples * turning)[: samples.size // 24 * 24].reshape(-1, 24).mean(axis=1)
        courses.append(np.angle(still / np.mean(still)))
    assert np.corrcoef(*courses)[0, 1] > 0.9


def test_the_tuner_refuses_what_its_synthesiser_cannot_reach():
    source = bench()
    low_hz, high_hz = source.info.range_hz
    # 1.925 MHz of IF: 27.6565 ... 1769.9995 MHz of LO (facts sheet of the dongle, 3.2).
    assert (low_hz, high_hz) == pytest.approx((25.731e6, 1768.074e6), abs=1e3)
    source.tune(low_hz)
    source.tune(high_hz)
    from sniff.errors import SourceError

    for beyond_hz in (low_hz - 1e3, high_hz + 1e3, float("nan"), -1.0):
        with pytest.raises(SourceError, match="bench:test"):
            source.tune(beyond_hz)


def test_a_projection_sees_what_the_tests_rely_on():
    """The tests' own instrument, on a line whose amplitude and place are known."""
    samples = 0.25 * np.exp(2j * np.pi * 0.1234567 * np.arange(48_000) + 1j)
    assert abs(projection(samples, 1.0, 0.1234567)) == pytest.approx(0.25, rel=1e-9)
    assert frequency_hz(samples, 1.0, 0.12346) == pytest.approx(0.1234567, abs=1e-12)
