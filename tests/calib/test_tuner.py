"""Tuner arithmetic against figures decoded from the shipped driver (tests/values/tuner.py)."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.tuner import (
    R828D_CLOCK_HZ,
    direct_sampling_tuning,
    e4000_tuning,
    r82xx_filter,
    r82xx_range,
    r82xx_tuning,
    resampler_rate,
    resampler_ratio,
    unknown_tuning,
)
from tests.values import tuner as values


@pytest.mark.parametrize(
    ("request_hz", "divider", "nint", "sdm", "step_hz", "error_hz"), values.R82XX_SETTINGS
)
def test_r82xx_settings_are_those_the_driver_writes(
    request_hz: float, divider: int, nint: int, sdm: int, step_hz: float, error_hz: float
) -> None:
    tuning = r82xx_tuning(request_hz, bandwidth_hz=2.4e6)
    assert (tuning.divider, tuning.nint, tuning.sdm) == (divider, nint, sdm)
    assert tuning.step_hz == pytest.approx(step_hz, abs=6e-4)
    assert tuning.center_hz - request_hz == pytest.approx(error_hz, abs=6e-4)
    assert tuning.center_hz == pytest.approx(tuning.lo_hz - tuning.if_hz, abs=1e-6)
    assert tuning.u_center_hz == 0.0


@pytest.mark.parametrize(("band_hz", "lowest_hz", "highest_hz"), values.R82XX_WORST_ERROR_HZ)
@given(part=st.floats(min_value=-0.05, max_value=0.05))
def test_r82xx_error_stays_within_the_worst_of_its_divider_band(
    band_hz: float, lowest_hz: float, highest_hz: float, part: float
) -> None:
    request_hz = float(int(band_hz * (1 + part)))
    tuning = r82xx_tuning(request_hz, bandwidth_hz=2.4e6)
    assert tuning.divider == r82xx_tuning(band_hz, bandwidth_hz=2.4e6).divider
    # The bounds are rounded to two or three digits in their source.
    assert lowest_hz - 0.6 <= tuning.center_hz - request_hz <= highest_hz + 0.6


@given(
    request_hz=st.integers(min_value=30_000_000, max_value=1_760_000_000),
    bandwidth_hz=st.floats(min_value=200e3, max_value=8e6),
)
def test_r82xx_error_is_at_most_half_a_step_and_one_nco_quantum(
    request_hz: int, bandwidth_hz: float
) -> None:
    tuning = r82xx_tuning(request_hz, bandwidth_hz=bandwidth_hz)
    error_hz = tuning.center_hz - request_hz
    assert -tuning.step_hz / 2 - 1e-6 <= error_hz <= tuning.step_hz / 2 + 28.8e6 / 2**22 + 1e-6


@pytest.mark.parametrize(("bandwidth_hz", "if_hz"), values.R82XX_IF_HZ)
def test_r82xx_if_follows_from_the_bandwidth(bandwidth_hz: float, if_hz: float) -> None:
    assert r82xx_filter(bandwidth_hz)[1] == if_hz
    tuning = r82xx_tuning(100e6, bandwidth_hz=bandwidth_hz)
    assert 0 <= if_hz - tuning.if_hz < 28.8e6 / 2**22


@pytest.mark.parametrize(("bandwidth_hz", "width_hz"), values.R82XX_WIDTH_HZ)
def test_r82xx_filter_applied_is_the_nearest_below_the_middle(
    bandwidth_hz: float, width_hz: float
) -> None:
    assert r82xx_filter(bandwidth_hz)[0] == width_hz


def test_r82xx_tunes_its_range_to_the_hertz_and_nothing_beyond() -> None:
    low_hz, high_hz = r82xx_range(bandwidth_hz=2.4e6)
    assert (low_hz, high_hz) == values.R82XX_RANGE_HZ
    for edge_hz, beyond_hz in ((low_hz, low_hz - 1), (high_hz, high_hz + 1)):
        assert r82xx_tuning(edge_hz, bandwidth_hz=2.4e6).request_hz == edge_hz
        with pytest.raises(ValueError, match=r"cannot be tuned: the range is 26\.05"):
            r82xx_tuning(beyond_hz, bandwidth_hz=2.4e6)
    with pytest.raises(ValueError, match="cannot be tuned"):
        r82xx_tuning(20e6, bandwidth_hz=2.4e6)


@pytest.mark.parametrize("bad_hz", [float("nan"), float("inf"), -float("inf"), 0.0, -1.0])
def test_r82xx_refuses_what_is_no_frequency(bad_hz: float) -> None:
    with pytest.raises(ValueError, match=r"not a number|cannot be tuned"):
        r82xx_tuning(bad_hz, bandwidth_hz=2.4e6)
    with pytest.raises(ValueError, match="must be above zero"):
        r82xx_tuning(100e6, bandwidth_hz=bad_hz)


def test_r828d_with_its_own_crystal_steps_by_its_own_clock() -> None:
    tuning = r82xx_tuning(100e6, bandwidth_hz=2.4e6, tuner_clock_hz=R828D_CLOCK_HZ)
    assert tuning.step_hz * tuning.divider == pytest.approx(
        values.R828D_STEP_TIMES_DIVIDER_HZ, abs=6e-3
    )
    assert abs(tuning.center_hz - 100e6) <= tuning.step_hz / 2 + 6.9


def test_a_fast_clock_moves_center_and_rate_by_the_worked_example() -> None:
    center_hz = r82xx_tuning(433.92e6, bandwidth_hz=2.4e6).center_hz
    assert center_hz * (1 + 30e-6) - 433.92e6 == pytest.approx(values.FAST_CLOCK_ERROR_HZ, abs=0.6)
    assert resampler_rate(2.4e6) * (1 + 30e-6) == pytest.approx(values.FAST_CLOCK_RATE_HZ)


@pytest.mark.parametrize(("request_hz", "error_hz"), values.E4000_ERROR_HZ)
def test_e4000_error_is_the_known_one(request_hz: float, error_hz: float) -> None:
    tuning = e4000_tuning(request_hz)
    assert tuning.center_hz - request_hz == pytest.approx(error_hz, abs=0.06)
    assert tuning.step_hz * tuning.divider == pytest.approx(
        values.E4000_STEP_TIMES_DIVIDER_HZ, abs=6e-3
    )


@given(st.integers(min_value=52_000_000, max_value=2_200_000_000))
def test_e4000_is_always_low_by_less_than_a_step(request_hz: int) -> None:
    tuning = e4000_tuning(request_hz)
    assert -tuning.step_hz - 1e-6 < tuning.center_hz - request_hz <= 1e-6


@given(st.integers(min_value=0, max_value=14_400_000))
def test_direct_sampling_is_low_by_at_most_one_nco_quantum(request_hz: int) -> None:
    assert -6.8665 < direct_sampling_tuning(request_hz).center_hz - request_hz <= 0


@pytest.mark.parametrize("request_hz", [-1.0, 14_400_001.0, 20e6])
def test_direct_sampling_refuses_all_but_its_first_zone(request_hz: float) -> None:
    with pytest.raises(ValueError, match="cannot be tuned"):
        direct_sampling_tuning(request_hz)


@pytest.mark.parametrize("request_hz", [30e6, 1.1e9, 2.3e9])
def test_an_unknown_tuner_is_where_it_was_asked_within_half_a_step(request_hz: float) -> None:
    tuning = unknown_tuning(request_hz)
    assert tuning.center_hz == request_hz
    # Rectangular distribution of half-width a: u = a / sqrt(3) (JCGM 100:2008, 4.3.7).
    assert tuning.u_center_hz == pytest.approx(tuning.step_hz / 2 / sqrt(3))
    # Worst figure of any driver in use: -1372 Hz at 1090 MHz, -66 Hz at 50 MHz.
    assert tuning.step_hz / 2 >= max(1372 / 1090e6, 66 / 50e6) * request_hz


@pytest.mark.parametrize(("asked_hz", "register", "made_hz"), values.RESAMPLER)
def test_resampler_makes_the_rate_of_its_register(
    asked_hz: int, register: int, made_hz: float
) -> None:
    assert resampler_ratio(asked_hz) & 0x0FFF_FFFC == register
    assert resampler_rate(asked_hz) == pytest.approx(made_hz, abs=6e-4)


@given(st.integers(min_value=900_001, max_value=3_200_000))
def test_resampler_error_stays_within_the_worst_known(asked_hz: int) -> None:
    error_hz = resampler_rate(asked_hz) - asked_hz
    assert 0 <= error_hz <= values.RESAMPLER_WORST_ERROR_HZ + 5e-3


@pytest.mark.parametrize("edge_hz", [225_001, 300_000, 900_001, 3_200_000])
def test_resampler_accepts_the_edges_of_its_ranges(edge_hz: int) -> None:
    assert resampler_rate(edge_hz) == pytest.approx(edge_hz, abs=0.35)


@pytest.mark.parametrize(
    "bad_hz", [225_000, 300_001, 900_000, 3_200_001, 0, -1, float("nan"), float("inf")]
)
def test_resampler_refuses_what_the_chip_cannot_do(bad_hz: float) -> None:
    with pytest.raises(ValueError, match="none the chip can do"):
        resampler_rate(bad_hz)
