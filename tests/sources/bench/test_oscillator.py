"""The set under test: its crystal, its multiplier, a hand near it, what it is modulated with."""

import numpy as np
import pytest

from sniff.sources.bench.clock import ChunkTime, DongleClock
from sniff.sources.bench.grid import CHUNK, generator
from sniff.sources.bench.hand import Hand as PulledBy
from sniff.sources.bench.modulation import Speech
from sniff.sources.bench.schema import Emitter, Hand, Line, Modulation, Place, Tone
from tests.sources.bench.measure import (
    bench,
    carrier,
    center_hz,
    frequency_hz,
    heard,
    level_dbfs,
    projection,
    strongest_hz,
)
from tests.values import bench as values

RATE_HZ = 240e3


def test_a_multiplier_leaks_each_multiple_at_its_own_level_and_multiplies_the_error():
    """A 27.866 667 MHz crystal that is 20 ppm high, tripled: 1672 Hz at 83.6 MHz."""
    emitter = Emitter(
        name="tripler",
        oscillator_hz=83.6e6 / 3,
        off_ppm=20.0,
        lines=(
            Line(times=1, level_dbfs=-14.0),
            Line(times=2, level_dbfs=-20.0),
            Line(times=3, level_dbfs=-4.0),
        ),
    )
    source = bench(emitter)
    for times, level in ((1, -14.0), (2, -20.0), (3, -4.0)):
        nominal_hz = times * 83.6e6 / 3
        source.tune(nominal_hz - 21e3)
        samples = heard(source, 0.2)
        expected_hz = nominal_hz * (1 + 20e-6) - center_hz(source)
        assert frequency_hz(samples, RATE_HZ, expected_hz) == pytest.approx(expected_hz, abs=0.01)
        assert level_dbfs(samples, RATE_HZ, expected_hz) == pytest.approx(level, abs=0.05)


def test_a_crystal_drifts_to_its_frequency_as_it_warms():
    emitter = carrier(83.4631e6, off_ppm=8.0, warm_up_ppm=-30.0, warm_up_s=2.0)
    source = bench(emitter)
    samples = heard(source, 6.0)
    for middle_s in (0.3, 2.0, 5.5):
        ppm = 8.0 - 30.0 * np.exp(-middle_s / 2.0)
        expected_hz = 83.4631e6 * (1 + ppm * 1e-6) - center_hz(source)
        middle = round((middle_s - 0.015) * RATE_HZ)
        part = samples[middle - 12_000 : middle + 12_000]
        # 1.25 kHz/s at first: the middle of a curve of 0.1 s lies 0.5 Hz from its mean.
        assert frequency_hz(part, RATE_HZ, expected_hz) == pytest.approx(expected_hz, abs=1.0)


def test_a_wander_has_its_size_and_stays_about_the_frequency():
    """Twelve benches of 4 s, each sampled every 0.4 s: the mean square within a third."""
    errors_ppm = []
    for seed in range(12):
        source = bench(carrier(83.4631e6, wander_ppm=5.0, wander_s=0.5), seed=seed)
        samples = heard(source, 4.0)
        hz = 83.4631e6 - center_hz(source)
        for part in samples.reshape(10, -1):
            near_hz = strongest_hz(part[:2400], RATE_HZ)
            found_hz = frequency_hz(part[:2400], RATE_HZ, near_hz)
            errors_ppm.append((found_hz - hz) / 83.4631)
    assert np.sqrt(np.mean(np.square(errors_ppm))) == pytest.approx(5.0, rel=0.33)
    assert abs(np.mean(errors_ppm)) < 2.0


def hand_course(**more):
    """Far, then near for a while at 4 mm, touching at 2 mm, and away."""
    course = (
        Place(at_s=0.1, mm=200.0),
        Place(at_s=0.3, mm=4.0),
        Place(at_s=0.5, mm=4.0),
        Place(at_s=0.55, mm=2.0),
        Place(at_s=0.75, mm=2.0),
        Place(at_s=0.9, mm=200.0),
    )
    return Hand(course=course, pull_hz=-2e3, damp_db=24.0, touch_mm=2.0, **more)


