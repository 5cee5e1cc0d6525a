"""A dongle from opening to closing, over every handle that it takes."""

import threading
import time
import weakref
from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

from sniff.errors import SourceError
from sniff.sources.dongle.assembly import Tuned
from sniff.sources.dongle.faults import CallFailedError, DongleLostError, failed, gone, stalled
from sniff.sources.dongle.library import Driver
from sniff.sources.dongle.link import Link, Settings
from sniff.sources.dongle.reader import QUEUE_BYTES, Chunk

_POLL_S = 0.1

T = TypeVar("T")


class _Holder:
    """Keeps the link where it can still be closed at exit, when the session is gone."""

    def __init__(self) -> None:
        self.link: Link | None = None

    def close(self) -> None:
        if self.link is not None:
            self.link.close()
            self.link = None


class Session:
    """Settings, the handle they are set on, and the count of samples over all handles.

    Everything may be called from any thread.

    Parameters
    ----------
    driver : Driver
    wanted : str or None
        See `find_dongle`.
    settings : Settings
    made_hz : float
        Sample rate that the resampler makes, Hz.
    stall_s : float
        So long may nothing come, s.
    name : str
        As the user wrote it.
    queue_bytes : int
        As `reader.QUEUE_BYTES`.

    Raises
    ------
    SourceError
        When it cannot be opened and set.
    """

    def __init__(
        self,
        driver: Driver,
        wanted: str | None,
        settings: Settings,
        *,
        made_hz: float,
        stall_s: float,
        name: str,
        queue_bytes: int = QUEUE_BYTES,
    ) -> None:
        self._driver = driver
        self._wanted = wanted
        self._made_hz = made_hz
        self._stall_s = stall_s
        self._name = name
        self._queue_bytes = queue_bytes
        self._lock = threading.RLock()
        self._closed = threading.Event()
        self._holder = _Holder()
        # At exit too: Ctrl-C may come where nobody is left to close it.
        weakref.finalize(self, self._holder.close)
        self._end = (0, time.monotonic())  # number and time of the last handle's last sample
        self._lost = 0
        self._generation = 0
        self._valid_from = 0
        self._settled = False
        self.stream = 0  # number of the latest
        self._listener: int | None = None
        self.settings = settings
        self.setting_count = 0
        link = self._lasting(self._connected)  # what fails here leaves nothing open
        self.tuner, self.strings, self.gains_db = link.tuner, link.strings, link.gains_db
        self.tuning = link.tuning

    @property
    def lost(self) -> int:
        """Samples lost so far while a stream was read."""
        link = self._holder.link
        return self._lost + (link.reader.lost if link else 0)

    def index_now(self) -> int:
        """Number of the sample that is made now, or would be if the dongle were here."""
        with self._lock:
            link = self._holder.link
            return link.reader.made_by_now() if link else self._index_while_away()

    def change(self, action: Callable[[Link], T], **settings: object) -> T:
        """Set something while it runs; on a fresh handle when the old one fails at it.

        Parameters
        ----------
        action : callable
            Sets it on a link.
        **settings
            Fields of `Settings` as they will be.

        Raises
        ------
        SourceError
            When it cannot be done; the settings are as before then.
        """

        def once() -> T:
            link = self._connected()
            result = action(link)
            self._generation += 1
            self.setting_count += 1
            self._settled = False
            self._valid_from = link.reader.made_by_now()
            self.settings = replace(self.settings, **settings)  # type: ignore[arg-type]
            self.tuning = link.tuning
            return result

        return self._lasting(once)

    def begin(self) -> int:
        """Keep what comes from now on; returns the number of the stream. The stream before it, if
        it is still being read, ends with an error."""

        def once() -> int:
            link = self._connected()
            self.stream += 1
            self._listener = self.stream
            link.reader.listen(self.stream)
            return self.stream

        return self._lasting(once)

    def finish(self, stream: int) -> None:
        """Keep nothing more, unless another stream has begun."""
        with self._lock:
            if stream == self.stream:
                self._listener = None
                if self._holder.link:
                    self._holder.link.reader.listen(None)

    def hear(self, stream: int) -> tuple[Chunk, Tuned] | None:
        """The next chunk; None when there is none yet.

        Raises
        ------
        DongleLostError
            When the dongle went away or fell silent; the next call opens it again.
        SourceError
            When it cannot be opened again, the session was closed, or another stream has begun.
        """
        link = self._lasting(self._connected)
        chunk = link.reader.get(stream, _POLL_S)
        with self._lock:
            if stream != self.stream:
                raise SourceError(
                    f"{self._name}: another reading has begun, and the dongle can be read by one "
                    "at a time; read one to its end, then the next"
                )
            if self._holder.link is not link:
                return None  # dropped by another thread; what is left of it is not asked for
            if chunk is not None:
                return chunk, Tuned(
                    generation=self._generation,
                    center_hz=self.tuning.center_hz,
                    valid_from=self._valid_from,
                    settled=self._settled,
                )
            trouble = self._trouble(link)
            if trouble is not None:
                self._drop()
                raise trouble
        return None

    def has_settled(self, generation: int) -> None:
        """Later streams at this setting need not wait for it again."""
        with self._lock:
            if generation == self._generation:
                self._settled = True

    def wait_closed(self, seconds: float) -> bool:
        """Wait so long, or till it is closed; True when it is."""
        return self._closed.wait(seconds)

    def close(self) -> None:
        """Let go of the dongle; harmless when called twice."""
        self._closed.set()
        with self._lock:
            self._drop()

    def _trouble(self, link: Link) -> DongleLostError | None:
        if link.reader.ended:
            return gone(self._name)
        if link.reader.silent_s > self._stall_s:
            return stalled(self._name, self._stall_s)
        return None

    def _lasting(self, action: Callable[[], T]) -> T:
        """Do it; when the driver fails at it, once more on a fresh handle."""
        with self._lock:
            if self._closed.is_set():
                raise SourceError(f"{self._name}: it was closed; open it again")
            try:
                return action()
            except CallFailedError:
                self._drop()
            try:
                return action()
            except CallFailedError as failure:
                self._drop()
                raise failed(self._name, failure) from None

    def _connected(self) -> Link:
        if self._holder.link is not None:
            return self._holder.link
        link = Link(
            self._driver,
            self.settings,
            made_hz=self._made_hz,
            name=self._name,
            queue_bytes=self._queue_bytes,
        )
        self._holder.link = link  # before it is opened: Ctrl-C may come at any moment
        try:
            link.open(self._wanted, first_index=self._index_while_away, stall_s=self._stall_s)
        except BaseException:
            self._holder.close()
            raise
        # Another dongle may have this one's index when both are plugged in again.
        self._wanted = self._wanted or link.strings.serial or None
        self._generation += 1
        self._settled = False
        self._valid_from = 0
        link.reader.listen(self._listener)
        return link

    def _drop(self) -> None:
        link = self._holder.link
        if link is None:
            return
        self._end = (link.reader.end_index, time.monotonic() - link.reader.silent_s)
        self._lost += link.reader.lost
        self._holder.close()

    def _index_while_away(self) -> int:
        index, at_s = self._end
        return index + round((time.monotonic() - at_s) * self._made_hz) if index else 0
