"""Trigger: planted moments found to a step, and nothing else."""

import numpy as np
import pytest

from sniff.trigger import STEP_S, Event, Trigger, When
from tests.signals import CENTER_HZ, RATE_HZ, block, noise, tone

SECOND = int(RATE_HZ)
LINE_HZ = CENTER_HZ + 40_000.0


def events(
    samples: np.ndarray,
    when: When,
    *,
    level: float | None = None,
    lost: int = 0,
    within_hz: float = 1_000.0,
) -> list[Event]:
    trigger = Trigger(line_hz=LINE_HZ, when=when, rate_hz=RATE_HZ, within_hz=within_hz, level=level)
    found: list[Event] = []
    for at in range(0, samples.size, 8_000):
        index = at if at < samples.size // 2 else at + lost
        found += trigger.push(block(samples[at : at + 8_000], index=index))
    return found


def scene(*on: tuple[float, float], seconds: float = 4.0, seed: int = 1) -> np.ndarray:
    samples = round(seconds * SECOND)
    line = tone(samples, offset_hz=40_200.0, amplitude=0.05)
    gate = np.zeros(samples)
    for start_s, end_s in on:
        gate[round(start_s * SECOND) : round(end_s * SECOND)] = 1
    return line * gate + noise(np.random.default_rng(seed), samples, power=1e-3)


def clicks(
    samples: int, *, at_s: tuple[float, ...], ms: float = 3.0, amplitude: float = 0.7, seed: int = 7
) -> np.ndarray:
    """Static: short bursts of white noise, as loud as the converter takes."""
    burst = np.zeros(samples, dtype=np.complex128)
    rng = np.random.default_rng(seed)
    length = round(ms * 1e-3 * RATE_HZ)
    for start_s in at_s:
        at = round(start_s * SECOND)
        burst[at : at + length] = noise(rng, length, power=amplitude**2)
    return burst


def gliding(samples: np.ndarray, *, db: tuple[float, ...]) -> np.ndarray:
    """A line whose level goes in straight lines (of dB) from one to the next over the samples."""
    course = np.interp(np.linspace(0, len(db) - 1, samples.size), np.arange(len(db)), db)
    return samples * 10 ** (course / 20)


def line(seconds: float) -> np.ndarray:
    return tone(round(seconds * SECOND), offset_hz=40_200.0, amplitude=0.05)


def quiet(seconds: float, *, seed: int = 1) -> np.ndarray:
    return noise(np.random.default_rng(seed), round(seconds * SECOND), power=1e-3)


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


@pytest.mark.parametrize("when", [When.PRESENT, When.LEVEL])
def test_what_was_so_from_the_beginning_is_told_as_that(when: When) -> None:
    level = 0.03**2 if when is When.LEVEL else None
    first, second = events(scene((0, 1.0), (2.0, 4.0)), when, level=level)
    assert first.at_start
    assert not second.at_start
    assert times([first, second]) == pytest.approx([0.0, 2.0], abs=3 * STEP_S)


def test_a_level_and_its_kind_go_together() -> None:
    with pytest.raises(ValueError, match="go together"):
        events(scene(), When.PRESENT, level=0.1)


EVERY = tuple(0.203 + 0.101 * number for number in range(35))


@pytest.mark.parametrize("ms", [0.1, 1.0, 3.0, 8.0])
@pytest.mark.parametrize("at_s", [(0.001, 0.5, 2.3, 2.31), EVERY])
def test_static_on_a_steady_line_is_no_absence(ms: float, at_s: tuple[float, ...]) -> None:
    samples = scene((0, 4.0)) + clicks(4 * SECOND, at_s=at_s, ms=ms)
    assert events(samples, When.ABSENT) == []


@pytest.mark.parametrize("ms", [0.1, 1.0, 3.0, 8.0])
@pytest.mark.parametrize("at_s", [(0.001, 0.5, 2.3, 2.31), EVERY])
def test_static_where_no_line_is_is_neither_a_line_nor_a_level(
    ms: float, at_s: tuple[float, ...]
) -> None:
    samples = scene(seconds=4.0) + clicks(4 * SECOND, at_s=at_s, ms=ms)
    assert events(samples, When.PRESENT) == []
    assert events(samples, When.LEVEL, level=0.02**2) == []


@pytest.mark.parametrize("ms", [1.0, 8.0])
def test_after_static_the_line_is_still_watched(ms: float) -> None:
    loud = clicks(4 * SECOND, at_s=(0.4, 0.8, 0.83, 2.3), ms=ms)
    samples = scene((0, 1.0), (1.1, 2.0), (3.0, 4.0)) + loud
    assert times(events(samples, When.ABSENT)) == pytest.approx([1.0, 2.0], abs=3 * STEP_S)
    samples = scene((0.5, 1.0), (2.5, 4.0)) + loud
    assert times(events(samples, When.PRESENT)) == pytest.approx([0.5, 2.5], abs=3 * STEP_S)


def test_a_flash_of_the_line_does_not_end_its_absence() -> None:
    flashes = [(at_s, at_s + 0.0035) for at_s in np.arange(1.2, 1.9, 0.1017)]
    found = events(scene((0, 1.0), *flashes, (2.0, 4.0)), When.ABSENT)
    assert times(found) == pytest.approx([1.0], abs=3 * STEP_S)


