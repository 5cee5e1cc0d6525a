"""Deviation, tones, SINAD and THD of signals whose figures are known in closed form."""

import numpy as np
import pytest

from sniff.modulation.classify import Kind
from sniff.modulation.measured import CarrierSettings
from sniff.modulation.tones import AudioBand
from tests.modulation.measuring import measured
from tests.modulation.signals import frequency_modulated, in_noise, speech_like
from tests.values.modulation import DEEMPHASIS_DB, STEREO_PILOT, THD_AND_SINAD

RATE_HZ = 128e3
OFFSET_HZ = -17_300.0


def fm(
    tones: list[tuple[float, float]],
    *,
    snr_db: float = 30.0,
    seconds: float = 1.5,
    rate_hz: float = RATE_HZ,
    audio_noise_hz: float = 0.0,
    seed: int = 1,
) -> np.ndarray:
    """Tones as (deviation, audio), in noise `snr_db` down in Carson's bandwidth."""
    rng = np.random.default_rng(seed)
    size = int(seconds * rate_hz)
    swing = None
    if audio_noise_hz:
        f = np.fft.rfftfreq(size, 1 / rate_hz)
        parts = rng.standard_normal((f.size, 2)).view(np.complex128).ravel()
        swing = np.fft.irfft(((f > 300) & (f < 3000)) * parts, size)
        swing *= audio_noise_hz / swing.std()
    deviation_hz = sum(tone[0] for tone in tones)
    width_hz = 2 * (deviation_hz + max(tone[1] for tone in tones))
    samples = frequency_modulated(
        size, rate_hz=rate_hz, offset_hz=OFFSET_HZ, tones=tones, swing_hz=swing
    )
    return in_noise(rng, samples, rate_hz=rate_hz, snr_db=snr_db, width_hz=width_hz)


@pytest.mark.parametrize("index", [0.3, 1.0, 2.4048, 5.0, 12.0, 25.0])
def test_the_deviation_of_a_tone_is_right_within_a_percent_at_30_db(index: float) -> None:
    found = measured(fm([(index * 1e3, 1e3)]), rate_hz=RATE_HZ)
    assert found.decided.kind is Kind.FM
    assert found.figures is not None
    assert found.figures.positive == pytest.approx(index * 1e3, rel=0.01)
    assert found.figures.negative == pytest.approx(index * 1e3, rel=0.01)
    assert found.figures.rms == pytest.approx(index * 1e3 / np.sqrt(2), rel=0.01)
    assert found.figures.audio is not None
    assert abs(found.figures.audio.frequency_hz - 1e3) < 4 * found.figures.audio.u_hz
    assert found.figures.audio.u_hz < 0.01
    assert abs(found.indicated_hz - 100e6 - OFFSET_HZ) < 4 * found.u_indicated_hz


def test_an_asymmetric_swing_has_unequal_peaks() -> None:
    """cos x + 0.2 cos 2x: highest 1.2 at x = 0, lowest -0.825 where sin x (1 + 0.8 cos x) = 0 has
    no root but x = pi: -0.8."""
    t = np.arange(int(1.5 * RATE_HZ)) / RATE_HZ
    x = 2 * np.pi * 1e3 * t
    samples = frequency_modulated(
        t.size,
        rate_hz=RATE_HZ,
        offset_hz=OFFSET_HZ,
        swing_hz=3e3 * (np.cos(x) + 0.2 * np.cos(2 * x)),
    )
    rng = np.random.default_rng(4)
    noisy = in_noise(rng, samples, rate_hz=RATE_HZ, snr_db=30.0, width_hz=10e3)
    found = measured(noisy, rate_hz=RATE_HZ)
    assert found.figures is not None
    assert found.figures.positive == pytest.approx(3.6e3, rel=0.01)
    assert found.figures.negative == pytest.approx(2.4e3, rel=0.01)
    assert found.figures.thd_percent == pytest.approx(20.0, abs=0.3)


