"""Chunks become gap-free blocks at one tuning, and nothing else happens to their bytes."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sniff.sources.dongle.assembly import Assembler, RawBlock, Tuned
from sniff.sources.dongle.reader import Chunk
from sniff.sources.dongle.settling import SettlingRule

_SETTLED = Tuned(generation=1, center_hz=100e6, valid_from=0, settled=True)


def _chunk(index: int, samples: int) -> Chunk:
    """Bytes that tell which sample they belong to."""
    numbers = np.arange(index, index + samples, dtype=np.uint16)
    return Chunk(index=index, native=numbers.view(np.uint8))


def _numbers(block: RawBlock) -> list[int]:
    return block.native.copy().view(np.uint16).tolist()


def _assembler(block: int = 100, samples: int | None = None) -> Assembler:
    return Assembler(rate_hz=1e6, block=block, samples=samples, rule=SettlingRule())


@given(
    runs=st.lists(
        st.tuples(st.integers(min_value=0, max_value=50), st.integers(min_value=1, max_value=300)),
        min_size=1,
        max_size=20,
    ),
    block=st.integers(min_value=1, max_value=250),
    samples=st.one_of(st.none(), st.integers(min_value=1, max_value=2000)),
)
def test_every_sample_comes_once_with_its_number_and_no_block_spans_a_gap(
    runs: list[tuple[int, int]], block: int, samples: int | None
) -> None:
    assembler = _assembler(block, samples)
    blocks, there, index = [], [], 0
    for gap, size in runs:
        index += gap
        if assembler.done:
            break
        blocks += assembler.push(_chunk(index, size), _SETTLED)
        there += range(index, index + size)
        index += size
    blocks += assembler.flush()
    if samples is not None:
        there = [number for number in there if number < runs[0][0] + samples]
    heard = [number for one in blocks for number in _numbers(one)]
    assert heard == there
    for one in blocks:
        assert _numbers(one) == list(range(one.index, one.index + one.native.size // 2))
        assert one.native.size // 2 <= block
        assert one.center_hz == 100e6


def test_a_retuning_ends_a_block_and_drops_what_was_made_before_it() -> None:
    assembler = _assembler()
    assert assembler.push(_chunk(0, 70), _SETTLED) == []
    tuned = Tuned(generation=2, center_hz=200e6, valid_from=150, settled=True)
    (before,) = assembler.push(_chunk(70, 60), tuned)
    assert _numbers(before) == list(range(70))
    assert before.center_hz == 100e6
    assembler.push(_chunk(130, 60), tuned)
    (after,) = assembler.flush()
    assert _numbers(after) == list(range(150, 190))
    assert after.center_hz == 200e6


def test_an_unsettled_stream_gives_nothing_for_the_least_time_and_then_all_that_follows() -> None:
    assembler = Assembler(rate_hz=1e6, block=5000, samples=None, rule=SettlingRule())
    unsettled = Tuned(generation=1, center_hz=100e6, valid_from=1000, settled=False)
    still = np.full(2 * 1000, 130, dtype=np.uint8)
    blocks = []
    for index in range(0, 30_000, 1000):
        blocks += assembler.push(Chunk(index=index, native=still), unsettled)
    assert assembler.settled_generation == 1
    assert blocks[0].index == 1000 + 10_000
    assert blocks[1].index == blocks[0].index + 5000


def test_the_length_counts_what_is_lost() -> None:
    assembler = _assembler(samples=500)
    assembler.push(_chunk(1000, 50), _SETTLED)
    assert not assembler.is_past(1499)
    assert assembler.is_past(1500)
    blocks = assembler.push(_chunk(1450, 100), _SETTLED)
    assert assembler.done
    assert [(block.index, block.native.size // 2) for block in blocks] == [(1000, 50), (1450, 50)]
