"""A live stream made re-readable on disk."""

import gc
import resource
import tempfile
import tracemalloc
from contextlib import contextmanager

import numpy as np
import psutil
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.errors import SourceError
from sniff.model import IQBlock, Take
from sniff.sources.recording.datatypes import DATATYPES
from sniff.sources.spool import SpooledTake

CU8 = DATATYPES["cu8"]


def block(index, count, *, seed=0, datatype="cu8", center_hz=83.6e6):
    rng = np.random.default_rng((index, count, seed))
    if datatype == "cu8":
        samples = CU8.to_complex64(rng.integers(0, 256, 2 * count, dtype=np.uint8))
    else:
        samples = rng.standard_normal(2 * count, dtype=np.float32).view(np.complex64)
    return IQBlock(samples=samples, rate_hz=1e6, center_hz=center_hz, index=index)


def spooled(blocks, datatype="cu8"):
    return SpooledTake(iter(blocks), center_hz=83.6e6, rate_hz=1e6, datatype=datatype)


def same(one, other):
    return (one.index, one.center_hz, one.rate_hz) == (
        other.index,
        other.center_hz,
        other.rate_hz,
    ) and np.array_equal(one.samples, other.samples)


@given(
    st.lists(st.tuples(st.integers(0, 5), st.integers(1, 50)), max_size=8),
    st.sampled_from(["cu8", "cf32_le"]),
    st.lists(st.integers(0, 9), max_size=3),
)
def test_every_reading_gives_the_same_blocks_however_far_the_earlier_ones_went(
    pieces, datatype, broken_off
):
    index, stream = 0, []
    for lost, count in pieces:
        index += lost
        stream.append(block(index, count, datatype=datatype, center_hz=83.6e6 + lost))
        index += count
    take = spooled(stream, datatype)
    for reads in broken_off:
        for _ in zip(range(reads), take.blocks(), strict=False):
            pass
    for _ in range(2):
        got = list(take.blocks())
        assert len(got) == len(stream)
        assert all(same(one, other) for one, other in zip(got, stream, strict=True))
    assert take.seconds == sum(count for _, count in pieces) / 1e6
    take.close()


def test_a_spooled_take_is_a_take_and_counts_what_was_observed():
    take: Take = spooled([block(0, 300), block(400, 100)])
    assert (take.center_hz, take.rate_hz, take.seconds) == (83.6e6, 1e6, 0.0)
    reading = take.blocks()
    next(reading)
    assert take.seconds == 300e-6
    list(reading)
    list(take.blocks())
    assert take.seconds == 400e-6  # the hundred lost samples are not observed
    take.close()


def test_two_readings_side_by_side_see_the_same():
    stream = [block(at, 100) for at in range(0, 500, 100)]
    take = spooled(stream)
    pairs = list(zip(take.blocks(), take.blocks(), strict=True))
    assert all(same(one, other) for one, other in pairs)
    assert [one.index for one, _ in pairs] == [0, 100, 200, 300, 400]
    take.close()


def test_bytes_of_a_dongle_take_two_bytes_a_sample_and_others_eight(monkeypatch):
    files = []
    made = tempfile.TemporaryFile

    def kept(*args, **kwargs):
        files.append(made(*args, **kwargs))
        return files[-1]

    monkeypatch.setattr(tempfile, "TemporaryFile", kept)
    for datatype in ("cu8", "cf32_le"):
        take = spooled([block(0, 100_000, datatype=datatype)], datatype)
        list(take.blocks())
    sizes = [file.seek(0, 2) for file in files]
    for file in files:
        file.close()
    assert sizes[0] == pytest.approx(200_000, abs=100)
    assert sizes[1] == pytest.approx(800_000, abs=100)


def test_samples_that_are_not_of_the_stated_type_come_back_unchanged_all_the_same():
    stream = [block(0, 100), block(100, 100, datatype="cf32_le"), block(200, 100)]
    take = spooled(stream, "cu8")
    list(take.blocks())
    assert all(same(one, other) for one, other in zip(take.blocks(), stream, strict=True))
    take.close()


def test_a_source_that_fails_is_heard_once_and_what_came_before_stays():
    def stream():
        yield block(0, 100)
        raise SourceError("unplugged")

    take = SpooledTake(stream(), center_hz=83.6e6, rate_hz=1e6, datatype="cu8")
    with pytest.raises(SourceError, match="unplugged"):
        list(take.blocks())
    [kept] = take.blocks()
    assert same(kept, block(0, 100))
    take.close()


def test_a_closed_take_says_so_and_closes_twice():
    take = spooled([block(0, 100), block(100, 100)])
    reading = take.blocks()
    next(reading)
    take.close()
    take.close()
    with pytest.raises(SourceError, match="was closed"):
        next(reading)
    with pytest.raises(SourceError, match="was closed"):
        next(take.blocks())


def test_no_temporary_folder_is_one_clear_line(monkeypatch, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "nowhere"))
    with pytest.raises(SourceError, match="nowhere: the samples cannot be kept"):
        spooled([block(0, 10)])


@contextmanager
def files_no_longer_than(size):
    """Let writes fail as on a full disk; Python turns the signal that goes with it off."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_full_disk_is_one_clear_line_and_what_was_kept_can_still_be_read():
    stream = [block(at, 10_000) for at in range(0, 100_000, 10_000)]
    take = spooled(stream)
    with files_no_longer_than(70_000):
        with pytest.raises(SourceError, match=r"File too large; make room, .* --seconds"):
            list(take.blocks())
        reading = take.blocks()
        kept = [next(reading) for _ in range(3)]
    assert all(same(one, other) for one, other in zip(kept, stream, strict=False))
    assert take.seconds == 30_000e-6
    take.close()


def test_memory_does_not_grow_with_the_length():
    def stream(count):
        return (block(at * 2**16, 2**16) for at in range(count))

    def peak(count):
        take = SpooledTake(stream(count), center_hz=83.6e6, rate_hz=1e6, datatype="cu8")
        gc.collect()
        tracemalloc.start()
        for _ in range(2):
            for _ in take.blocks():
                pass
        highest = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        take.close()
        return highest

    assert peak(40) < 1.05 * peak(4)


def test_closing_gives_the_file_handle_back():
    process = psutil.Process()
    before = process.num_fds()
    take = spooled([block(0, 100)])
    list(take.blocks())
    assert process.num_fds() == before + 1
    take.close()
    assert process.num_fds() == before