def test_a_thousand_clicks_of_all_lengths_change_nothing() -> None:
    """Dense enough for any chance of one in some hundred to come true."""
    rng = np.random.default_rng(11)
    samples = scene((0, 20.0), (20.5, 25.0), seconds=45.0)
    for start_s in np.arange(0.3, 44.9, 0.045):
        length_ms = float(10 ** rng.uniform(-2, 0.8))
        at = round((start_s + rng.uniform(0, 0.02)) * SECOND)
        burst = clicks(2_000, at_s=(0.0,), ms=length_ms, seed=int(at))
        samples[at : at + 2_000] += burst * 10 ** rng.uniform(-1.5, 0)
    assert times(events(samples, When.ABSENT)) == pytest.approx([20.0, 25.0], abs=4 * STEP_S)
    first, second = events(samples, When.PRESENT)
    assert first.at_start
    assert second.index / RATE_HZ == pytest.approx(20.5, abs=4 * STEP_S)


def test_a_loop_that_is_moved_slowly_is_no_absence_and_leaves_the_line_watched() -> None:
    moved = gliding(line(12.0), db=(0.0, -16.0, 4.0, -12.0))
    moved[10 * SECOND : round(10.1 * SECOND)] = 0
    samples = moved + quiet(12.0)
    assert times(events(samples, When.ABSENT)) == pytest.approx([10.0], abs=3 * STEP_S)


def test_a_loop_that_is_moved_at_once_is_one_event_and_the_new_level_is_learnt() -> None:
    weaker = line(8.0)
    weaker[2 * SECOND :] *= 10 ** (-10 / 20)
    weaker[5 * SECOND : 6 * SECOND] = 0
    samples = weaker + quiet(8.0)
    assert times(events(samples, When.ABSENT)) == pytest.approx([2.0, 5.0], abs=3 * STEP_S)


def test_a_line_that_mostly_stands_lower_is_measured_by_its_upper_level() -> None:
    flickering = line(6.0)
    drops_s = (2.0, 2.8, 3.6, 4.4, 5.2)
    for start_s in drops_s:
        flickering[round(start_s * SECOND) : round((start_s + 0.5) * SECOND)] *= 10 ** (-10 / 20)
    found = events(flickering + quiet(6.0), When.ABSENT)
    assert times(found) == pytest.approx(drops_s, abs=3 * STEP_S)


def test_a_strong_lines_own_skirts_are_no_static() -> None:
    samples = 10 * line(2.0)
    samples[:SECOND] = 0
    samples += 1e-3 * quiet(2.0)
    assert times(events(samples, When.PRESENT)) == pytest.approx([1.0], abs=3 * STEP_S)


def test_a_line_that_noise_covers_is_hidden_and_not_absent() -> None:
    samples = line(8.0) + quiet(8.0)
    samples[3 * SECOND : 6 * SECOND] += 20 * quiet(3.0, seed=5)  # 4 dB above the line, in a frame
    trigger = Trigger(line_hz=LINE_HZ, when=When.ABSENT, rate_hz=RATE_HZ, within_hz=1_000.0)
    assert list(trigger.push(block(samples))) == []
    assert trigger.unjudged_s == pytest.approx(3.0, abs=0.7)


@pytest.mark.parametrize("snr", [6.0, 15.0, 30.0])
def test_a_weak_line_does_not_vanish_by_noise_alone(snr: float) -> None:
    """A narrow filter gives two frames a step: the least averaging there is."""
    rate_hz, seconds, offset_hz = 16e3, 200, 3_000.0
    # A Hann window of two hops, a frame every hop: 0.75 of the noise in one frame rate, 400 Hz.
    noise_power = (snr * 0.75 * 400.0 / rate_hz) ** -1 * 0.01**2
    samples = tone(int(seconds * rate_hz), offset_hz=offset_hz, amplitude=0.01, rate_hz=rate_hz)
    samples += noise(np.random.default_rng(3), samples.size, power=noise_power)
    trigger = Trigger(
        line_hz=CENTER_HZ + offset_hz, when=When.ABSENT, rate_hz=rate_hz, within_hz=50.0
    )
    assert list(trigger.push(block(samples, rate_hz=rate_hz))) == []


def test_time_goes_on_over_a_gap() -> None:
    lost = SECOND + 77
    found = events(scene((0, 3.0)), When.ABSENT, lost=lost)
    assert times(found) == pytest.approx([3.0 + lost / RATE_HZ], abs=3 * STEP_S)


def test_a_line_that_went_in_a_gap_is_gone_after_it() -> None:
    lost = 3 * SECOND
    found = events(scene((0, 2.0)), When.ABSENT, lost=lost)
    assert times(found) == pytest.approx([2.0 + lost / RATE_HZ], abs=3 * STEP_S)


def test_small_gaps_all_the_time_are_not_absences() -> None:
    samples = scene((0, 3.0))
    trigger = Trigger(line_hz=LINE_HZ, when=When.ABSENT, rate_hz=RATE_HZ, within_hz=1_000.0)
    found: list[Event] = []
    for at in range(0, samples.size, 10_000):
        found += trigger.push(block(samples[at : at + 9_000], index=at))
    assert times(found) == pytest.approx([3.0], abs=0.05)