@pytest.mark.parametrize("sinad_db", [6.0, 12.0, 20.0, 40.0])
def test_sinad_is_right_within_half_a_decibel(sinad_db: float) -> None:
    """Noise of the modulation itself, 300 to 3,000 Hz: (S + N) / N as built."""
    noise_hz = 3e3 / np.sqrt(2) / np.sqrt(10 ** (sinad_db / 10) - 1)
    found = measured(
        fm([(3e3, 1e3)], snr_db=45.0, seconds=3.0, audio_noise_hz=noise_hz), rate_hz=RATE_HZ
    )
    assert found.figures is not None
    assert found.figures.sinad_db == pytest.approx(sinad_db, abs=0.5)


@pytest.mark.parametrize("thd_percent", [0.0, 0.5, 3.0, 10.0])
def test_thd_is_right_within_a_third_of_a_percent(thd_percent: float) -> None:
    second, third = 0.8 * thd_percent / 100 * 3e3, 0.6 * thd_percent / 100 * 3e3
    tones = [(3e3, 1e3)] + ([(second, 2e3), (third, 3e3)] if thd_percent else [])
    found = measured(fm(tones), rate_hz=RATE_HZ)
    assert found.figures is not None
    assert found.figures.thd_percent == pytest.approx(thd_percent, abs=0.3)


def test_the_worked_example_of_thd_and_sinad_by_amplitude_modulation() -> None:
    """Amplitudes 1, 0.01, 0.005, 0.002 and noise, half as deep, in the band from 0 to 5 kHz."""
    rate_hz, size = 20e3, 100_000
    t = np.arange(size) / rate_hz
    rng = np.random.default_rng(8)
    audio = sum(
        a * np.cos(2 * np.pi * 1e3 * k * t + k)
        for k, a in enumerate(THD_AND_SINAD["amplitudes"], start=1)
    )
    f = np.fft.rfftfreq(size, 1 / rate_hz)
    noise = np.fft.irfft((f < 5e3) * np.fft.rfft(rng.standard_normal(size)), size)
    audio = audio + noise / noise.std() * np.sqrt(THD_AND_SINAD["noise_power"])
    samples = 0.3 * (1 + 0.5 * audio) * np.exp(2j * np.pi * 1_234.0 * t)
    samples = in_noise(rng, samples, rate_hz=rate_hz, snr_db=70.0, width_hz=10e3)
    settings = CarrierSettings(audio_band_hz=(10.0, 4_950.0), width_hz=11e3)
    found = measured(samples, rate_hz=rate_hz, settings=settings)
    assert found.decided.kind is Kind.AM
    assert found.figures is not None
    assert found.figures.thd_percent == pytest.approx(THD_AND_SINAD["thd_f_percent"], abs=0.02)
    assert found.figures.sinad_db == pytest.approx(THD_AND_SINAD["sinad_db"], abs=0.2)


@pytest.mark.parametrize("tau_s", [50e-6, 75e-6])
def test_the_deemphasis_is_that_of_the_broadcasting_standard(tau_s: float) -> None:
    band = AudioBand(low_hz=0.0, high_hz=15e3, deemphasis_s=tau_s)
    for hz, gain_db in DEEMPHASIS_DB[tau_s].items():
        assert 10 * np.log10(band.gain(np.array([hz]))[0]) == pytest.approx(gain_db, abs=2e-3)


def test_deemphasis_weakens_a_harmonic_as_its_curve_says() -> None:
    settings = CarrierSettings(deemphasis_s=75e-6)
    found = measured(fm([(3e3, 1e3), (300.0, 3e3)]), rate_hz=RATE_HZ, settings=settings)
    third_db = -4.769 + 0.871  # 3 kHz against 1 kHz, ITU-R BS.450-3 with 75 µs
    assert found.figures is not None
    assert found.figures.thd_percent == pytest.approx(10.0 * 10 ** (third_db / 20), abs=0.1)


def test_a_squelch_tone_is_named_and_is_no_distortion() -> None:
    found = measured(fm([(3e3, 1e3), (500.0, 88.5)]), rate_hz=RATE_HZ)
    assert found.figures is not None
    squelch = found.figures.squelch
    assert squelch is not None
    assert squelch.nominal_hz == 88.5
    assert squelch.tone.frequency_hz == pytest.approx(88.5, abs=0.05)
    assert squelch.tone.amplitude == pytest.approx(500.0, rel=0.02)
    assert found.figures.positive == pytest.approx(3.5e3, rel=0.01)
    assert found.figures.thd_percent == pytest.approx(0.0, abs=0.3)


