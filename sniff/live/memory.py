"""The last seconds of IQ, as the receiver's own samples, to be kept when something happened."""

from collections import deque
from dataclasses import dataclass

import numpy as np

from sniff.model import IQBlock
from sniff.sources.ahead import NOTHING_AHEAD, Ahead, as_heard
from sniff.sources.recording.datatypes import Bytes, Datatype

MOST_BYTES = 300_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Stored:
    native: Bytes
    rate_hz: float
    center_hz: float
    index: int
    samples: int

    @property
    def end_index(self) -> int:
        return self.index + self.samples


class Memory:
    """A ring of blocks, as small as they came from the receiver.

    Parameters
    ----------
    datatype : Datatype
        Of the receiver.
    ahead : Ahead
        What the blocks to come were taken back through: they are kept as the receiver sent them.
    seconds : float
        How much is wanted at the most; less when that would take more than 300 MB.
    """

    def __init__(self, datatype: Datatype, *, seconds: float, ahead: Ahead = NOTHING_AHEAD) -> None:
        self._datatype = datatype
        self._ahead = ahead
        self._seconds = seconds
        self._ring: deque[_Stored] = deque()
        self._bytes = 0

    @property
    def seconds(self) -> float:
        """How much is in it, s; gaps counted."""
        if not self._ring:
            return 0.0
        return (self._ring[-1].end_index - self._ring[0].index) / self._ring[-1].rate_hz

    def push(self, block: IQBlock) -> None:
        """Take in a block, and let go of what is too old."""
        block = as_heard(block, self._ahead)
        native = self._datatype.from_complex64(block.samples)
        self._ring.append(
            _Stored(
                native=native,
                rate_hz=block.rate_hz,
                center_hz=block.center_hz,
                index=block.index,
                samples=block.samples.size,
            )
        )
        self._bytes += native.size
        oldest = block.end_index - self._seconds * block.rate_hz
        while self._ring and (self._ring[0].end_index < oldest or self._bytes > MOST_BYTES):
            self._bytes -= self._ring.popleft().native.size

    def last(self, seconds: float) -> list[IQBlock]:
        """The blocks of the last seconds as the receiver sent them, the oldest first."""
        if not self._ring:
            return []
        newest = self._ring[-1]
        from_index = newest.end_index - round(seconds * newest.rate_hz)
        return [
            IQBlock(
                samples=np.ascontiguousarray(self._datatype.to_complex64(stored.native)),
                rate_hz=stored.rate_hz,
                center_hz=stored.center_hz,
                index=stored.index,
            )
            for stored in self._ring
            if stored.end_index > from_index
        ]
