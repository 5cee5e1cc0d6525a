"""The clock correction: its sign by cause, its propagation by the GUM."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.correction import Converter, Correction
from calib.reading import Reading
from tests.values.uncertainty import (
    READ_HZ,
    READING_ERROR_PPM,
    SLOW_CRYSTAL_PPM,
    TRUE_HZ,
)


def clock(ppm: float, u_ppm: float = 0.0) -> Correction:
    return Correction(ppm=ppm, u_ppm=u_ppm, origin="test")


def test_the_published_example_in_both_sign_conventions() -> None:
    reading_error_ppm = (READ_HZ / TRUE_HZ - 1) * 1e6
    assert reading_error_ppm == pytest.approx(READING_ERROR_PPM, abs=0.05)
    assert clock(SLOW_CRYSTAL_PPM).apply(READ_HZ, 0.0).value_hz == pytest.approx(TRUE_HZ, abs=1.5)


@given(st.floats(1e6, 2e9), st.floats(-150, 150))
def test_a_fast_clock_reads_low_and_is_corrected_upwards(true_hz: float, ppm: float) -> None:
    """By cause: a clock fast by ppm counts true_hz / (1 + ppm) in its own second."""
    indicated_hz = true_hz / (1 + ppm * 1e-6)
    assert clock(ppm).apply(indicated_hz, 0.0).value_hz == pytest.approx(true_hz, rel=1e-14)
    assert clock(ppm).indicate(true_hz) == pytest.approx(indicated_hz, rel=1e-14)


def test_u_is_propagated_for_independent_inputs() -> None:
    """u² = (u_f)² + (f u_p)² (JCGM 100:2008, 5.1.2): 3-4-5 at 100 MHz and 0.04 ppm."""
    assert clock(0.0, 0.04).apply(100e6, 3.0).u_hz == pytest.approx(5.0)


def test_an_unknown_dongle_is_rectangular_within_100_ppm() -> None:
    """u = a / sqrt(3) (JCGM 100:2008, 4.3.7)."""
    unknown = Correction.unknown_dongle()
    assert unknown.ppm == 0.0
    assert unknown.u_ppm == pytest.approx(57.735, abs=1e-3)
    assert "not calibrated" in unknown.origin


def test_the_clocks_doubt_does_not_average_away() -> None:
    """A hundred readings share the clock: their mean is no surer than f u_p."""
    readings = [clock(0.0, 1.0).apply(100e6 + n, 0.1) for n in range(100)]
    assert min(reading.u_hz for reading in readings) >= 100.0


def test_expanded_uncertainty_is_twice_the_standard_one() -> None:
    reading = Reading(value_hz=1e6, u_hz=2.5)
    assert reading.expanded_hz() == 5.0
    assert reading.expanded_hz(k=3.0) == 7.5


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_numbers_that_are_none_are_a_programmers_mistake(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        clock(bad)
    with pytest.raises(ValueError, match="finite"):
        Reading(value_hz=bad, u_hz=1.0)
    with pytest.raises(ValueError, match="finite"):
        Converter(shift_hz=bad)


def test_a_negative_u_is_a_programmers_mistake() -> None:
    with pytest.raises(ValueError, match="u >= 0"):
        clock(0.0, -1.0)
    with pytest.raises(ValueError, match="u >= 0"):
        Reading(value_hz=1.0, u_hz=-1.0)
