"""Presence: planted absences recovered, steady lines left alone."""

import numpy as np
import pytest

from sniff.model import IQBlock
from sniff.watch.presence import PowerCourse, Presence
from sniff.zoom import LONGEST_STRETCH, Zoom
from tests.signals import CENTER_HZ, RATE_HZ, block, noise, tone, zoomed

DENSITY = 1e-4 / RATE_HZ


def follow(*blocks: IQBlock, hop: int = 64, longest: int = LONGEST_STRETCH) -> Presence | None:
    zoom = Zoom([CENTER_HZ + 5_000.0], hop=hop, longest=longest)
    course = PowerCourse(sum(part.samples.size for part in blocks) / RATE_HZ)
    for (line,) in zoomed(zoom, *blocks):
        course.take_in(line)
    return course.presence(noise_density=DENSITY)


def test_a_steady_line_is_always_there() -> None:
    rng = np.random.default_rng(1)
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1) + noise(rng, 400_000, power=1e-4)
    found = follow(block(samples))
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
    found = follow(block(samples + noise(rng, 400_000, power=1e-4)))
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
    found = follow(block(samples + noise(rng, 400_000, power=1e-4)))
    assert found is not None
    assert found.fraction == pytest.approx(0.104, abs=0.01)
    assert found.power == pytest.approx(0.01, rel=0.05)


def test_frequency_modulation_within_the_filter_is_no_absence() -> None:
    rng = np.random.default_rng(4)
    t = np.arange(400_000) / RATE_HZ
    swing = 1_000.0 / 400.0 * np.sin(2 * np.pi * 400.0 * t)
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1) * np.exp(1j * swing)
    found = follow(block(samples + noise(rng, 400_000, power=1e-4)))
    assert found is not None
    assert found.fraction == 1.0


def test_a_weak_line_is_averaged_longer_rather_than_called_gone() -> None:
    rng = np.random.default_rng(5)
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.002) + noise(rng, 400_000, power=1e-4)
    found = follow(block(samples), hop=512)
    assert found is not None
    assert found.fraction == 1.0
    assert found.step_s > 2e-3


def test_a_line_too_weak_to_follow_is_said_to_be_so() -> None:
    rng = np.random.default_rng(6)
    samples = tone(40_000, offset_hz=5_000.0, amplitude=0.0002) + noise(rng, 40_000, power=1e-4)
    assert follow(block(samples)) is None


@pytest.mark.parametrize("longest", [LONGEST_STRETCH, 500])
def test_unobserved_time_is_neither_present_nor_absent(longest: int) -> None:
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1)
    found = follow(
        block(samples[:100_000]), block(samples[300_000:], index=300_000), longest=longest
    )
    assert found is not None
    assert found.fraction == 1.0
    assert found.absences == ()


def test_absences_after_a_gap_keep_their_time() -> None:
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1)
    samples[350_000:370_000] = 0
    found = follow(block(samples[:100_000]), block(samples[300_000:], index=300_000), longest=500)
    assert found is not None
    ((start_s, end_s),) = found.absences
    assert start_s == pytest.approx(350_000 / RATE_HZ, abs=5e-3)
    assert end_s == pytest.approx(370_000 / RATE_HZ, abs=5e-3)


def test_stretches_are_one_course() -> None:
    rng = np.random.default_rng(9)
    samples = tone(400_000, offset_hz=5_000.0, amplitude=0.1)
    samples[100_000:120_000] = 0
    samples = samples + noise(rng, 400_000, power=1e-4)
    blocks = [block(samples[at : at + 4_000], index=at) for at in range(0, 400_000, 4_000)]
    assert follow(*blocks) == follow(*blocks, longest=300)


def test_times_count_from_the_opening_of_the_source() -> None:
    samples = tone(200_000, offset_hz=5_000.0, amplitude=0.1)
    samples[100_000:120_000] = 0
    late = follow(block(samples, index=256_000))
    assert late is not None
    ((start_s, _),) = late.absences
    assert start_s == pytest.approx(1.0 + 100_000 / RATE_HZ, abs=3e-3)
