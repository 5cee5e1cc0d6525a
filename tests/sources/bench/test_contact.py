"""A cracked joint and keying: when a line is there, and how it starts."""

import numpy as np
import pytest

from sniff.sources.bench.schema import Break, Joint, Keying, StartUp
from tests.sources.bench.measure import (
    bench,
    carrier,
    center_hz,
    frequency_hz,
    heard,
    quiet_dongle,
    strongest_hz,
)

RATE_HZ = 240e3
QUICK = StartUp(rise_s=20e-6, fall_s=20e-6)
CARRIER_HZ = 83.4631e6


def presence(source, seconds):
    """Times since the bench was opened, and whether the line is above half its amplitude."""
    first = None
    levels = []
    for block in source.stream(seconds=seconds):
        first = block.index if first is None else first
        levels.append(np.abs(block.samples))
    level = np.concatenate(levels)
    at_s = (first + np.arange(level.size)) / RATE_HZ
    return at_s, level > 0.25


def edges_s(at_s, there):
    return at_s[1:][there[1:] != there[:-1]]


def test_a_script_of_breaks_is_followed_to_the_sample():
    joint = Joint(breaks=(Break(at_s=0.1, for_s=0.03), Break(at_s=0.25, for_s=0.1)))
    source = bench(carrier(CARRIER_HZ, joint=joint, start_up=QUICK))
    at_s, there = presence(source, 0.5)
    # At half amplitude: ln 2 time constants of 20 us after each edge.
    late_s = np.log(2) * 20e-6
    expected = np.array([0.1, 0.13, 0.25, 0.35]) + late_s
    assert edges_s(at_s, there) == pytest.approx(expected, abs=1.5 / RATE_HZ)
    assert there[0]


def test_a_break_is_timed_by_true_time_not_by_the_dongles():
    """100 ppm of 2 s are 48 samples."""
    joint = Joint(breaks=(Break(at_s=2.0, for_s=0.1),))
    dongle = quiet_dongle(error_ppm=100.0)
    source = bench(carrier(CARRIER_HZ, joint=joint, start_up=QUICK), dongle=dongle)
    at_s, there = presence(source, 2.2)
    first_s = edges_s(at_s, there)[0] - np.log(2) * 20e-6
    assert first_s == pytest.approx(2.0 * (1 + 100e-6), abs=2 / RATE_HZ)


def test_a_joint_by_chance_holds_and_opens_for_exponential_times():
    """Means within 4 standard errors; an exponential's standard deviation is its mean, and 1 in
    e of its times are longer than it."""
    joint = Joint(connected_s=0.05, open_s=0.02)
    source = bench(carrier(CARRIER_HZ, joint=joint, start_up=QUICK), seed=11)
    at_s, there = presence(source, 40.0)
    edges = edges_s(at_s, there)
    dwells = np.diff(edges)
    first_is_open = not there[at_s > edges[0]][0]
    open_s, held_s = (dwells[::2], dwells[1::2]) if first_is_open else (dwells[1::2], dwells[::2])
    for dwell_s, mean_s in ((held_s, 0.05), (open_s, 0.02)):
        error_s = mean_s / np.sqrt(dwell_s.size)
        assert dwell_s.size > 400
        assert dwell_s.mean() == pytest.approx(mean_s, abs=4 * error_s)
        assert dwell_s.std() == pytest.approx(mean_s, rel=0.25)
        assert np.mean(dwell_s > mean_s) == pytest.approx(np.exp(-1), abs=4 * 0.48 / 20)


def test_a_contact_that_bounces_makes_and_breaks_again_within_its_time():
    joint = Joint(
        breaks=(Break(at_s=0.1, for_s=0.1), Break(at_s=0.3, for_s=0.1)),
        bounce_s=0.02,
        bounces=4,
    )
    source = bench(carrier(CARRIER_HZ, joint=joint, start_up=QUICK), seed=3)
    at_s, there = presence(source, 0.6)
    edges = edges_s(at_s, there)
    assert 12 < edges.size <= 4 * 9  # the shortest are lost in the time constant
    starts = np.array([0.1, 0.2, 0.3, 0.4])
    after_s = edges[:, np.newaxis] - starts
    assert np.all(((after_s >= 0) & (after_s < 0.0202)).any(axis=1))
    for middle_s, held in ((0.05, True), (0.17, False), (0.27, True), (0.37, False), (0.5, True)):
        assert there[np.searchsorted(at_s, middle_s)] == held


def test_keying_is_off_first_and_then_even():
    keying = Keying(first_s=0.05, on_s=0.03, off_s=0.07)
    source = bench(carrier(CARRIER_HZ, keying=keying, start_up=QUICK))
    at_s, there = presence(source, 0.3)
    expected = np.array([0.05, 0.08, 0.15, 0.18, 0.25, 0.28]) + np.log(2) * 20e-6
    assert not there[0]
    assert edges_s(at_s, there) == pytest.approx(expected, abs=1.5 / RATE_HZ)