def test_a_hand_pulls_as_one_over_its_distance_and_damps_as_its_cube():
    """At 4 mm half the pull of 2 mm but an eighth of its loss; the pull is multiplied too."""
    emitter = Emitter(
        name="tripler",
        oscillator_hz=83.4631e6 / 3,
        lines=(Line(times=3, level_dbfs=-3.0),),
        hand=hand_course(),
    )
    source = bench(emitter)
    samples = heard(source, 1.1)
    undisturbed_hz = 83.4631e6 - center_hz(source)
    far = 1 / 200
    for middle_s, mm in ((0.05, 200.0), (0.4, 4.0), (0.65, 2.0), (1.0, 200.0)):
        pull_hz = 3 * -2e3 * (1 / mm - far) / (1 / 2 - far)
        loss_db = 24.0 * (1 / mm**3 - far**3) / (1 / 2**3 - far**3)
        middle = round((middle_s - 0.015) * RATE_HZ)
        part = samples[middle - 4_800 : middle + 4_800]
        expected_hz = undisturbed_hz + pull_hz
        assert frequency_hz(part, RATE_HZ, expected_hz) == pytest.approx(expected_hz, abs=0.2)
        assert level_dbfs(part, RATE_HZ, expected_hz) == pytest.approx(-3.0 - loss_db, abs=0.15)


def test_on_its_way_the_hand_pulls_by_its_distance_of_that_moment():
    source = bench(carrier(83.4631e6, hand=hand_course()))
    samples = heard(source, 1.1)
    at_s = 0.26
    mm = 200.0 + (4.0 - 200.0) * (at_s - 0.1) / 0.2
    expected_hz = -2e3 * (1 / mm - 1 / 200) / (1 / 2 - 1 / 200)
    still_hz = 83.4631e6 - center_hz(source)
    middle = round((at_s - 0.015) * RATE_HZ)
    part = samples[middle - 120 : middle + 120]
    found_hz = frequency_hz(part, RATE_HZ, still_hz + expected_hz) - still_hz
    assert found_hz == pytest.approx(expected_hz, abs=3.0)


def test_a_hand_never_breaks_the_phase():
    """From sample to sample the phase goes on by what the frequency allows."""
    source = bench(carrier(83.4631e6, -1.0, hand=hand_course(every_s=1.0)))
    samples = heard(source, 2.5)
    still_hz = 83.4631e6 - center_hz(source)
    turned = np.angle(samples[1:] * np.conj(samples[:-1])) - 2 * np.pi * still_hz / RATE_HZ
    turned = np.angle(np.exp(1j * turned))
    loud = np.abs(samples[1:]) > 0.04
    # The largest pull is 2 kHz, 0.052 rad a sample; the rest is the converter's step.
    step = np.sqrt(2) / 127.5 / np.abs(samples[1:])
    assert np.all(np.abs(turned[loud]) < 0.053 + 2 * step[loud])


def test_a_hand_comes_again():
    source = bench(carrier(83.4631e6, hand=hand_course(every_s=1.0)))
    samples = heard(source, 2.0)
    still_hz = 83.4631e6 - center_hz(source)
    for touch_s in (0.65, 1.65):
        middle = round((touch_s - 0.015) * RATE_HZ)
        part = samples[middle - 4_800 : middle + 4_800]
        found_hz = frequency_hz(part, RATE_HZ, still_hz - 2e3)
        assert found_hz == pytest.approx(still_hz - 2e3, abs=0.2)


@pytest.mark.parametrize("index", sorted(values.BESSEL))
def test_a_tone_makes_the_lines_of_its_modulation_index(index):
    tone = Tone(audio_hz=3e3, deviation_hz=3e3 * index)
    source = bench(carrier(83.4631e6, -0.5, modulation=Modulation(tones=(tone,))))
    samples = heard(source, 0.5)
    carrier_hz = 83.4631e6 - center_hz(source)
    full = 10 ** (-0.5 / 20)
    for order, expected in enumerate(values.BESSEL[index]):
        for side in (-1, 1):
            hz = carrier_hz + side * order * 3e3
            found = abs(projection(samples, RATE_HZ, hz)) / full
            assert found == pytest.approx(expected, abs=6e-4)


def test_a_multiplier_multiplies_the_deviation_too():
    """An index of 1/3 at the oscillator, times 3, makes the lines of index 1."""
    tone = Tone(audio_hz=3e3, deviation_hz=1e3)
    emitter = Emitter(
        name="tripler",
        oscillator_hz=83.4631e6 / 3,
        lines=(Line(times=3, level_dbfs=-0.5),),
        modulation=Modulation(tones=(tone,)),
    )
    source = bench(emitter)
    samples = heard(source, 0.5)
    for order, expected in enumerate(values.BESSEL[1.0]):
        hz = 83.4631e6 - center_hz(source) - order * 3e3
        found = abs(projection(samples, RATE_HZ, hz)) / 10 ** (-0.5 / 20)
        assert found == pytest.approx(expected, abs=6e-4)


def test_the_carrier_vanishes_at_the_first_zero_of_the_bessel_function():
    tone = Tone(audio_hz=1e3, deviation_hz=1e3 * values.CARRIER_NULL)
    source = bench(carrier(83.4631e6, -0.5, modulation=Modulation(tones=(tone,))))
    samples = heard(source, 0.5)
    assert level_dbfs(samples, RATE_HZ, 83.4631e6 - center_hz(source)) < -60


