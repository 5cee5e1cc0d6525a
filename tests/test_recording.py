"""The recording loop: what is kept around events, over gaps, and within a size."""

from collections.abc import Iterator

import numpy as np
import pytest

from sniff.errors import SourceError
from sniff.model import IQBlock
from sniff.recording import Limits, Outcome, Stopped, record
from sniff.trigger import STEP_S, Trigger, When
from tests.signals import CENTER_HZ, RATE_HZ, block, noise, tone

SECOND = int(RATE_HZ)


class Memory:
    """A recorder that keeps all in memory, four bytes a sample."""

    sample_bytes = 4

    def __init__(self) -> None:
        self.blocks: list[IQBlock] = []
        self.marks: list[int] = []
        self.checkpoints: list[int] = []

    @property
    def samples(self) -> int:
        return sum(part.samples.size for part in self.blocks)

    def write(self, block: IQBlock) -> None:
        self.blocks.append(block)

    def annotate(self, *, index: int, label: str) -> None:
        self.marks.append(index)

    def checkpoint(self) -> None:
        self.checkpoints.append(self.samples)

    def runs_s(self) -> list[tuple[float, float]]:
        """Begin and end of each gap-free run, s."""
        runs: list[list[int]] = []
        for part in self.blocks:
            if runs and runs[-1][1] == part.index:
                runs[-1][1] = part.end_index
            else:
                runs.append([part.index, part.end_index])
        return [(begin / RATE_HZ, end / RATE_HZ) for begin, end in runs]


def heard(*drops_s: float, seconds: float = 6.0, lasting_s: float = 0.1) -> np.ndarray:
    line = tone(round(seconds * SECOND), offset_hz=40_200.0, amplitude=0.05)
    for drop_s in drops_s:
        line[round(drop_s * SECOND) : round((drop_s + lasting_s) * SECOND)] = 0
    return line + noise(np.random.default_rng(2), line.size, power=1e-3)


def blocks_of(
    samples: np.ndarray, *, size: int = 12_800, lost: tuple[int, int] = (0, 0)
) -> Iterator[IQBlock]:
    """Blocks of 50 ms; `lost` is where samples are lost, and how many."""
    for at in range(0, samples.size, size):
        skipped = lost[1] if at >= lost[0] else 0
        yield block(samples[at : at + size], index=at + skipped)


def kept(
    blocks: Iterator[IQBlock], *, when: When | None = When.ABSENT, **limits: float | int | None
) -> tuple[Outcome, Memory]:
    memory = Memory()
    trigger = None
    if when is not None:
        trigger = Trigger(
            line_hz=CENTER_HZ + 40_000.0, when=when, rate_hz=RATE_HZ, within_hz=1_000.0
        )
    return record(blocks, memory, trigger=trigger, limits=Limits(**limits)), memory


@pytest.mark.parametrize("size", [640, 12_800, 200_000])
def test_what_is_kept_around_an_event_is_what_was_asked_whatever_the_blocks(size: int) -> None:
    outcome, memory = kept(blocks_of(heard(2.013), size=size), pre_s=0.5, post_s=0.3)
    ((begin_s, end_s),) = memory.runs_s()
    assert outcome.stopped is Stopped.EVENTS
    assert (begin_s, end_s) == pytest.approx((1.513, 2.313), abs=3 * STEP_S)
    (mark,) = memory.marks
    assert mark / RATE_HZ == pytest.approx(2.013, abs=3 * STEP_S)
    assert begin_s == pytest.approx(mark / RATE_HZ - 0.5, abs=1e-5)
    assert end_s == pytest.approx(mark / RATE_HZ + 0.3, abs=1e-5)
    assert end_s <= outcome.heard_s < end_s + size / RATE_HZ + 0.03


@pytest.mark.parametrize("drop_s", [1.999, 2.0, 2.049, 2.03])
@pytest.mark.parametrize("size", [640, 12_800, 200_000])
def test_without_pre_and_post_the_moment_itself_is_kept_wherever_it_lies_in_a_block(
    drop_s: float, size: int
) -> None:
    outcome, memory = kept(blocks_of(heard(drop_s), size=size))
    (mark,) = memory.marks
    assert memory.runs_s() == [(mark / RATE_HZ, (mark + 1) / RATE_HZ)]
    assert outcome.stopped is Stopped.EVENTS