def test_an_oscillator_rises_and_falls_with_its_time_constants():
    keying = Keying(first_s=0.05, on_s=0.05, off_s=1.0)
    start_up = StartUp(rise_s=4e-3, fall_s=1e-3)
    source = bench(carrier(CARRIER_HZ, -1.0, keying=keying, start_up=start_up))
    level = np.abs(heard(source, 0.2))
    full = 10 ** (-1.0 / 20)
    first = round(0.015 * RATE_HZ)  # what the bench passed over while settling
    for after_s in (2e-3, 4e-3, 12e-3):
        place = round((0.05 + after_s) * RATE_HZ) - first
        expected = full * (1 - np.exp(-after_s / 4e-3))
        assert level[place - 5 : place + 6].mean() == pytest.approx(expected, abs=0.01)
    for after_s in (0.5e-3, 1e-3, 2e-3):
        place = round((0.1 + after_s) * RATE_HZ) - first
        assert level[place - 5 : place + 6].mean() == pytest.approx(
            full * np.exp(-after_s / 1e-3), abs=0.01
        )


def test_an_oscillator_that_is_cut_off_while_it_rises_falls_from_where_it_was():
    """Half a time constant of rising, then a fall from 1 - exp(-1/2)."""
    keying = Keying(first_s=0.05, on_s=2e-3, off_s=1.0)
    start_up = StartUp(rise_s=4e-3, fall_s=1e-3)
    source = bench(carrier(CARRIER_HZ, -1.0, keying=keying, start_up=start_up))
    level = np.abs(heard(source, 0.1)) / 10 ** (-1.0 / 20)
    for after_s in (0.2e-3, 1e-3):
        place = round((0.052 + after_s - 0.015) * RATE_HZ)
        expected = (1 - np.exp(-0.5)) * np.exp(-after_s / 1e-3)
        assert level[place - 5 : place + 6].mean() == pytest.approx(expected, abs=0.01)


def test_an_oscillator_starts_off_its_frequency_and_settles():
    """83.4631 MHz and 12 ppm: 1001.6 Hz high at first, a factor e less each time constant."""
    keying = Keying(first_s=0.05, on_s=1.0, off_s=1.0)
    start_up = StartUp(rise_s=50e-6, fall_s=50e-6, ppm=12.0, settle_s=0.02)
    source = bench(carrier(CARRIER_HZ, -1.0, keying=keying, start_up=start_up))
    samples = heard(source, 0.5)
    settled_hz = CARRIER_HZ - center_hz(source)
    for after_s in (5e-3, 20e-3, 60e-3):
        middle = round((0.05 - 0.015 + after_s) * RATE_HZ)
        part = samples[middle - 480 : middle + 480]
        expected_hz = settled_hz + CARRIER_HZ * 12e-6 * np.exp(-after_s / 0.02)
        assert frequency_hz(part, RATE_HZ, expected_hz) == pytest.approx(expected_hz, abs=4.0)
    late = samples[round(0.3 * RATE_HZ) :]
    assert frequency_hz(late, RATE_HZ, settled_hz) == pytest.approx(settled_hz, abs=0.01)


def test_an_oscillator_that_died_starts_at_another_phase_one_that_did_not_goes_on():
    """A break of 10 time constants against one of a quarter of one."""
    turned = {}
    for name, break_s in (("long", 1e-3), ("short", 25e-6)):
        joint = Joint(breaks=tuple(Break(at_s=0.1 + 0.1 * n, for_s=break_s) for n in range(6)))
        start_up = StartUp(rise_s=100e-6, fall_s=100e-6)
        source = bench(carrier(CARRIER_HZ, -1.0, joint=joint, start_up=start_up), seed=2)
        samples = heard(source, 0.75)
        hz = CARRIER_HZ - center_hz(source)
        still = samples * np.exp(-2j * np.pi * hz / RATE_HZ * np.arange(samples.size))
        middles = [round((0.15 + 0.1 * n - 0.015) * RATE_HZ) for n in range(6)]
        phases = np.angle([still[m - 100 : m + 100].mean() for m in middles])
        turned[name] = np.angle(np.exp(1j * np.diff(phases)))
    assert np.abs(turned["short"]).max() < 0.02
    assert np.abs(turned["long"]).max() > 0.5


def test_all_lines_of_an_oscillator_come_and_go_together():
    from sniff.sources.bench.schema import Emitter, Line

    joint = Joint(breaks=(Break(at_s=0.1, for_s=0.1),))
    emitter = Emitter(
        name="two",
        oscillator_hz=1.2e6,
        lines=(Line(times=69, level_dbfs=-8.0), Line(times=70, level_dbfs=-8.0)),
        joint=joint,
        start_up=QUICK,
    )
    source = bench(emitter, rate_hz=2.4e6, center_hz=83.35e6)
    samples = heard(source, 0.3)
    open_part = samples[round(0.1 * 2.4e6) : round(0.15 * 2.4e6)]
    held_part = samples[: round(0.05 * 2.4e6)]
    assert np.abs(open_part).max() < 0.01
    powers = np.abs(np.fft.fft(held_part * np.hanning(held_part.size))) ** 2
    hz = np.fft.fftfreq(held_part.size, 1 / 2.4e6)
    assert strongest_hz(held_part[:4096], 2.4e6) != 0
    for line_hz in (82.8e6, 84.0e6):
        near = np.abs(hz - (line_hz - center_hz(source))) < 200
        assert powers[near].max() > 0.05 * powers.max()
