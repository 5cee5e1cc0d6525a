"""From one measuring thread to any number of viewers: each gets the newest, when it is ready."""

import asyncio
from collections import deque
from dataclasses import dataclass, field

MOST_WAITING = 200
"""Events that a slow viewer may fall behind; then it is told to load the page anew."""


@dataclass(slots=True, kw_only=True)
class Viewer:
    """One open page.

    Attributes
    ----------
    local : bool
        Whether it is on the computer itself.
    events : deque of str
        Messages that must not be skipped, in order.
    overrun : bool
        True once it fell too far behind.
    skipped : int
        Frames it was not ready for.
    """

    local: bool
    wake: asyncio.Event = field(default_factory=asyncio.Event)
    events: deque[str] = field(default_factory=deque)
    overrun: bool = False
    seen: int = 0
    skipped: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Newest:
    """The newest frame, packed once for all."""

    number: int
    spectrum: bytes | None
    board: str | None


class Hub:
    """Hands the newest on; lives in the server's event loop.

    What is newest replaces what was: a slow viewer skips, and nobody waits for it.
    """

    def __init__(self) -> None:
        self._viewers: list[Viewer] = []
        self._spectrum: bytes | None = None
        self._board: str | None = None
        self._number = 0
        self._lasting: dict[str, tuple[str, bool]] = {}
        self._board_number = 0

    @property
    def viewers(self) -> int:
        """How many pages are open."""
        return len(self._viewers)

    def join(self, *, local: bool) -> Viewer:
        """A page was opened; it gets what lasts at once."""
        viewer = Viewer(local=local)
        viewer.events.extend(
            message for message, local_only in self._lasting.values() if local or not local_only
        )
        viewer.wake.set()
        self._viewers.append(viewer)
        return viewer

    def leave(self, viewer: Viewer) -> None:
        """It was closed."""
        if viewer in self._viewers:
            self._viewers.remove(viewer)

    def frame(self, *, spectrum: bytes | None, board: str | None) -> None:
        """A new frame."""
        self._number += 1
        if spectrum is not None:
            self._spectrum = spectrum
        if board is not None:
            self._board = board
            self._board_number = self._number
        for viewer in self._viewers:
            viewer.wake.set()

    def tell(self, message: str, *, lasting: str | None = None, local_only: bool = False) -> None:
        """An event for every page; with `lasting` also for those that come later, the newest of
        that name only."""
        if lasting is not None:
            self._lasting[lasting] = message, local_only
        for viewer in self._viewers:
            if local_only and not viewer.local:
                continue
            if len(viewer.events) >= MOST_WAITING:
                viewer.overrun = True
            else:
                viewer.events.append(message)
            viewer.wake.set()

    async def next(self, viewer: Viewer) -> tuple[list[str], Newest | None]:
        """Wait until there is something new for this viewer."""
        await viewer.wake.wait()
        viewer.wake.clear()
        events = list(viewer.events)
        viewer.events.clear()
        newest = None
        if self._number > viewer.seen:
            viewer.skipped += self._number - viewer.seen - 1
            newest = Newest(
                number=self._number,
                spectrum=self._spectrum,
                board=self._board if self._board_number > viewer.seen else None,
            )
            viewer.seen = self._number
        return events, newest
