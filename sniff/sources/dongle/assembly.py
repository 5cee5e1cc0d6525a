"""From chunks as the driver hands them over to gap-free blocks at one tuning."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.model import IQBlock
from sniff.sources.dongle.reader import Chunk
from sniff.sources.dongle.settling import Settling, SettlingRule
from sniff.sources.recording.datatypes import DATATYPES

Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawBlock:
    """An `IQBlock` in the bytes of the dongle.

    Attributes
    ----------
    native : ndarray of uint8, shape (2 n,)
        I, then Q: SigMF's ``cu8``.
    rate_hz, center_hz, index
        As in `IQBlock`.
    """

    native: Bytes
    rate_hz: float
    center_hz: float
    index: int

    def to_iq(self) -> IQBlock:
        """The same as complex samples."""
        return IQBlock(
            samples=DATATYPES["cu8"].to_complex64(self.native),
            rate_hz=self.rate_hz,
            center_hz=self.center_hz,
            index=self.index,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuned:
    """How the dongle is set.

    Attributes
    ----------
    generation : int
        Counts every change of frequency and gain, and every opening.
    center_hz : float
        Indicated centre, Hz.
    valid_from : int
        Number of the first sample that was surely made after the change.
    settled : bool
        True when a stream has already waited for it to settle.
    """

    generation: int
    center_hz: float
    valid_from: int
    settled: bool


class Assembler:
    """Joins chunks, passes over what is unsettled, and ends a block at each gap and each retuning.

    Parameters
    ----------
    rate_hz : float
        Sample rate, Hz.
    block : int
        Samples of a full block.
    samples : int or None
        Length of the stream from its first settled sample on, lost ones counted; None for ever.
    rule : SettlingRule
    """

    def __init__(
        self, *, rate_hz: float, block: int, samples: int | None, rule: SettlingRule
    ) -> None:
        self._rate_hz = rate_hz
        self._block = block
        self._samples = samples
        self._rule = rule
        self._generation: int | None = None
        self._center_hz = 0.0
        self._expected: int | None = None
        self._settling: Settling | None = None
        self._unsettled: list[Bytes] = []
        self._parts: list[Bytes] = []
        self._start = 0
        self._pending = 0
        self._stop: int | None = None
        self.done = False
        self.settled_generation: int | None = None

    def push(self, chunk: Chunk, tuned: Tuned) -> list[RawBlock]:
        """Add what came, made at this tuning or before `valid_from`; returns the blocks full."""
        blocks: list[RawBlock] = []
        if tuned.generation != self._generation:
            blocks += self.flush()
            self._generation, self._center_hz = tuned.generation, tuned.center_hz
            self._settling = None if tuned.settled else Settling(self._rate_hz, self._rule)
            self._unsettled.clear()
        elif chunk.index != self._expected:
            blocks += self.flush()
            if self._settling:
                self._settling = Settling(self._rate_hz, self._rule)
                self._unsettled.clear()
        self._expected = chunk.end_index
        early = min(max(0, tuned.valid_from - chunk.index), chunk.native.size // 2)
        settled = self._settle(chunk.native[2 * early :])
        return blocks + self._append(settled, chunk.end_index - settled.size // 2)

    def flush(self) -> list[RawBlock]:
        """What waits, as a block that is not full."""
        return self._cut(self._pending) if self._pending else []

    def is_past(self, index: int) -> bool:
        """True when the stream's length is over at this sample."""
        return self._stop is not None and index >= self._stop

    def _settle(self, native: Bytes) -> Bytes:
        if self._settling is None:
            return native
        self._unsettled.append(native)
        settled = self._settling.push(native)
        if settled is None:
            return native[:0]
        everything = np.concatenate(self._unsettled)
        self._unsettled.clear()
        self._settling = None
        self.settled_generation = self._generation
        return everything[everything.size - 2 * settled :]

    def _append(self, native: Bytes, index: int) -> list[RawBlock]:
        if not native.size:
            return []
        if self._stop is None and self._samples is not None:
            self._stop = index + self._samples
        if not self._pending:
            self._start = index
        if self._stop is not None and index + native.size // 2 >= self._stop:
            native = native[: 2 * max(0, self._stop - index)]
            self.done = True
        self._parts.append(native)
        self._pending += native.size // 2
        blocks: list[RawBlock] = []
        while self._pending >= self._block:
            blocks += self._cut(self._block)
        return blocks + (self.flush() if self.done else [])

    def _cut(self, samples: int) -> list[RawBlock]:
        everything = self._parts[0] if len(self._parts) == 1 else np.concatenate(self._parts)
        block = RawBlock(
            native=everything[: 2 * samples],
            rate_hz=self._rate_hz,
            center_hz=self._center_hz,
            index=self._start,
        )
        rest = everything[2 * samples :]
        self._parts = [rest] if rest.size else []
        self._pending -= samples
        self._start += samples
        return [block]
