"""What the measuring thread tells: over to the server's loop, to every page, into the diary."""

import asyncio
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timezone

from sniff.live.diary import Diary, Entry
from sniff.live.engine import LineEvent
from sniff.live.hub import Hub
from sniff.live.nouns import Frame
from sniff.live.packing import pack_frame, pack_rows, text
from sniff.live.runner import SourceState
from sniff.taps.nouns import TapResult
from sniff.units import format_seconds


class Teller:
    """Tells the pages; obeys `sniff.live.runner.Listener`.

    Parameters
    ----------
    names : sequence of str
        Of the board's lines.
    diary : Diary
        Where marks, notes, drop-outs and what was kept are written down.

    Attributes
    ----------
    hub : Hub
    names : tuple of str
    """

    def __init__(self, names: Sequence[str], diary: Diary) -> None:
        self.hub = Hub()
        self.names = tuple(names)
        self._diary = diary
        self._loop: asyncio.AbstractEventLoop | None = None
        self._slow = ThreadPoolExecutor(1, thread_name_prefix="filing")

    def begin(self, loop: asyncio.AbstractEventLoop) -> None:
        """From now on there is a loop to tell it to."""
        self._loop = loop

    def end(self) -> None:
        """Wait for what is still being written."""
        self._slow.shutdown()

    def in_background(self, what: Callable[[], None]) -> None:
        """Do what may take its time, such as writing to a disk, one after the other."""
        self._slow.submit(what)

    def frame(self, frame: Frame, *, board: bool) -> None:
        """As in `Listener`."""
        if self.hub.viewers:
            spectrum = pack_frame(frame)
            rows = pack_rows(frame.rows, time_s=frame.time_s) if board else None
            self._later(lambda: self.hub.frame(spectrum=spectrum, board=rows))

    def event(self, event: LineEvent) -> None:
        """As in `Listener`."""
        message: dict[str, object] = {
            "row": event.row,
            "time_s": event.time_s,
            "there": event.there,
            "dropout": None,
        }
        if (dropout := event.dropout) is not None:
            message["dropout"] = {
                "start_s": dropout.start_s,
                "duration_s": dropout.duration_s,
                "depth_db": dropout.depth_db,
                "pull_hz": dropout.pull_hz,
                "kind": None if dropout.kind is None else dropout.kind.value,
            }
            kind = "not seen to begin" if dropout.kind is None else dropout.kind.value
            words = f"{self.names[event.row]}, {kind}, {format_seconds(dropout.duration_s)}"
            self.write("drop-out", words, dropout.start_s)
        self._tell(text("event", message))

    def taps(self, row: int, result: TapResult) -> None:
        """As in `Listener`."""
        self._tell(
            text(
                "taps",
                {"row": row, "says": result.says, "spots": result.spots},
            ),
            lasting=f"taps {row}",
        )

    def state(self, state: SourceState) -> None:
        """As in `Listener`."""
        self._tell(text("state", state), lasting="state")

    def said(self, words: str) -> None:
        """As in `Listener`."""
        self._tell(text("said", {"words": words}))

    def _later(self, what: Callable[[], None]) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(what)

    def _tell(self, message: str, *, lasting: str | None = None) -> None:
        self._later(lambda: self.hub.tell(message, lasting=lasting))

    def write(self, kind: str, words: str, time_s: float) -> None:
        """Write into the diary, and show it; from any thread."""
        entry = Entry(kind=kind, words=words, time_s=time_s, utc=datetime.now(timezone.utc))
        self._diary.write(entry)
        recent = text("diary", {"entries": self._diary.recent()})
        self._tell(recent, lasting="diary")
        # Not in the measuring thread: a slow disk must not lose samples.
        self.in_background(lambda: self._file(entry))

    def _file(self, entry: Entry) -> None:
        trouble = self._diary.file(entry)
        if trouble is not None:
            self.said(trouble)
