"""Bandwidths against the Bessel series and the definitions of the ITU."""

import numpy as np
import pytest
from scipy.special import jv

from sniff.model import Spectrum
from sniff.modulation.bandwidth import Span, adjacent, carson_hz, occupied
from sniff.modulation.measured import UNMODULATED, CarrierSettings, MeasuredCarrier
from tests.modulation.measuring import measured
from tests.modulation.signals import frequency_modulated, in_noise
from tests.signals import noise, tone
from tests.values.modulation import CARRIER_NULLS, NECESSARY_BANDWIDTH_HZ, OCCUPIED_HZ


def fm(
    deviation_hz: float,
    audio_hz: float,
    *,
    rate_hz: float,
    seconds: float = 0.5,
    snr_db: float = 30,
) -> MeasuredCarrier:
    samples = frequency_modulated(
        int(seconds * rate_hz),
        rate_hz=rate_hz,
        offset_hz=-0.03 * rate_hz,
        tones=[(deviation_hz, audio_hz)],
    )
    width_hz = 2 * (deviation_hz + audio_hz)
    rng = np.random.default_rng(2)
    noisy = in_noise(rng, samples, rate_hz=rate_hz, snr_db=snr_db, width_hz=width_hz)
    return measured(noisy, rate_hz=rate_hz)


@pytest.mark.parametrize("case", OCCUPIED_HZ, ids=str)
def test_widths_of_fm_by_a_tone_are_those_of_the_bessel_series(case: tuple[float, ...]) -> None:
    deviation_hz, audio_hz, occupied_hz, estimate_hz, below_26_db_hz = case
    found = fm(deviation_hz, audio_hz, rate_hz=max(64e3, 4 * occupied_hz))
    assert found.occupied is not None
    assert found.occupied.width_hz == pytest.approx(occupied_hz, rel=0.02)
    assert found.carson_hz == pytest.approx(estimate_hz, rel=0.01)
    assert found.x_db is not None
    assert found.x_db_reference == UNMODULATED
    lines = np.arange(-100, 101)
    strong = lines[np.abs(jv(lines, deviation_hz / audio_hz)) >= 10 ** (-26 / 20)]
    assert 2 * strong.max() * audio_hz == pytest.approx(below_26_db_hz, abs=1.1 * 2 * audio_hz)
    assert found.x_db.width_hz == pytest.approx(2 * strong.max() * audio_hz, rel=0.01)


@pytest.mark.parametrize("null", CARRIER_NULLS)
def test_at_a_bessel_null_the_carrier_is_at_least_40_db_down(null: float) -> None:
    found = fm(null * 1e3, 1e3, rate_hz=64e3, seconds=2.0, snr_db=40)
    spectrum = found.spectrum
    assert spectrum is not None
    at = round((found.indicated_hz - spectrum.first_hz) / spectrum.bin_hz)
    line = spectrum.tone_power[at - 2 : at + 3].max()
    assert 10 * np.log10(line / found.power) < -40.0
    # While its neighbours are as strong as they should be.
    beside = round((found.indicated_hz + 1e3 - spectrum.first_hz) / spectrum.bin_hz)
    assert np.sqrt(spectrum.tone_power[beside - 2 : beside + 3].max() / found.power) == (
        pytest.approx(abs(jv(1, null)), rel=0.1)
    )


@pytest.mark.parametrize(("audio_hz", "deviation_hz", "width_hz"), NECESSARY_BANDWIDTH_HZ)
def test_the_estimate_of_carson_is_the_necessary_bandwidth(
    audio_hz: float, deviation_hz: float, width_hz: float
) -> None:
    assert carson_hz(peak_deviation_hz=deviation_hz, audio_hz=audio_hz) == width_hz


