"""Refinement against the Cramér-Rao bound and closed forms; then what has no single frequency."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.refine import Estimate, combine, cramer_rao_hz, refine
from sniff.zoom import Zoom
from tests.signals import CENTER_HZ, RATE_HZ, block, eight_bit, noise, tone, zoomed
from tests.values.estimation import (
    CARRIER_TO_NOISE_40_DB_HZ_1_S_HZ,
    CRAMER_RAO_CYCLES_PER_SAMPLE,
)

SAMPLES = 16384
BIN_HZ = RATE_HZ / 1024


def estimate(
    samples: np.ndarray, *, near_hz: float, density: float, hop: int = 256, crowded: bool = False
) -> Estimate | None:
    zoom = Zoom([CENTER_HZ + near_hz], hop=hop)
    ((line,),) = zoomed(zoom, block(samples))
    return refine(
        line,
        noise_density=density,
        search_hz=1.5 * 1.5 * BIN_HZ,
        crowded=crowded,
    )


@pytest.mark.parametrize(("case", "bound"), CRAMER_RAO_CYCLES_PER_SAMPLE.items())
def test_the_bound_is_rife_and_boorstyns(case: tuple[int, float], bound: float) -> None:
    samples, snr_db = case
    # At one sample per second C/N0 is the SNR per sample and the take lasts `samples` seconds.
    ours = cramer_rao_hz(carrier_to_noise_hz=10 ** (snr_db / 10), seconds=samples)
    assert ours == pytest.approx(bound, rel=1e-5)


def test_the_bound_in_its_carrier_to_noise_form() -> None:
    ours = cramer_rao_hz(carrier_to_noise_hz=1e4, seconds=1.0)
    assert ours == pytest.approx(CARRIER_TO_NOISE_40_DB_HZ_1_S_HZ, rel=2e-4)


@pytest.mark.parametrize(
    ("carrier_to_noise_db_hz", "bits8"), [(36.0, False), (45.0, True), (60.0, False)]
)
def test_a_steady_carrier_reaches_the_bound_and_its_u_covers(
    carrier_to_noise_db_hz: float, bits8: bool
) -> None:
    """Error within 1.2 times the bound (Rife and Boorstyn 1974), ±2u covering 93 to 98 %, over
    1,000 trials at random places between bins, on either side of the centre."""
    rng = np.random.default_rng(round(carrier_to_noise_db_hz))
    amplitude, trials = 0.05, 1000  # weak enough for the noise not to clip
    density = amplitude**2 / 10 ** (carrier_to_noise_db_hz / 10)
    # The converter's own noise comes on top: 2/12 LSB² of 1/127.5 (CHECKS 9: −49.89 dBFS).
    own = 2 / 12 / 127.5**2 / RATE_HZ if bits8 else 0.0
    errors, claims = [], []
    for _ in range(trials):
        offset_hz = rng.uniform(-0.4, 0.4) * RATE_HZ
        phase = rng.uniform(0, 7)
        samples = tone(SAMPLES, offset_hz=offset_hz, amplitude=amplitude, phase=phase)
        samples = samples + noise(rng, SAMPLES, power=density * RATE_HZ)
        near_hz = round(offset_hz / BIN_HZ) * BIN_HZ
        found = estimate(
            eight_bit(samples) if bits8 else samples, near_hz=near_hz, density=density + own
        )
        assert found is not None
        errors.append(found.indicated_hz - CENTER_HZ - offset_hz)
        claims.append(found.u_hz)
    bound_hz = cramer_rao_hz(
        carrier_to_noise_hz=amplitude**2 / (density + own), seconds=SAMPLES / RATE_HZ
    )
    assert np.sqrt(np.mean(np.square(errors))) < 1.2 * bound_hz
    assert np.median(claims) == pytest.approx(bound_hz, rel=0.15)
    covered = np.mean(np.abs(errors) <= 2 * np.array(claims))
    assert 0.93 <= covered <= 0.98


def test_the_power_of_a_steady_line_is_the_tones_own() -> None:
    rng = np.random.default_rng(3)
    samples = tone(SAMPLES, offset_hz=-20_010.0, amplitude=0.1)
    samples = samples + noise(rng, SAMPLES, power=1e-4)
    found = estimate(samples, near_hz=-20_000.0, density=1e-4 / RATE_HZ)
    assert found is not None
    assert found.steady
    # u of a power at 16384 samples and 20 dB: 2 sqrt(1 / 2 snr N) = 1.1 % (Rife and Boorstyn).
    assert found.power == pytest.approx(0.01, rel=0.04)


def test_noise_alone_gives_no_estimate_or_a_wide_one() -> None:
    rng = np.random.default_rng(4)
    locked = 0
    for _ in range(200):
        samples = noise(rng, SAMPLES, power=1e-3)
        found = estimate(samples, near_hz=11_000.0, density=1e-3 / RATE_HZ)
        locked += found is not None and found.steady
    # The threshold effect: below it an outlier must not pass for a frequency.
    assert locked <= 4


@pytest.mark.parametrize("drift_hz_per_s", [30.0, 300.0, 3000.0])
def test_a_drifting_line_has_its_drift_in_u(drift_hz_per_s: float) -> None:
    """A uniform spread of D T has a standard deviation of D T / sqrt(12) (GUM 4.3.7)."""
    rng = np.random.default_rng(5)
    samples = tone(SAMPLES, offset_hz=20_000.0, drift_hz_per_s=drift_hz_per_s)
    samples = samples + noise(rng, SAMPLES, power=1e-4)
    found = estimate(samples, near_hz=20_000.0, density=1e-4 / RATE_HZ)
    assert found is not None
    assert not found.steady
    spread_hz = drift_hz_per_s * SAMPLES / RATE_HZ / np.sqrt(12)
    assert 0.8 * spread_hz < found.u_hz < 2.0 * spread_hz + 2.0
    assert abs(found.indicated_hz - CENTER_HZ - 20_000.0) < 2 * found.u_hz


def test_a_line_with_hum_on_it_has_its_deviation_in_u() -> None:
    rng = np.random.default_rng(6)
    samples_long = 16 * SAMPLES
    t = np.arange(samples_long) / RATE_HZ
    deviation_hz, hum_hz = 20.0, 10.0
    swing = deviation_hz / hum_hz * np.sin(2 * np.pi * hum_hz * t)
    samples = tone(samples_long, offset_hz=-30_000.0) * np.exp(1j * swing)
    samples = samples + noise(rng, samples_long, power=1e-4)
    found = estimate(samples, near_hz=-30_000.0, density=1e-4 / RATE_HZ)
    assert found is not None
    assert not found.steady
    assert 0.4 * deviation_hz < found.u_hz < 2.5 * deviation_hz
    assert abs(found.indicated_hz - CENTER_HZ + 30_000.0) < 2 * found.u_hz


def test_a_line_that_comes_and_goes_is_measured_where_it_was() -> None:
    rng = np.random.default_rng(7)
    samples_long = 8 * SAMPLES
    samples = tone(samples_long, offset_hz=41_234.5)
    samples[samples_long // 4 : samples_long // 2] = 0
    samples[samples_long // 2 :] *= np.exp(1j * 2.0)  # it starts again with another phase
    samples = samples + noise(rng, samples_long, power=1e-4)
    found = estimate(samples, near_hz=41_250.0, density=1e-4 / RATE_HZ)
    assert found is not None
    assert not found.steady
    assert abs(found.indicated_hz - CENTER_HZ - 41_234.5) < max(2 * found.u_hz, 0.5)
    assert found.u_hz < 3.0
    assert found.power == pytest.approx(0.09, rel=0.05)


def test_a_gap_does_not_disturb_a_steady_line() -> None:
    samples = tone(4 * SAMPLES, offset_hz=-12_345.6)
    rng = np.random.default_rng(8)
    samples = samples + noise(rng, samples.size, power=1e-4)
    zoom = Zoom([CENTER_HZ - 12_250.0], hop=256)
    resumed = 2 * SAMPLES + 1000
    ((line,),) = zoomed(
        zoom, block(samples[: 2 * SAMPLES - 77]), block(samples[resumed:], index=resumed)
    )
    found = refine(line, noise_density=1e-4 / RATE_HZ, search_hz=2 * BIN_HZ)
    assert found is not None
    assert found.steady
    assert abs(found.indicated_hz - CENTER_HZ + 12_345.6) < 3 * found.u_hz


@settings(max_examples=30)
@given(
    offset_hz=st.floats(-0.45 * RATE_HZ, 0.45 * RATE_HZ),
    hop=st.sampled_from([8, 64, 256]),
    crowded=st.booleans(),
)
def test_a_noise_free_tone_is_found_exactly(offset_hz: float, hop: int, crowded: bool) -> None:
    samples = tone(SAMPLES, offset_hz=offset_hz)
    near_hz = round(offset_hz / BIN_HZ) * BIN_HZ
    found = estimate(samples, near_hz=near_hz, density=1e-12, hop=hop, crowded=crowded)
    assert found is not None
    # Single precision leaves about 1e-7 of a turn over the take.
    assert abs(found.indicated_hz - CENTER_HZ - offset_hz) < 1e-3


def part(indicated_hz: float, u_hz: float, *, steady: bool = True) -> Estimate:
    return Estimate(indicated_hz=indicated_hz, u_hz=u_hz, power=0.01, steady=steady, seconds=10.0)


def test_agreeing_stretches_are_averaged_by_weight() -> None:
    """Weights 1/u², u of the mean 1/sqrt(Σ 1/u²) (weighted mean, CHECKS 8)."""
    found = combine([part(100.0, 0.1), part(100.15, 0.2)])
    assert found is not None
    assert found.steady
    assert found.indicated_hz == pytest.approx(100.03)
    assert found.u_hz == pytest.approx(1 / np.sqrt(125.0))
    assert found.seconds == 20.0


def test_stretches_that_disagree_by_more_than_their_u_widen_it_to_their_spread() -> None:
    found = combine([part(100.0, 0.01), part(102.0, 0.01), part(104.0, 0.01)])
    assert found is not None
    assert not found.steady
    assert found.indicated_hz == pytest.approx(102.0)
    assert found.u_hz == pytest.approx(np.sqrt(8 / 3), rel=0.01)


def test_an_unsteady_stretch_keeps_the_whole_from_being_steady() -> None:
    found = combine([part(100.0, 0.1), part(100.0, 3.0, steady=False)])
    assert found is not None
    assert not found.steady
    assert found.u_hz > 2.0


def test_one_stretch_is_itself_and_none_is_none() -> None:
    assert combine([part(100.0, 0.1)]) == part(100.0, 0.1)
    assert combine([]) is None
