"""The loop of a soak: blocks in, a notebook that is never more than a second behind out."""

import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timezone
from types import FrameType

from sniff.errors import SourceError
from sniff.model import IQBlock
from sniff.soak.keeping import Keeper
from sniff.soak.writing import RunWriter
from sniff.watch.nouns import Dropout, Instant, Row
from sniff.watch.watcher import Watcher

ROW_S = 0.2
"""Rows of the watch that feeds a soak: what a kill takes of the minutes."""

COMMIT_S = 0.4
"""With a row, a block and the watch's own delay this stays below the second that may be lost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a run of a soak ended.

    Attributes
    ----------
    how : str
        ``done``, ``interrupted``, or ``trouble``.
    trouble : str or None
        What the source or the disk said.
    """

    how: str
    trouble: str | None = None


def soak(
    blocks: Iterable[IQBlock],
    watcher: Watcher,
    writer: RunWriter,
    keeper: Keeper | None,
    *,
    show: Callable[[Instant, tuple[Row, ...], tuple[Dropout, ...]], None] | None = None,
    enough: Callable[[Instant], bool] | None = None,
    clock_s: Callable[[], float] = time.monotonic,
) -> Ended:
    """Watch, and write down, till the source ends, fails, or the user has enough.

    Parameters
    ----------
    blocks : iterable of IQBlock
    watcher : Watcher
        With rows of `ROW_S`.
    writer : RunWriter
    keeper : Keeper or None
        For IQ of the drop-outs.
    show : callable, optional
        Called after each block.
    enough : callable, optional
        Whether to stop here.
    clock_s : callable
        Of commits.
    """
    notes = _Notes(watcher, writer, keeper)
    ended = Ended(how="done")
    committed_s = clock_s()
    try:
        for block in blocks:
            rows, complete = notes.take_in(block)
            # A block of its length may pass before this is asked again.
            if clock_s() - committed_s >= COMMIT_S - block.samples.size / block.rate_hz:
                with _holding_interrupts():
                    writer.commit()
                committed_s = clock_s()
            if show is not None:
                show(watcher.now, rows, complete)
            if enough is not None and enough(watcher.now):
                break
    except KeyboardInterrupt:
        ended = Ended(how="interrupted")
    except SourceError as error:
        ended = Ended(how="trouble", trouble=str(error))
    with suppress(KeyboardInterrupt), _holding_interrupts():  # it is ending anyway
        try:
            notes.end()
            writer.finish(ended.how)
        except SourceError as error:
            ended = Ended(how="trouble", trouble=ended.trouble or str(error))
    return ended


class _Notes:
    """Passes on to the notebook what a watch says of each block."""

    def __init__(self, watcher: Watcher, writer: RunWriter, keeper: Keeper | None) -> None:
        self._watcher, self._writer, self._keeper = watcher, writer, keeper
        self._begun: deque[tuple[float, str | None]] = deque()
        self._seen = self._counted = 0

    def take_in(self, block: IQBlock) -> tuple[tuple[Row, ...], tuple[Dropout, ...]]:
        complete = self._watcher.push(block)
        self._writer.observe(block.start_s, block.end_index / block.rate_hz)
        now = self._watcher.now
        self._keep(block, begun=now.dropouts - self._seen, there=now.there is not False)
        self._note_begun(now)
        return self._note(complete), complete

    def end(self) -> None:
        complete = self._watcher.finish()
        self._note_begun(self._watcher.now)
        if self._keeper is not None:
            self._note_recording(self._keeper)
            self._keeper.finish()
        self._note(complete)

    def _keep(self, block: IQBlock, *, begun: int, there: bool) -> None:
        keeper = self._keeper
        if keeper is None:
            return
        utc = datetime.fromtimestamp(self._writer.run.zero_utc_s + block.start_s, timezone.utc)
        stem = f"dropout-{utc:%Y%m%dT%H%M%S}-{utc.microsecond // 1000:03d}Z"
        keeper.push(block, begun=begun, there=there, name=stem)
        self._note_recording(keeper)

    def _note_recording(self, keeper: Keeper) -> None:
        if keeper.name is not None:
            self._writer.set_recording(keeper.name, keeper.start_s, keeper.bytes)

    def _note_begun(self, now: Instant) -> None:
        name = None if self._keeper is None else self._keeper.name
        self._begun.extend([(now.time_s, name)] * (now.dropouts - self._seen))
        self._seen = now.dropouts

    def _note(self, complete: tuple[Dropout, ...]) -> tuple[Row, ...]:
        rows = self._watcher.rows()
        self._writer.add_rows(rows)
        self._counted += sum(row.dropouts for row in rows)
        for dropout in complete:
            _, recording = self._begun.popleft() if self._begun else (0.0, None)
            self._writer.add_dropout(dropout, recording)
        self._writer.set_begun(
            [start_s for start_s, _ in self._begun], uncounted=self._seen - self._counted
        )
        return rows


@contextmanager
def _holding_interrupts() -> Iterator[None]:
    """Let Ctrl-C wait till a commit is over: half of one in memory would be told of twice."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    pressed = False

    def note(number: int, frame: FrameType | None) -> None:
        nonlocal pressed
        pressed = True

    before = signal.signal(signal.SIGINT, note)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if pressed:
        raise KeyboardInterrupt
