"""IQ of drop-outs: from before the beginning to after the end, and never more than allowed."""

from dataclasses import dataclass, field

import numpy as np
import pytest

from sniff.errors import SourceError
from sniff.model import IQBlock
from sniff.soak.keeping import Keeper, Room

RATE_HZ = 1000.0
BLOCK = 100  # a tenth of a second


@dataclass
class Heap:
    """Keeps blocks in memory, two bytes a sample."""

    name: str
    blocks: list[IQBlock] = field(default_factory=list)
    labels: list[int] = field(default_factory=list)
    finished: bool = False
    full: bool = False

    @property
    def bytes(self) -> int:
        return 2 * sum(block.samples.size for block in self.blocks)

    def write(self, block: IQBlock) -> None:
        if self.full:
            raise SourceError("the disk is full")
        self.blocks.append(block)

    def annotate(self, *, index: int, label: str) -> None:
        self.labels.append(index)

    def finish(self) -> None:
        if self.full:
            raise SourceError("the disk is still full")
        self.finished = True

    @property
    def span_s(self) -> tuple[float, float]:
        return self.blocks[0].start_s, self.blocks[-1].end_index / RATE_HZ


class Shelf:
    def __init__(self, room: Room, *, used_bytes: int = 0) -> None:
        self.heaps: list[Heap] = []
        self.full = False
        self.keeper = Keeper(self._make, room, used_bytes=used_bytes)

    def _make(self, name: str) -> Heap:
        self.heaps.append(Heap(name, full=self.full))
        return self.heaps[-1]

    def play(self, seconds: float, gone: list[tuple[float, float]]) -> None:
        """Tell of drop-outs from block to block."""
        for number in range(round(seconds * RATE_HZ / BLOCK)):
            block = IQBlock(
                samples=np.zeros(BLOCK, np.complex64),
                rate_hz=RATE_HZ,
                center_hz=0.0,
                index=number * BLOCK,
            )
            start_s, end_s = block.start_s, block.end_index / RATE_HZ
            self.keeper.push(
                block,
                begun=sum(start_s <= begin_s < end_s for begin_s, _ in gone),
                there=not any(begin_s < end_s <= over_s for begin_s, over_s in gone),
                name=f"at-{start_s:g}",
            )
        self.keeper.finish()


def test_a_recording_reaches_from_before_the_beginning_to_after_the_end() -> None:
    shelf = Shelf(Room(pre_s=1.0, post_s=0.5))
    shelf.play(20.0, [(10.05, 10.95)])
    (heap,) = shelf.heaps
    start_s, end_s = heap.span_s
    assert start_s <= 10.05 - 1.0
    assert end_s >= 10.95 + 0.5
    assert end_s - start_s < 1.0 + 0.9 + 0.5 + 3 * BLOCK / RATE_HZ
    assert heap.labels == [10_000]
    assert heap.finished
    assert [b.index for b in heap.blocks] == list(range(heap.blocks[0].index, 11_500, BLOCK))


def test_drop_outs_close_together_share_a_recording_and_far_ones_do_not() -> None:
    shelf = Shelf(Room(pre_s=1.0, post_s=0.5))
    shelf.play(20.0, [(5.05, 5.15), (5.35, 5.45), (12.05, 12.15)])
    assert [heap.name for heap in shelf.heaps] == ["at-5", "at-12"]
    assert shelf.heaps[0].labels == [5_000, 5_300]


def test_a_line_that_stays_away_is_recorded_for_a_while_only() -> None:
    shelf = Shelf(Room(pre_s=1.0, post_s=0.5, longest_s=5.0))
    shelf.play(100.0, [(10.05, 95.0)])
    (heap,) = shelf.heaps
    assert heap.span_s[1] - heap.span_s[0] == pytest.approx(5.0, abs=0.2)


def test_all_recordings_together_stay_below_their_size_and_then_it_says_so() -> None:
    room = Room(pre_s=1.0, post_s=0.5, total_bytes=20_000)
    shelf = Shelf(room, used_bytes=8_000)
    shelf.play(100.0, [(t + 0.05, t + 0.15) for t in range(5, 95, 10)])
    assert 8_000 + sum(heap.bytes for heap in shelf.heaps) <= 20_000 + 2 * BLOCK * 12
    assert all(heap.finished for heap in shelf.heaps)
    assert "have reached" in (shelf.keeper.trouble or "")


def test_a_disk_that_refuses_ends_the_recordings_and_not_the_soak() -> None:
    shelf = Shelf(Room())
    shelf.full = True
    shelf.play(20.0, [(10.05, 10.15), (15.05, 15.15)])
    assert shelf.keeper.trouble == "the disk is full"
    assert len(shelf.heaps) == 1


def test_without_a_drop_out_nothing_is_kept() -> None:
    shelf = Shelf(Room())
    shelf.play(20.0, [])
    assert shelf.heaps == []
