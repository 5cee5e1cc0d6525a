"""Trigger: planted moments found to a step, and nothing else."""

import numpy as np
import pytest

from sniff.trigger import STEP_S, Event, Trigger, When
from tests.signals import CENTER_HZ, RATE_HZ, block, noise, tone

SECOND = int(RATE_HZ)


def events(
    samples: np.ndarray, when: When, *, level: float | None = None, lost: int = 0
) -> list[Event]:
    trigger = Trigger(
        line_hz=CENTER_HZ + 40_000.0, when=when, rate_hz=RATE_HZ, within_hz=1_000.0, level=level
    )
    found: list[Event] = []
    for at in range(0, samples.size, 10_000):
        index = at if at < samples.size // 2 else at + lost
        found += trigger.push(block(samples[at : at + 10_000], index=index))
    return found


def scene(*on: tuple[float, float], seconds: float = 4.0, seed: int = 1) -> np.ndarray:
    samples = round(seconds * SECOND)
    line = tone(samples, offset_hz=40_200.0, amplitude=0.05)
    gate = np.zeros(samples)
    for start_s, end_s in on:
        gate[round(start_s * SECOND) : round(end_s * SECOND)] = 1
    return line * gate + noise(np.random.default_rng(seed), samples, power=1e-3)


def times(found: list[Event]) -> list[float]:
    return [event.index / RATE_HZ for event in found]


def test_each_time_the_line_vanishes_is_found() -> None:
    found = events(scene((0, 1.0), (1.1, 2.0), (3.0, 4.0)), When.ABSENT)
    assert times(found) == pytest.approx([1.0, 2.0], abs=3 * STEP_S)


def test_each_time_the_line_appears_is_found() -> None:
    found = events(scene((0.5, 1.0), (2.5, 4.0)), When.PRESENT)
    assert times(found) == pytest.approx([0.5, 2.5], abs=3 * STEP_S)


def test_a_level_that_is_risen_above_is_found() -> None:
    samples = scene((0.0, 4.0))
    samples[2 * SECOND : 3 * SECOND] += tone(4 * SECOND, offset_hz=40_200.0, amplitude=0.1)[
        2 * SECOND : 3 * SECOND
    ]
    found = events(samples, When.LEVEL, level=0.1**2)
    assert times(found) == pytest.approx([2.0], abs=3 * STEP_S)
    assert found[0].level == pytest.approx(0.15**2, rel=0.1)


@pytest.mark.parametrize("when", [When.ABSENT, When.PRESENT])
def test_a_line_that_was_never_there_triggers_nothing(when: When) -> None:
    assert events(scene(seconds=20.0), when) == []


def test_a_steady_line_never_vanishes() -> None:
    assert events(scene((0, 20.0), seconds=20.0), When.ABSENT) == []


def test_unobserved_time_is_no_absence() -> None:
    assert events(scene((0, 4.0)), When.ABSENT, lost=3 * SECOND) == []


def test_a_level_and_its_kind_go_together() -> None:
    with pytest.raises(ValueError, match="go together"):
        events(scene(), When.PRESENT, level=0.1)
