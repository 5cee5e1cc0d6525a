"""Presence: planted absences recovered, steady lines left alone."""

import numpy as np
import pytest

from sniff.watch import presence
from sniff.zoom import Zoom
from tests.signals import CENTER_HZ, RATE_HZ, block, noise, tone

DENSITY = 1e-4 / RATE_HZ


def zoomed(samples: np.ndarray, hop: int = 64, index: int = 0):  # type: ignore[no-untyped-def]
    zoom = Zoom([CENTER_HZ + 5_000.0], hop=hop)
    zoom.push(block(samples, index=index))
    return zoom.results()[0]


def test_a_steady_line_is_always_there() -> None:
    rng = np.random.default_rng(1)
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1) + noise(rng, 400_000, power=1e-4)
    found = presence(zoomed(samples), noise_density=DENSITY)
    assert found is not None
    assert found.fraction == 1.0
    assert found.absences == ()
    assert found.power == pytest.approx(0.01, rel=0.02)


def test_absences_are_found_where_they_were_planted() -> None:
    rng = np.random.default_rng(2)
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1)
    planted = [(0.25, 0.26), (0.5, 0.55), (1.0, 1.3)]
    for start_s, end_s in planted:
        samples[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)] = 0
    found = presence(zoomed(samples + noise(rng, 400_000, power=1e-4)), noise_density=DENSITY)
    assert found is not None
    assert len(found.absences) == 3
    for (start_s, end_s), (true_start_s, true_end_s) in zip(found.absences, planted, strict=True):
        assert abs(start_s - true_start_s) <= 2 * found.step_s
        assert abs(end_s - true_end_s) <= 2 * found.step_s
    assert found.fraction == pytest.approx(1 - 0.36 / (400_000 / RATE_HZ), abs=0.01)


def test_a_line_up_for_a_small_part_of_the_time_keeps_its_own_level() -> None:
    rng = np.random.default_rng(3)
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1)
    samples[: round(1.4 * RATE_HZ)] = 0
    found = presence(zoomed(samples + noise(rng, 400_000, power=1e-4)), noise_density=DENSITY)
    assert found is not None
    assert found.fraction == pytest.approx(0.104, abs=0.01)
    assert found.power == pytest.approx(0.01, rel=0.05)


def test_frequency_modulation_within_the_filter_is_no_absence() -> None:
    rng = np.random.default_rng(4)
    t = np.arange(400_000) / RATE_HZ
    swing = 1_000.0 / 400.0 * np.sin(2 * np.pi * 400.0 * t)
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1) * np.exp(1j * swing)
    found = presence(zoomed(samples + noise(rng, 400_000, power=1e-4)), noise_density=DENSITY)
    assert found is not None
    assert found.fraction == 1.0


def test_a_weak_line_is_averaged_longer_rather_than_called_gone() -> None:
    rng = np.random.default_rng(5)
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.002) + noise(rng, 400_000, power=1e-4)
    found = presence(zoomed(samples, hop=512), noise_density=DENSITY)
    assert found is not None
    assert found.fraction == 1.0
    assert found.step_s > 2e-3


def test_a_line_too_weak_to_follow_is_said_to_be_so() -> None:
    rng = np.random.default_rng(6)
    samples = tone(40_000, offset_hz=5_000.0, amplitude=0.0002) + noise(rng, 40_000, power=1e-4)
    assert presence(zoomed(samples), noise_density=DENSITY) is None


def test_unobserved_time_is_neither_present_nor_absent() -> None:
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1)
    zoom = Zoom([CENTER_HZ + 5_000.0], hop=64)
    zoom.push(block(samples[:100_000]))
    zoom.push(block(samples[300_000:], index=300_000))
    found = presence(zoom.results()[0], noise_density=DENSITY)
    assert found is not None
    assert found.fraction == 1.0
    assert found.absences == ()


def test_times_count_from_the_opening_of_the_source() -> None:
    samples = tone(200_000, offset_hz=5_000.0, amplitude=0.1)
    samples[100_000:120_000] = 0
    late = presence(zoomed(samples, index=256_000), noise_density=DENSITY)
    assert late is not None
    ((start_s, _),) = late.absences
    assert start_s == pytest.approx(1.0 + 100_000 / RATE_HZ, abs=3e-3)
