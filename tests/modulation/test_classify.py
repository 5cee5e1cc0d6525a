"""What a carrier carries, when it was on, and what belongs to it."""

import numpy as np
import pytest

from sniff.modulation.carrier import measure_carrier
from sniff.modulation.classify import Kind
from sniff.modulation.extent import extents
from sniff.modulation.measured import CarrierSettings, MeasuredCarrier, Unmeasured
from sniff.peaks import noise_floor
from sniff.resolution import SpectrumSettings
from sniff.spectrum import estimate
from tests.modulation.measuring import measured, tried
from tests.modulation.signals import frequency_modulated, in_noise
from tests.signals import MemoryTake, block

RATE_HZ = 64e3
T = np.arange(int(2 * RATE_HZ)) / RATE_HZ


def carrier(**given: object) -> np.ndarray:
    return frequency_modulated(T.size, rate_hz=RATE_HZ, offset_hz=-9_100.0, **given)  # type: ignore[arg-type]


def noisy(samples: np.ndarray, *, snr_db: float = 20.0, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return in_noise(rng, samples, rate_hz=RATE_HZ, snr_db=snr_db, width_hz=10e3)


def test_a_plain_carrier_carries_nothing() -> None:
    found = measured(noisy(carrier()), rate_hz=RATE_HZ)
    assert found.decided.kind is Kind.NONE
    assert not found.on.keyed


@pytest.mark.parametrize(("depth", "index"), [(0.1, 0.0), (0.0, 0.1), (0.5, 0.05), (0.03, 0.5)])
def test_the_larger_swing_decides(depth: float, index: float) -> None:
    swing = 1 + depth * np.cos(2 * np.pi * 700.0 * T)
    samples = carrier(tones=[(index * 1e3, 1e3)] if index else []) * swing
    found = measured(noisy(samples, snr_db=30.0), rate_hz=RATE_HZ)
    assert found.decided.kind is (Kind.AM if depth > index else Kind.FM)


def test_a_keyed_carrier_is_measured_during_its_marks() -> None:
    on = np.floor(T / 0.05) % 2 == 0
    found = measured(noisy(carrier() * on), rate_hz=RATE_HZ)
    assert found.decided.kind is Kind.KEYED
    assert found.estimator == "during the marks"
    assert found.on.times == 20
    assert found.on.share == pytest.approx(0.5, abs=0.01)
    assert found.on.longest_s == pytest.approx(0.05, abs=0.002)
    assert abs(found.indicated_hz - 100e6 + 9_100.0) < 4 * found.u_indicated_hz
    assert found.u_indicated_hz < 0.1


def test_short_pulses_are_measured_through_a_wider_channel() -> None:
    rate_hz = 256e3
    t = np.arange(256_000) / rate_hz
    samples = frequency_modulated(t.size, rate_hz=rate_hz, offset_hz=-9_100.0)
    samples = samples * ((t % 2e-3) < 0.7e-3)
    rng = np.random.default_rng(1)
    samples = in_noise(rng, samples, rate_hz=rate_hz, snr_db=30.0, width_hz=100e3)
    found = measured(samples, rate_hz=rate_hz)
    assert found.decided.kind is Kind.KEYED
    assert found.on.times == 500
    assert found.on.longest_s == pytest.approx(0.7e-3, abs=0.05e-3)
    assert abs(found.indicated_hz - 100e6 + 9_100.0) < 4 * found.u_indicated_hz
    assert found.u_indicated_hz < 2.0


def test_a_keyed_carrier_that_wanders_has_its_wander_in_its_u() -> None:
    on = np.floor(T / 0.1) % 2 == 0
    samples = carrier(swing_hz=200.0 * (T - 1.0)) * on
    found = measured(noisy(samples, snr_db=30.0), rate_hz=RATE_HZ)
    assert found.u_indicated_hz == pytest.approx(200.0 / np.sqrt(3), rel=0.2)
    assert found.drift_hz_per_s == pytest.approx(200.0, rel=0.02)


def test_marks_too_short_for_the_channel_are_said_to_be() -> None:
    on = (T % 50e-3) < 0.15e-3
    found = tried(noisy(carrier() * on, snr_db=30.0), rate_hz=RATE_HZ)
    assert isinstance(found, Unmeasured)
    assert "too short" in found.why


def test_a_set_that_is_pressed_to_talk_is_measured_while_it_talks() -> None:
    on = (T > 0.43) & (T < 1.61)
    found = measured(noisy(carrier(tones=[(3e3, 1e3)]) * on, snr_db=25.0), rate_hz=RATE_HZ)
    assert found.decided.kind is Kind.FM
    assert found.on.share == pytest.approx(0.59, abs=0.01)
    assert found.figures is not None
    assert found.figures.positive == pytest.approx(3e3, rel=0.01)


def test_what_settles_after_turning_on_is_told() -> None:
    """800 Hz low at first, back with a time constant of 50 ms."""
    on = T > 0.4
    swing = -800.0 * np.exp(-np.maximum(T - 0.4, 0) / 0.05)
    found = measured(noisy(carrier(swing_hz=swing) * on, snr_db=30.0), rate_hz=RATE_HZ)
    assert found.settling is not None
    assert -800.0 < found.settling.start_hz < -400.0
    assert 0.1 < found.settling.after_s < 0.6


def test_full_amplitude_modulation_is_not_keying() -> None:
    samples = carrier() * (1 + np.cos(2 * np.pi * 400.0 * T))
    found = measured(noisy(samples, snr_db=35.0), rate_hz=RATE_HZ)
    assert found.decided.kind is Kind.AM
    assert not found.on.keyed


def test_a_second_carrier_in_the_channel_raises_a_doubt() -> None:
    second = frequency_modulated(T.size, rate_hz=RATE_HZ, offset_hz=-7_400.0, amplitude=0.1)
    assert measured(noisy(carrier() + second), rate_hz=RATE_HZ).decided.doubtful
    assert not measured(noisy(carrier(tones=[(300.0, 1e3)])), rate_hz=RATE_HZ).decided.doubtful


def test_a_modulation_asked_for_is_not_decided_anew() -> None:
    settings = CarrierSettings(kind=Kind.FM)
    found = measured(noisy(carrier()), rate_hz=RATE_HZ, settings=settings)
    assert found.decided.kind is Kind.FM
    assert found.decided.why == "as asked for"


def signals_of(samples: np.ndarray, rate_hz: float) -> list[float]:
    spectrum = estimate([block(samples, rate_hz=rate_hz)], SpectrumSettings(segment=4096))
    return [each.middle_hz - 100e6 for each in extents(spectrum, noise_floor(spectrum))]


@pytest.mark.parametrize("index", [0.3, 2.4048, 5.0])
def test_wide_sidebands_belong_to_their_carrier(index: float) -> None:
    rate_hz = 600e3
    samples = frequency_modulated(
        300_000, rate_hz=rate_hz, offset_hz=-41e3, tones=[(index * 15e3, 15e3)]
    )
    rng = np.random.default_rng(1)
    signals = signals_of(
        in_noise(rng, samples, rate_hz=rate_hz, snr_db=20, width_hz=200e3), rate_hz
    )
    assert len(signals) == 1
    assert signals[0] == pytest.approx(-41e3, abs=200.0)


def test_two_sets_on_neighbouring_channels_stay_two() -> None:
    rate_hz = 200e3
    a = frequency_modulated(200_000, rate_hz=rate_hz, offset_hz=-20e3, tones=[(2.5e3, 1e3)])
    b = frequency_modulated(200_000, rate_hz=rate_hz, offset_hz=5e3, tones=[(2.5e3, 700.0)])
    rng = np.random.default_rng(1)
    both = in_noise(rng, a + 0.5 * b, rate_hz=rate_hz, snr_db=20, width_hz=10e3)
    signals = signals_of(both, rate_hz)
    assert len(signals) == 2
    assert signals[0] == pytest.approx(-20e3, abs=100.0)
    assert signals[1] == pytest.approx(5e3, abs=100.0)


def test_a_gap_in_the_take_is_no_jump_of_the_phase() -> None:
    """0.3 s were lost in the middle: the mean is that of both parts, and as sure as they are."""
    samples = noisy(carrier(tones=[(3e3, 1e3)]))
    half, lost = T.size // 2, int(0.3 * RATE_HZ) + 7
    parts = (
        block(samples[:half], rate_hz=RATE_HZ),
        block(samples[half:], rate_hz=RATE_HZ, index=half + lost),
    )
    spectrum = estimate(parts, SpectrumSettings(segment=4096))
    floor = noise_floor(spectrum)
    found = measure_carrier(
        MemoryTake(parts=parts),
        spectrum=spectrum,
        floor=floor,
        extent=extents(spectrum, floor)[0],
        peak=None,
        settings=CarrierSettings(),
    )
    assert isinstance(found, MeasuredCarrier)
    assert len(found.on.runs) == 2
    assert abs(found.indicated_hz - 100e6 + 9_100.0) < 4 * found.u_indicated_hz
    assert found.u_indicated_hz < 0.01
    assert found.figures is not None
    assert found.figures.positive == pytest.approx(3e3, rel=0.01)