def flat(levels: dict[tuple[float, float], float], *, bins: int = 4000) -> Spectrum:
    """A spectrum of 10 Hz bins from 100 MHz − 20 kHz, with given densities."""
    psd = np.full(bins, 1e-12)
    f = np.arange(bins) * 10.0 - 20e3
    for (low_hz, high_hz), density in levels.items():
        psd[(f >= low_hz) & (f < high_hz)] += density
    return Spectrum(
        psd=psd,
        center_hz=100e6,
        rate_hz=10.0 * bins,
        window="hann",
        enbw_bins=1.5,
        averages=100,
        effective_averages=95.0,
        samples=100_000,
    )


def test_occupied_bandwidth_leaves_half_a_percent_on_either_side() -> None:
    """Of a flat band of 10 kHz, 99 % of the width; noise is taken off and does not widen it."""
    spectrum = flat({(-3e3, 7e3): 1e-10})
    span = Span(low_hz=100e6 - 15e3, high_hz=100e6 + 15e3)
    found = occupied(spectrum, np.full(4000, 1e-12), span)
    assert found is not None
    assert found.low_hz - 100e6 == pytest.approx(-3e3 + 50.0, abs=6.0)
    assert found.high_hz - 100e6 == pytest.approx(7e3 - 50.0, abs=6.0)


def test_adjacent_channels_hold_what_was_put_there() -> None:
    spectrum = flat({(-4e3, 4e3): 1e-9, (8e3, 16e3): 1e-12, (-16e3, -8e3): 1e-11})
    found = adjacent(
        spectrum,
        np.full(4000, 1e-12),
        within=Span(low_hz=100e6 - 20e3, high_hz=100e6 + 19e3),
        carrier_hz=100e6,
        offset_hz=12e3,
        width_hz=8e3,
    )
    assert found.lower_db == pytest.approx(10 * np.log10(1.1e-11 / 1.001e-9), abs=0.02)
    assert found.upper_db == pytest.approx(10 * np.log10(2e-12 / 1.001e-9), abs=0.02)
    assert not found.lower_is_noise


def test_an_adjacent_channel_beyond_the_spectrum_is_not_known() -> None:
    found = adjacent(
        flat({(-9e3, -1e3): 1e-9}),
        np.full(4000, 1e-12),
        within=Span(low_hz=100e6 - 20e3, high_hz=100e6 + 19e3),
        carrier_hz=100e6 - 5e3,
        offset_hz=12e3,
        width_hz=8e3,
    )
    assert found.lower_db is None
    assert found.upper_db is not None
    assert found.upper_is_noise


def test_a_neighbour_of_known_level_is_measured_through_the_whole_chain() -> None:
    rate_hz = 128e3
    samples = tone(128_000, offset_hz=3e3, rate_hz=rate_hz)
    samples = samples + tone(128_000, offset_hz=3e3 + 25e3, rate_hz=rate_hz, amplitude=0.3e-2)
    samples = samples + noise(np.random.default_rng(1), 128_000, power=1e-7)
    settings = CarrierSettings(neighbours_hz=((25e3, 16e3),))
    (found,) = measured(samples, rate_hz=rate_hz, settings=settings).neighbours
    assert found.upper_db == pytest.approx(-40.0, abs=0.1)
    assert found.lower_db is not None
    assert found.lower_db < -60.0
    assert found.lower_is_noise


def test_the_receivers_own_offset_within_the_signal_does_not_widen_it() -> None:
    """A line 16 dB below the carrier at the tuner's centre, 31 kHz off: 2.5 % of the power."""
    rate_hz = 256e3
    samples = frequency_modulated(
        int(rate_hz), rate_hz=rate_hz, offset_hz=31e3, tones=[(15e3, 1e3), (2e3, 9e3)]
    )
    rng = np.random.default_rng(3)
    samples = in_noise(rng, samples, rate_hz=rate_hz, snr_db=30, width_hz=40e3) + 0.048
    settings = CarrierSettings(width_hz=80e3)
    found = measured(samples, rate_hz=rate_hz, settings=settings)
    assert found.occupied is not None
    without = measured(samples - 0.048, rate_hz=rate_hz, settings=settings)
    assert without.occupied is not None
    assert found.occupied.width_hz == pytest.approx(without.occupied.width_hz, rel=0.02)
