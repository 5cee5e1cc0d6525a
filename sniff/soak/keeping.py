"""IQ of drop-outs: a memory of what came before, and a recording of each, up to a size."""

from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Protocol

from sniff.errors import SourceError
from sniff.model import IQBlock


class Recorder(Protocol):
    """Something that keeps blocks, whole whatever ends it."""

    @property
    def bytes(self) -> int:
        """What was kept so far, bytes."""
        ...

    def write(self, block: IQBlock) -> None:
        """Keep one block."""
        ...

    def annotate(self, *, index: int, label: str) -> None:
        """Mark a sample."""
        ...

    def finish(self) -> None:
        """Put everything on disk."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """What to keep of each drop-out, and of all.

    Attributes
    ----------
    pre_s, post_s : float
        Before its beginning, and after its end, s.
    longest_s : float
        Of one recording, s: a line that stays away for an hour is not recorded for an hour.
    total_bytes : int
        Of all recordings.
    """

    pre_s: float = 1.0
    post_s: float = 0.5
    longest_s: float = 5.0
    total_bytes: int = 2_000_000_000


class Keeper:
    """Keeps the IQ about drop-outs.

    Parameters
    ----------
    make : callable
        Makes a recorder of a given name.
    room : Room
    used_bytes : int
        What earlier runs have kept.
    """

    def __init__(self, make: Callable[[str], Recorder], room: Room, *, used_bytes: int) -> None:
        self._make = make
        self._room = room
        self._used = used_bytes
        self._ring: deque[IQBlock] = deque()
        self._recorder: Recorder | None = None
        self._until = self._latest = 0
        self._was_there = True
        self.name: str | None = None
        """Of the recording that is being made."""
        self.start_s = 0.0
        """Of its first sample, s since the source was opened."""
        self.trouble: str | None = None
        """Why nothing is kept any more."""

    @property
    def bytes(self) -> int:
        """Size of the recording that is being made, or was made last."""
        return 0 if self._recorder is None else self._recorder.bytes

    def push(self, block: IQBlock, *, begun: int, there: bool, name: str) -> None:
        """Take in a block.

        Parameters
        ----------
        block : IQBlock
        begun : int
            How many drop-outs were seen to begin with it.
        there : bool
            Whether the line was there at its end.
        name : str
            For a recording that begins with it.
        """
        try:
            self._push(block, begun, there, name)
        except SourceError as error:
            # A soak goes on without its recordings.
            self.trouble = str(error)
            with suppress(SourceError):
                self._stop()

    def finish(self) -> None:
        """End the recording that is being made."""
        try:
            self._stop()
        except SourceError as error:
            self.trouble = str(error)

    def _push(self, block: IQBlock, begun: int, there: bool, name: str) -> None:
        if self._recorder is not None and block.index >= self._until:
            self._stop()
        self._ring.append(block)
        if begun and self._recorder is None and self.trouble is None:
            self._start(name)
        if self._recorder is not None:
            if begun or not (there and self._was_there):  # it may have come back in this block
                after = block.end_index + round(self._room.post_s * block.rate_hz)
                self._until = min(after, self._latest)
            self._was_there = there
            while self._ring:
                self._recorder.write(self._ring.popleft())
            if begun:
                self._recorder.annotate(index=block.index, label="drop-out here")
            if self._used + self._recorder.bytes >= self._room.total_bytes:
                self._stop()
        ring = round(self._room.pre_s * block.rate_hz)
        while self._ring and block.end_index - self._ring[0].end_index >= ring:
            self._ring.popleft()

    def _start(self, name: str) -> None:
        if self._used >= self._room.total_bytes:
            self.trouble = f"the recordings have reached {self._room.total_bytes / 1e6:.0f} MB"
            return
        self._recorder, self.name = self._make(name), name
        first = self._ring[0]
        self.start_s = first.start_s
        self._latest = first.index + round(self._room.longest_s * first.rate_hz)

    def _stop(self) -> None:
        recorder, self._recorder, self.name = self._recorder, None, None
        if recorder is not None:
            recorder.finish()
            self._used += recorder.bytes
