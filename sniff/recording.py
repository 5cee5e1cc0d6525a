"""What a recording came to, and the loop that makes it: blocks in, a recorder and a ring out."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
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
    def bytes(self) -> int:
        """What was kept so far, bytes."""
        ...

    def write(self, block: IQBlock) -> None:
        """Keep one block."""
        ...

    def annotate(self, *, index: int, label: str) -> None:
        """Mark a sample."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When to stop, and what to keep around an event.

    Attributes
    ----------
    max_bytes : int or None
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
    trouble : str or None
        What the source or the disk said, when that ended it.
    """

    stopped: Stopped
    events: tuple[Event, ...]
    gaps: int
    lost_samples: int
    heard_s: float
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
        trouble=trouble,
    )


class _Keeper:
    """The ring before an event, and what is still to be kept after it."""

    def __init__(self, recorder: Recorder, trigger: Trigger | None, limits: Limits) -> None:
        self._recorder = recorder
        self._trigger = trigger
        self._limits = limits
        self._ring: deque[IQBlock] = deque()
        self._keep_until = 0
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
            self._recorder.write(block)
        else:
            self._around_events(block, self._trigger)
        if self._limits.max_bytes is not None and self._recorder.bytes >= self._limits.max_bytes:
            return Stopped.SIZE
        if self.events and len(self.events) >= self._limits.events:
            return Stopped.EVENTS if block.index >= self._keep_until else None
        return None

    def _around_events(self, block: IQBlock, trigger: Trigger) -> None:
        fresh = list(trigger.push(block)) if len(self.events) < self._limits.events else []
        self._ring.append(block)
        for event in fresh:
            self.events.append(event)
            after = round(self._limits.post_s * block.rate_hz)
            self._keep_until = max(self._keep_until, event.index + after)
        if block.index < self._keep_until:
            while self._ring:
                self._recorder.write(self._ring.popleft())
            for event in fresh:
                self._recorder.annotate(index=event.index, label=f"{event.when.value} here")
        # Whole blocks: what is kept before an event is at least `pre_s`.
        ring = round(self._limits.pre_s * block.rate_hz)
        while self._ring and block.end_index - self._ring[0].end_index >= ring:
            self._ring.popleft()