def test_a_tone_between_two_squelch_tones_is_not_named() -> None:
    found = measured(fm([(3e3, 1e3), (500.0, 90.0)]), rate_hz=RATE_HZ)
    assert found.figures is not None
    assert found.figures.squelch is not None
    assert found.figures.squelch.nominal_hz is None


def test_the_pilots_of_broadcasting_and_of_microphones_are_found() -> None:
    for pilot_hz, name in ((19_000.7, "stereo"), (32_767.0, "microphone")):
        tones = [(20e3, 1e3), (STEREO_PILOT["deviation_hz"], pilot_hz)]
        found = measured(fm(tones, rate_hz=512e3, seconds=1.0), rate_hz=512e3)
        assert found.figures is not None
        pilot = found.figures.pilot
        assert pilot is not None
        assert pilot.name == name
        assert pilot.tone.frequency_hz == pytest.approx(pilot_hz, abs=0.05)
        assert pilot.tone.amplitude == pytest.approx(STEREO_PILOT["deviation_hz"], rel=0.01)
        assert found.figures.positive == pytest.approx(26.75e3, rel=0.01)


def test_speech_has_peaks_and_no_test_tone() -> None:
    rng = np.random.default_rng(3)
    size = int(3 * RATE_HZ)
    swing = speech_like(rng, size, rate_hz=RATE_HZ, peak_hz=3e3)
    samples = frequency_modulated(size, rate_hz=RATE_HZ, offset_hz=OFFSET_HZ, swing_hz=swing)
    noisy = in_noise(rng, samples, rate_hz=RATE_HZ, snr_db=30.0, width_hz=14e3)
    found = measured(noisy, rate_hz=RATE_HZ)
    assert found.figures is not None
    assert found.figures.audio is None
    assert found.figures.sinad_db is None
    assert found.figures.rms == pytest.approx(swing.std(), rel=0.03)
    # Exceeded a thousandth of the time, by the swing itself.
    assert found.figures.positive == pytest.approx(np.quantile(swing, 0.9995), rel=0.05)
    assert found.figures.negative == pytest.approx(-np.quantile(swing, 0.0005), rel=0.05)
    assert found.figures.largest_share == pytest.approx(0.9995, abs=0.0006)


def test_hum_of_a_carrier_is_told_by_its_line() -> None:
    found = measured(fm([(150.0, 100.0)], snr_db=40.0, seconds=2.0), rate_hz=RATE_HZ)
    assert found.figures is not None
    assert found.figures.hum is not None
    assert found.figures.hum.frequency_hz == pytest.approx(100.0, abs=0.05)
    assert found.figures.hum.amplitude == pytest.approx(150.0, rel=0.02)


@pytest.mark.parametrize("depth", [0.05, 0.3, 0.9, 1.0])
def test_the_depth_of_amplitude_modulation_and_its_carrier(depth: float) -> None:
    rate_hz = 64e3
    t = np.arange(int(2 * rate_hz)) / rate_hz
    samples = 0.3 * (1 + depth * np.cos(2 * np.pi * 400.0 * t)) * np.exp(2j * np.pi * -7_310.0 * t)
    rng = np.random.default_rng(5)
    noisy = in_noise(rng, samples, rate_hz=rate_hz, snr_db=35.0, width_hz=10e3)
    found = measured(noisy, rate_hz=rate_hz)
    assert found.decided.kind is Kind.AM
    assert found.estimator == "carrier line"
    assert found.figures is not None
    # At full depth the size of noise alone lifts the valleys.
    assert found.figures.positive == pytest.approx(depth, rel=0.01 if depth < 1 else 0.02)
    assert abs(found.indicated_hz - 100e6 + 7_310.0) < 4 * found.u_indicated_hz
    assert found.u_indicated_hz < 0.01