def test_events_far_apart_in_one_block_are_runs_of_their_own() -> None:
    _, memory = kept(blocks_of(heard(2.0, 4.0), size=6 * SECOND), pre_s=0.2, post_s=0.4, events=5)
    assert memory.runs_s() == [pytest.approx((at - 0.2, at + 0.4), abs=0.02) for at in (2.0, 4.0)]


def test_events_close_together_are_one_run_with_a_mark_for_each() -> None:
    drops_s = (2.0, 2.3, 2.6)
    outcome, memory = kept(blocks_of(heard(*drops_s)), pre_s=0.2, post_s=0.4, events=3)
    ((begin_s, end_s),) = memory.runs_s()
    assert (begin_s, end_s) == pytest.approx((1.8, 3.0), abs=0.02)
    assert np.array(memory.marks) / RATE_HZ == pytest.approx(drops_s, abs=3 * STEP_S)
    assert len(outcome.events) == 3


def test_events_in_one_block_are_not_more_than_asked() -> None:
    outcome, memory = kept(blocks_of(heard(2.0, 2.3, 2.6), size=5 * SECOND), events=2)
    assert len(outcome.events) == len(memory.marks) == 2


def test_events_far_apart_are_runs_of_their_own_and_what_was_kept_is_made_safe_between() -> None:
    outcome, memory = kept(blocks_of(heard(2.0, 4.0)), pre_s=0.2, post_s=0.4, events=5)
    runs = memory.runs_s()
    assert [begin_s for begin_s, _ in runs] == pytest.approx([1.8, 3.8], abs=0.02)
    assert outcome.stopped is Stopped.DONE
    first = sum(part.samples.size for part in memory.blocks if part.index < 3 * SECOND)
    assert memory.checkpoints == [first, memory.samples]


def test_a_gap_in_the_memory_before_an_event_stays_a_gap() -> None:
    lost = round(0.15 * SECOND)
    gap_at = round(1.8 * SECOND) // 12_800 * 12_800
    outcome, memory = kept(blocks_of(heard(2.0), lost=(gap_at, lost)), pre_s=0.5, post_s=0.1)
    first, second = memory.runs_s()
    assert first[1] == gap_at / RATE_HZ
    assert second[0] == (gap_at + lost) / RATE_HZ
    # Half a second before the event by the clock, lost samples counted.
    assert first[0] == pytest.approx(2.15 - 0.5, abs=0.02)
    assert (outcome.gaps, outcome.lost_samples) == (1, lost)
    assert outcome.events[0].index / RATE_HZ == pytest.approx(2.15, abs=3 * STEP_S)


@pytest.mark.parametrize("most", [4, 4 * 12_800, 4 * 12_800 + 3, 4 * 20_001, 99_999])
def test_the_size_is_never_exceeded_and_used_to_the_last_whole_sample(most: int) -> None:
    samples = heard(seconds=1.0)
    outcome, memory = kept(blocks_of(samples), when=None, max_bytes=most)
    assert outcome.stopped is Stopped.SIZE
    assert memory.samples == most // 4
    together = np.concatenate([part.samples for part in memory.blocks])
    assert np.array_equal(together, samples[: together.size].astype(np.complex64))


def test_the_size_holds_for_the_memory_before_an_event_too() -> None:
    outcome, memory = kept(blocks_of(heard(2.0)), pre_s=1.0, post_s=1.0, max_bytes=4 * 40_000)
    assert outcome.stopped is Stopped.SIZE
    assert memory.samples == 40_000


@pytest.mark.parametrize(
    ("error", "stopped"),
    [(KeyboardInterrupt(), Stopped.INTERRUPTED), (SourceError("it went away"), Stopped.SOURCE)],
)
def test_what_was_kept_counts_when_it_is_broken_off(error: BaseException, stopped: Stopped) -> None:
    def broken() -> Iterator[IQBlock]:
        yield from blocks_of(heard(seconds=0.2))
        raise error

    outcome, memory = kept(broken(), when=None)
    assert outcome.stopped is stopped
    assert outcome.trouble == (str(error) or None)
    assert memory.samples == round(0.2 * SECOND)
