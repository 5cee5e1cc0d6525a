"""A wrong clock: planted as a fast crystal, recovered as an indication that is off."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.sources.bench.field import Field
from sniff.sources.bench.grid import CHUNK
from sniff.sources.bench.receiver import Receiver, tuning_for
from sniff.sources.bench.schema import Scene
from tests.sources.bench.measure import (
    bench,
    carrier,
    center_hz,
    frequency_hz,
    heard,
    level_dbfs,
    quiet_dongle,
)
from tests.values import bench as values


@pytest.mark.parametrize("request_hz", [28.1e6, 83.5e6, 433.9e6, 1090.3e6, 1700.1e6])
@pytest.mark.parametrize(("offset_hz", "ppm"), [(-871e3, 97.0), (653e3, -41.5), (-42e3, 20.0)])
def test_a_line_appears_where_a_fast_crystal_puts_it(request_hz, offset_hz, ppm):
    """A tuner whose LO is truly at c (1 + e) leaves f - c (1 + e); a sampler that is fast by the
    same counts it too low by 1 / (1 + e). At 871 kHz and 97 ppm the sampler's part is 84 Hz."""
    true_hz = request_hz + offset_hz
    source = bench(
        carrier(true_hz),
        dongle=quiet_dongle(error_ppm=ppm),
        rate_hz=2.4e6,
        center_hz=request_hz,
    )
    fast = 1 + ppm * 1e-6
    expected_hz = (true_hz - center_hz(source) * fast) / fast
    samples = heard(source, 0.25)
    assert frequency_hz(samples, 2.4e6, expected_hz) == pytest.approx(expected_hz, abs=0.01)
    assert level_dbfs(samples, 2.4e6, expected_hz) > -10


@settings(max_examples=40)
@given(
    center=st.floats(30e6, 1.7e9),
    offset=st.floats(-90e3, 90e3).filter(lambda hz: abs(hz) > 3e3),
    ppm=st.floats(-50.0, 50.0),
    off=st.floats(-10.0, 10.0),
)
def test_two_crystals_that_are_off_show_their_difference(center, offset, ppm, off):
    """The set's own crystal off by `off`, the dongle's by `ppm`, anywhere in the tuner's range."""
    true_hz = (center + offset) * (1 + off * 1e-6)
    source = bench(
        carrier(center + offset, off_ppm=off),
        dongle=quiet_dongle(error_ppm=ppm),
        center_hz=center,
    )
    expected_hz = true_hz / (1 + ppm * 1e-6) - center_hz(source)
    folded_hz = (expected_hz + 120e3) % 240e3 - 120e3
    found_hz = frequency_hz(heard(source, 0.2), 240e3, folded_hz)
    assert found_hz == pytest.approx(folded_hz, abs=0.01)


@pytest.mark.parametrize("ppm", [-80.0, 0.0, 33.3])
@pytest.mark.parametrize("multiple", sorted(values.SPUR_MULTIPLES_HZ))
def test_an_own_spur_stays_at_its_multiple_of_the_clock_whatever_the_error(ppm, multiple):
    spur_hz = values.SPUR_MULTIPLES_HZ[multiple]
    source = bench(
        dongle=quiet_dongle(error_ppm=ppm, warm_up_ppm=5.0, spur_dbfs=-20.0),
        center_hz=spur_hz + 31.7e3,
    )
    samples = heard(source, 0.2)
    expected_hz = spur_hz - center_hz(source)
    assert frequency_hz(samples, 240e3, expected_hz) == pytest.approx(expected_hz, abs=0.005)
    assert level_dbfs(samples, 240e3, expected_hz) == pytest.approx(-20.0, abs=0.05)


def test_a_half_multiple_shows_the_weaker_spur():
    source = bench(
        dongle=quiet_dongle(spur_dbfs=-6.0, half_spur_dbfs=-14.0), center_hz=43.2e6 - 20e3
    )
    offset_hz = 43.2e6 - center_hz(source)
    assert level_dbfs(heard(source, 0.1), 240e3, offset_hz) == pytest.approx(-14.0, abs=0.05)


def test_the_indication_drifts_as_the_dongle_warms_up():
    """f / (1 + e(t)) with e(t) = error + warm_up exp(-t / time constant)."""
    source = bench(
        carrier(1000.05e6),
        dongle=quiet_dongle(error_ppm=20.0, warm_up_ppm=-7.0, warm_up_s=4.0),
        center_hz=1000e6,
    )
    samples = heard(source, 12.0)
    begin_s = source._next / 240e3 - 12.0
    for middle_s in (0.5, 4.0, 11.0):
        first = round((middle_s - 0.1 - begin_s) * 240e3)
        ppm = 20.0 - 7.0 * np.exp(-middle_s / 4.0)
        expected_hz = 1000.05e6 / (1 + ppm * 1e-6) - center_hz(source)
        found_hz = frequency_hz(samples[first : first + 48_000], 240e3, expected_hz)
        assert found_hz == pytest.approx(expected_hz, abs=0.3)  # it moves by 170 Hz in this time


def test_after_ten_hours_a_steady_line_has_turned_as_often_as_it_should():
    """Exact arithmetic in fractions; 2e-4 cycles in ten hours are 6e-9 Hz."""
    ppm, rate_hz, line_hz = 43.0, 2.4e6, 433_920_123.4
    scene = Scene(
        title="test",
        rate_hz=rate_hz,
        center_hz=433.9e6,
        dongle=quiet_dongle(error_ppm=ppm),
        emitters=(carrier(line_hz),),
    )
    tuning = tuning_for(scene.dongle, 433.9e6, rate_hz)
    receiver = Receiver(dongle=scene.dongle, tuning=tuning, rate_hz=rate_hz, gain_db=40.2)
    chunk = int(36_000 * rate_hz) // CHUNK
    samples = Field(scene, seed=1, rate_hz=rate_hz).chunk(chunk, receiver)
    number = chunk * CHUNK + 5_001
    fast = 1 + Fraction(ppm) / 10**6
    turned = (Fraction(line_hz) / fast - Fraction(tuning.center_hz)) * number / Fraction(rate_hz)
    expected = np.exp(2j * np.pi * float(turned % 1))
    off = np.angle(samples[5_001] / expected) / (2 * np.pi)
    assert abs(off) < 2e-4
