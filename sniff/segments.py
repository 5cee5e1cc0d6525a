"""Cuts a stream of IQ blocks into overlapping segments of equal length, gap by gap."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.model import ComplexSamples, IQBlock


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SegmentBatch:
    """Samples of some consecutive segments of one gap-free run.

    Attributes
    ----------
    samples : ndarray of complex64, shape ((segments - 1) * hop + segment,)
    segments : int
        How many segments lie in them.
    first_index : int
        Number of the first sample since the source was opened.
    """

    samples: ComplexSamples
    segments: int
    first_index: int

    def part(self, first: int, end: int, *, hop: int) -> "SegmentBatch":
        """Its segments from `first` to `end`, that one left out; fewer where it has no more."""
        end = min(end, self.segments)
        segment = self.samples.size - (self.segments - 1) * hop
        return SegmentBatch(
            samples=self.samples[first * hop : (end - 1) * hop + segment],
            segments=end - first,
            first_index=self.first_index + first * hop,
        )


class SegmentTrain:
    """Segments run across the borders of blocks; a gap ends the train, and a new one starts.

    Where a batch begins depends on the samples alone, not on how they were divided into blocks,
    so that sums over batches round equally.

    Parameters
    ----------
    segment, hop : int
        Samples per segment, and from the beginning of one to that of the next, <= `segment`.
    per_batch : int
        Segments per batch.
    """

    def __init__(self, *, segment: int, hop: int, per_batch: int) -> None:
        self._segment = segment
        self._hop = hop
        self._buffer = np.empty((per_batch - 1) * hop + segment, dtype=np.complex64)
        self._filled = 0
        self._first_index = 0
        self._next_index: int | None = None
        self._run_start = 0
        self._run_segments = 0
        lags = -(-segment // hop)
        self._lags = np.arange(1, lags)
        self._pairs = np.zeros(lags - 1, dtype=np.int64)
        self.segments = 0
        self.covered_samples = 0
        self.longest_run_samples = 0
        self.gaps = 0
        self.lost_samples = 0

    @property
    def pairs_at_lag(self) -> npt.NDArray[np.int64]:
        """How many pairs of segments lie 1, 2, … hops apart without a gap between them.

        Shape (ceil(segment / hop) - 1,): only segments that share samples.
        """
        return np.array(self._pairs)

    def push(self, block: IQBlock) -> Iterator[SegmentBatch]:
        """Take in a block; gives each batch that it fills, valid until the next is asked for.

        Raises
        ------
        ValueError
            When the block begins before the end of the last one.
        """
        yield from self._join(block.index)
        samples = block.samples
        taken = 0
        while taken < samples.size:
            buffer = self._buffer
            end = min(samples.size, taken + buffer.size - self._filled)
            buffer[self._filled : self._filled + end - taken] = samples[taken:end]
            self._filled += end - taken
            taken = end
            if self._filled == buffer.size:
                yield from self.flush()
        self._next_index = block.end_index
        run = block.end_index - self._run_start
        self.longest_run_samples = max(self.longest_run_samples, run)

    def flush(self) -> Iterator[SegmentBatch]:
        """Give the whole segments that wait for their batch to fill; the train goes on."""
        if self._filled < self._segment:
            return
        segments = (self._filled - self._segment) // self._hop + 1
        self._count(segments)
        yield SegmentBatch(
            samples=self._buffer[: (segments - 1) * self._hop + self._segment],
            segments=segments,
            first_index=self._first_index,
        )
        rest = self._buffer[segments * self._hop : self._filled]
        self._buffer[: rest.size] = rest
        self._filled = rest.size
        self._first_index += segments * self._hop

    def _join(self, index: int) -> Iterator[SegmentBatch]:
        if index == self._next_index:
            return
        if self._next_index is not None:
            if index < self._next_index:
                raise ValueError(f"block {index=} lies before {self._next_index}, already taken in")
            yield from self.flush()
            self.gaps += 1
            self.lost_samples += index - self._next_index
        self._filled = 0
        self._run_segments = 0
        self._run_start = self._first_index = index

    def _count(self, segments: int) -> None:
        before = self._run_segments
        after = before + segments
        self._pairs += np.maximum(after - np.maximum(before, self._lags), 0)
        self.covered_samples += segments * self._hop
        if before == 0:
            self.covered_samples += self._segment - self._hop
        self._run_segments = after
        self.segments += segments
