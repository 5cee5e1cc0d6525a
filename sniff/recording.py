"""What a recording came to, and the loop that makes it: blocks in, a recorder and a ring out."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum
from typing import Protocol

from sniff.errors import SourceError
from sniff.model import IQBlock
from sniff.trigger import Event, Trigger


class Stopped(str, Enum):
    """Why a recording ended."""

    DONE = "done"
    EVENTS = "events"
    SIZE = "max-size"
    SOURCE = "source"
    INTERRUPTED = "interrupted"


class Recorder(Protocol):
    """Something that keeps blocks."""

    @property
    def samples(self) -> int:
        """How many were kept so far."""
        ...

    @property
    def sample_bytes(self) -> int:
        """Bytes of one sample as it is kept."""
        ...

    def write(self, block: IQBlock) -> None:
        """Keep one block."""
        ...

    def annotate(self, *, index: int, label: str) -> None:
        """Mark a sample."""
        ...

    def checkpoint(self) -> None:
        """Make what was kept so far safe: more may be long in coming."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When to stop, and what to keep around an event.

    Attributes
    ----------
    max_bytes : int or None
        What the samples take at the most.
    events : int
        How many events to record; without a trigger of no meaning.
    pre_s, post_s : float
        How much to keep before and after an event, s.
    """

    max_bytes: int | None = None
    events: int = 1
    pre_s: float = 0.0
    post_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How a recording went.

    Attributes
    ----------
    stopped : Stopped
    events : tuple of Event
    gaps : int
        Breaks in what the source sent, kept or not.
    lost_samples : int
        How long they were.
    heard_s : float
        How long the source was listened to, s.
    unjudged_s : float
        How long of that the trigger could not see its line for static or noise, s.
    trouble : str or None
        What the source or the disk said, when that ended it.
    """

    stopped: Stopped
    events: tuple[Event, ...]
    gaps: int
    lost_samples: int
    heard_s: float
    unjudged_s: float = 0.0
    trouble: str | None = None


def record(
    blocks: Iterable[IQBlock], recorder: Recorder, *, trigger: Trigger | None, limits: Limits
) -> Outcome:
    """Keep what comes; with a trigger only what lies around its events.

    It returns, and does not raise, when the source fails, the disk refuses or the user interrupts:
    what was kept till then is what counts.
    """
    keeper = _Keeper(recorder, trigger, limits)
    stopped, trouble = Stopped.DONE, None
    try:
        for block in blocks:
            reason = keeper.push(block)
            if reason is not None:
                stopped = reason
                break
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPTED
    except SourceError as error:
        stopped, trouble = Stopped.SOURCE, str(error)
    return Outcome(
        stopped=stopped,
        events=tuple(keeper.events),
        gaps=keeper.gaps,
        lost_samples=keeper.lost,
        heard_s=keeper.heard_s,
        unjudged_s=0.0 if trigger is None else trigger.unjudged_s,
        trouble=trouble,
    )


class _Keeper:
    """The ring before an event, and what is still to be kept after it."""

    def __init__(self, recorder: Recorder, trigger: Trigger | None, limits: Limits) -> None:
        self._recorder = recorder
        self._trigger = trigger
        self._limits = limits
        self._ring: deque[IQBlock] = deque()
        self._windows: list[tuple[int, int]] = []
        self._kept_until = 0
        self._next_index: int | None = None
        self.events: list[Event] = []
        self.gaps = 0
        self.lost = 0
        self.heard_s = 0.0

    def push(self, block: IQBlock) -> Stopped | None:
        if self._next_index is not None and block.index != self._next_index:
            self.gaps += 1
            self.lost += block.index - self._next_index
        self._next_index = block.end_index
        self.heard_s += block.samples.size / block.rate_hz
        if self._trigger is None:
            return self._write(block)
        if (full := self._around_events(block, self._trigger)) is not None:
            return full
        enough = len(self.events) >= self._limits.events
        return Stopped.EVENTS if enough and not self._windows else None

    def _around_events(self, block: IQBlock, trigger: Trigger) -> Stopped | None:
        self._ring.append(block)
        fresh = []
        if wanted := self._limits.events - len(self.events):
            fresh = list(trigger.push(block))[:wanted]
        before, after = (
            round(seconds * block.rate_hz) for seconds in (self._limits.pre_s, self._limits.post_s)
        )
        for event in fresh:
            self.events.append(event)
            self._windows.append((event.index - before, event.index + max(after, 1)))
        full = self._keep_windows() if self._windows else None
        for event in fresh:
            self._recorder.annotate(index=event.index, label=f"{event.when.value} here")
        if self._windows and block.end_index >= max(end for _, end in self._windows):
            self._windows = []
            self._recorder.checkpoint()
        # An event is told of after it began, hence the delay.
        ring = before + round(trigger.delay_s * block.rate_hz)
        while self._ring and block.end_index - self._ring[0].end_index >= ring:
            self._ring.popleft()
        return full

    def _keep_windows(self) -> Stopped | None:
        """Keep what lies in a window and is not kept yet."""
        for block in self._ring:
            for begin, end in self._windows:
                first = max(begin, block.index, self._kept_until)
                last = min(end, block.end_index)
                if first < last:
                    self._kept_until = last
                    if (full := self._write(_part(block, first, last))) is not None:
                        return full
        return None

    def _write(self, block: IQBlock) -> Stopped | None:
        """Keep a block, or as much of it as there is room for."""
        if self._limits.max_bytes is None:
            self._recorder.write(block)
            return None
        most = self._limits.max_bytes // self._recorder.sample_bytes
        room = most - self._recorder.samples
        if room < block.samples.size:
            block = _part(block, block.index, block.index + room)
        if block.samples.size:
            self._recorder.write(block)
        return Stopped.SIZE if self._recorder.samples >= most else None


def _part(block: IQBlock, first: int, end: int) -> IQBlock:
    return replace(
        block, samples=block.samples[first - block.index : end - block.index], index=first
    )
