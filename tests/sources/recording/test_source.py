"""Stretches of a recording: what is asked for is what comes, however it is cut into blocks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.errors import SourceError, UsageError
from sniff.model import Source, SourceInfo, Take
from sniff.sources.recording.captures import Capture
from sniff.sources.recording.source import BLOCK_SAMPLES, RecordingSource
from tests.sources.recording.files import joined, spans

RATE_HZ = 1000.0


class Numbers:
    """Samples that are their own place."""

    stride = 3
    may_hold_nan = False

    def __init__(self):
        self.reads = []

    def read(self, place, count):
        self.reads.append(count)
        return (place + 3 * np.arange(count)).astype(np.complex64)

    def close(self):
        pass


def source_of(captures, block_samples=BLOCK_SAMPLES):
    info = SourceInfo(
        kind="recording",
        name="some",
        datatype="cu8",
        rail=1.0,
        rate_hz=RATE_HZ,
        centers_hz=(),
        duration_s=None,
        tunable=False,
    )
    return RecordingSource(
        info=info, captures=captures, reader=Numbers(), block_samples=block_samples
    )


@st.composite
def recordings(draw):
    """Captures one after the other in the file, with losses between, at one of two centres."""
    captures, index, place = [], 0, draw(st.integers(0, 9))
    for _ in range(draw(st.integers(1, 5))):
        index += draw(st.integers(0, 40))
        samples = draw(st.integers(1, 60))
        center_hz = draw(st.sampled_from([83.6e6, 27.9e6]))
        captures.append(Capture(center_hz=center_hz, index=index, samples=samples, place=place))
        index += samples
        place += 3 * samples
    return tuple(captures)


def index_and_value(captures, center_hz):
    """Every stored sample at a centre: its index and its place, one by one."""
    return {
        capture.index + at: capture.place + 3 * at
        for capture in captures
        if capture.center_hz == center_hz
        for at in range(capture.samples)
    }


@given(recordings(), st.integers(1, 70), st.integers(0, 120), st.none() | st.integers(1, 200))
def test_blocks_joined_are_the_stretch_whatever_their_size_start_and_length(
    captures, block_samples, first, count
):
    source = source_of(captures, block_samples)
    for center_hz in source.info.centers_hz:
        source.tune(center_hz)
        inside = {
            index: value
            for index, value in index_and_value(captures, center_hz).items()
            if index >= first and (count is None or index < first + count)
        }
        asked = {"start_s": first / RATE_HZ, "seconds": None if count is None else count / RATE_HZ}
        if not inside:
            with pytest.raises(SourceError, match=r"past the end|nothing was recorded"):
                source.take(**asked)
            continue
        take = source.take(**asked)
        blocks = list(take.blocks())
        indices = [index for block in blocks for index in range(block.index, block.end_index)]
        assert dict(zip(indices, joined(blocks).real, strict=True)) == inside
        assert take.seconds == pytest.approx(len(inside) / RATE_HZ)
        assert all(block.samples.size <= block_samples for block in blocks)
        assert {block.center_hz for block in blocks} == {take.center_hz} == {center_hz}
        for block in blocks:  # none reaches over the end of a capture
            assert any(
                capture.index <= block.index and block.end_index <= capture.end_index
                for capture in captures
            )


def two_captures():
    return (
        Capture(center_hz=83.6e6, index=0, samples=100, place=0),
        Capture(center_hz=27.9e6, index=150, samples=100, place=300),
    )


def test_a_recording_is_a_source_and_its_stretch_a_take():
    source: Source = source_of(two_captures())
    take: Take = source.take(seconds=None)
    assert (take.center_hz, take.rate_hz, take.seconds) == (83.6e6, RATE_HZ, 0.1)
    assert source.info.duration_s == 0.25


def test_a_take_reads_the_same_twice_and_side_by_side():
    take = source_of(two_captures(), block_samples=7).take(seconds=None)
    first, second = zip(*zip(take.blocks(), take.blocks(), strict=True), strict=True)
    np.testing.assert_array_equal(joined(first), joined(second))
    assert spans(first) == spans(second) == spans(list(take.blocks()))


def test_a_take_stays_at_its_centre_when_the_source_goes_elsewhere():
    source = source_of(two_captures())
    take = source.take(seconds=None)
    assert source.tune(27.9e6 - 0.5) == 27.9e6
    assert [block.index for block in take.blocks()] == [0]
    assert [block.index for block in source.stream(seconds=None)] == [150]


def test_no_more_is_read_at_once_than_a_block_holds():
    source = source_of((Capture(center_hz=1e8, index=0, samples=600_000, place=0),))
    sizes = [block.samples.size for block in source.stream(seconds=None)]
    assert sizes == [2**18, 2**18, 600_000 - 2**19]


@pytest.mark.parametrize("center_hz", [85.6e6, 1e9, float("nan")])
def test_a_centre_that_was_not_recorded_is_refused_with_those_that_were(center_hz):
    with pytest.raises(SourceError, match=r"it was tuned to 83\.6 MHz, 27\.9 MHz"):
        source_of(two_captures()).tune(center_hz)


def test_the_gain_of_a_recording_stays_what_it_was():
    with pytest.raises(SourceError, match="gain of a recording cannot be changed"):
        source_of(two_captures()).set_gain(None)


def test_a_start_past_the_end_is_refused_at_once():
    with pytest.raises(SourceError, match=r"start at 250 ms lies past the end; .* 250 ms long"):
        source_of(two_captures()).stream(seconds=1.0, start_s=0.25)


def test_a_stretch_without_samples_at_the_centre_says_where_they_are():
    with pytest.raises(SourceError, match=r"83\.6 MHz in that time; .* between 0 ms and 100 ms"):
        source_of(two_captures()).take(seconds=0.05, start_s=0.12)


@pytest.mark.parametrize("seconds", [0.0, -1.0, float("nan"), float("inf"), 1e-9])
def test_a_length_that_cannot_be_is_refused(seconds):
    with pytest.raises(UsageError, match=r"a length of .* makes no sense"):
        source_of(two_captures()).take(seconds=seconds)


@pytest.mark.parametrize("start_s", [-1e-3, float("nan"), float("inf")])
def test_a_start_that_cannot_be_is_refused(start_s):
    with pytest.raises(UsageError, match=r"a start of .* makes no sense"):
        source_of(two_captures()).take(seconds=None, start_s=start_s)