def test_a_pilot_tone_stands_at_its_frequency_beside_the_audio():
    """Two tones at once: the line at the pilot has J0 of the audio times J1 of the pilot."""
    tones = (
        Tone(audio_hz=1.2e3, deviation_hz=1.2e3),
        Tone(audio_hz=values.PILOT_HZ, deviation_hz=0.2 * values.PILOT_HZ),
    )
    source = bench(carrier(83.4631e6, -0.5, modulation=Modulation(tones=tones)))
    samples = heard(source, 0.5)
    hz = 83.4631e6 - center_hz(source) - values.PILOT_HZ
    expected = values.BESSEL[1.0][0] * values.BESSEL[0.2][1] * 10 ** (-0.5 / 20)
    assert abs(projection(samples, RATE_HZ, hz)) == pytest.approx(expected, abs=4e-4)
    assert frequency_hz(samples, RATE_HZ, hz) == pytest.approx(hz, abs=0.01)


def test_hum_makes_a_line_of_half_its_depth_on_either_side():
    """(1 + m sin) of a carrier: sidebands of m / 2 (closed form)."""
    modulation = Modulation(hum_percent=20.0, hum_hz=100.0)
    source = bench(carrier(83.4631e6, -2.0, modulation=modulation))
    samples = heard(source, 1.0)
    hz = 83.4631e6 - center_hz(source)
    middle = abs(projection(samples, RATE_HZ, hz))
    for side in (-1, 1):
        ratio = abs(projection(samples, RATE_HZ, hz + side * 100.0)) / middle
        assert ratio == pytest.approx(0.1, abs=5e-4)


def test_speech_deviates_by_about_its_peak_within_the_telephone_band():
    modulation = Modulation(speech_deviation_hz=3e3)
    source = bench(carrier(83.4631e6, -0.5, modulation=modulation), seed=4)
    samples = heard(source, 4.0)
    turned = np.angle(samples[1:] * np.conj(samples[:-1])) * RATE_HZ / (2 * np.pi)
    audio = turned - np.median(turned)
    rows = audio[: audio.size // 4800 * 4800].reshape(-1, 4800)
    power = np.mean(np.abs(np.fft.rfft(rows * np.hanning(4800), axis=1)) ** 2, axis=0)
    hz = np.fft.rfftfreq(4800, 1 / RATE_HZ)
    voice = power[(hz > 150) & (hz < 4.2e3)].sum()
    near = power[(hz > 4.2e3) & (hz < 8e3)].sum()
    assert near < 0.05 * voice
    keep = np.fft.rfft(audio)
    keep[np.fft.rfftfreq(audio.size, 1 / RATE_HZ) > 4.2e3] = 0
    peak_hz = np.abs(np.fft.irfft(keep, audio.size)).max()
    assert 1.5e3 < peak_hz < 6e3


def test_the_pull_of_a_hand_is_the_slope_of_its_phase():
    hand = PulledBy(hand_course(every_s=1.0))
    at_s = np.linspace(0.0, 2.5, 2_501) + 3e-4  # off the corners of its course
    h = 1e-6
    _, hz = hand.pull(at_s)
    slope = (hand.pull(at_s + h)[0] - hand.pull(at_s - h)[0]) / (2 * h)
    assert np.abs(slope - hz).max() < 0.1
    assert hz.min() == pytest.approx(-2e3)


@pytest.mark.parametrize("rate_hz", [240e3, 2.4e6])
def test_speech_between_its_knots_is_what_it_is_at_any_time(rate_hz):
    speech = Speech(3e3, generator(1, 0))
    clock = DongleClock(error_ppm=40.0, warm_up_ppm=0.0, warm_up_s=1.0)
    at_s = np.linspace(0.0, 3.0, 3_001)
    loudest_s = at_s[np.argmax(np.abs(speech.at(at_s)[1]))]
    time = ChunkTime.of(int(loudest_s * rate_hz / CHUNK), clock=clock, rate_hz=rate_hz)
    exact, _ = speech.at(time.sample_true_s())
    assert np.ptp(exact) > 0.1  # cycles: it does speak
    assert np.abs(speech.cycles(time) - exact).max() < 1e-4


def test_the_frequency_of_speech_is_the_slope_of_its_phase():
    speech = Speech(3e3, generator(1, 0))
    at_s = np.linspace(0.0, 3.0, 30_001)
    h = 1e-7
    _, hz = speech.at(at_s)
    slope = (speech.at(at_s + h)[0] - speech.at(at_s - h)[0]) / (2 * h)
    assert np.abs(slope - hz).max() < 0.02
    assert np.abs(hz).max() > 1e3
