"""The thread that takes samples from the driver as they come, and loses none in silence."""

import ctypes
import threading
import time
from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from sniff.sources.dongle.handle import Handle
from sniff.sources.dongle.hostclock import HostClock

BUFFER_BYTES = 16_384
"""One request to the USB stack: in one piece there, so that a cancelled one comes back whole
before the driver frees it (a longer one may not, and the memory is written to after that)."""

BUFFERS = 128
"""Requests in flight, 2 MiB: 0.4 s at 2.4 MS/s in which this process may be busy elsewhere."""

QUEUE_BYTES = 32 * 2**20
"""Waiting to be read, at most: 7 s at 2.4 MS/s. What comes on top is lost, and counted."""

_SLOW_RATE_HZ = 600e3
_SLOW_BUFFER_BYTES = 4_096
_CANCEL_PATIENCE_S = 3.0
_CANCEL_AGAIN_S = 0.01

Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chunk:
    """Bytes as the dongle sent them, I then Q; `index` numbers the first sample."""

    index: int
    native: Bytes

    @property
    def end_index(self) -> int:
        """Number of the sample after the last."""
        return self.index + self.native.size // 2


class Reader:
    """Reads from `start` to `stop`; keeps samples only while a stream listens.

    Parameters
    ----------
    handle : Handle
        Must outlive the reader.
    callback_type : type
        See `Driver`.
    rate_hz : float
        Sample rate, Hz.
    queue_bytes : int
        As `QUEUE_BYTES`.
    """

    def __init__(
        self,
        handle: Handle,
        callback_type: Any,
        *,
        rate_hz: float,
        queue_bytes: int = QUEUE_BYTES,
    ) -> None:
        self._handle = handle
        self._callback_type = callback_type
        self._buffer_bytes = BUFFER_BYTES if rate_hz >= _SLOW_RATE_HZ else _SLOW_BUFFER_BYTES
        self._queue_bytes = queue_bytes
        self._news = threading.Condition()
        self._chunks: deque[Chunk] = deque()
        self._queued = 0
        self._clock = HostClock(rate_hz)
        self._first_index = 0
        self._end = 0  # counted from `first_index`, as the clock sees it
        self._lost = 0
        self._listener: int | None = None
        self._asked_to_stop = False
        self._reading = False
        self._ended = False
        self._arrived_s = time.monotonic()
        # A daemon, so that an interpreter which ends in disorder is not held up by it; `stop`
        # waits for it in every other case.
        self._thread = threading.Thread(target=self._run, name="dongle", daemon=True)

    @property
    def lost(self) -> int:
        """Samples known to be lost while listening: queue full, buffers not full, or missing by
        the clock."""
        return self._lost

    @property
    def ended(self) -> bool:
        """True when the driver stopped without being asked: the dongle is gone."""
        return self._ended and not self._asked_to_stop

    @property
    def end_index(self) -> int:
        """Number of the sample after the last that came."""
        return self._first_index + self._end

    @property
    def silent_s(self) -> float:
        """Time since anything came, s."""
        return time.monotonic() - self._arrived_s

    def made_by_now(self) -> int:
        """Number of the sample that the dongle makes just now."""
        with self._news:
            made = self._clock.made_by(time.monotonic())
            return self._first_index + max(made, self._end)

    def start(self, first_index: int) -> None:
        """Begin; the first sample has this number."""
        self._first_index = first_index
        self._arrived_s = time.monotonic()
        self._thread.start()

    def listen(self, stream: int | None) -> None:
        """Keep what comes from now on, for this stream alone; or keep nothing."""
        with self._news:
            self._listener = stream
            self._chunks.clear()
            self._queued = 0
            self._news.notify_all()

    def get(self, stream: int, timeout_s: float) -> Chunk | None:
        """The oldest chunk; None when nothing came in that time, the dongle is gone, or it is
        another stream's."""

        def is_over() -> bool:
            return bool(self._chunks) or self._ended or self._listener != stream

        with self._news:
            self._news.wait_for(is_over, timeout_s)
            if not self._chunks or self._listener != stream:
                return None
            chunk = self._chunks.popleft()
            self._queued -= chunk.native.size
            return chunk

    def wait_first(self, timeout_s: float) -> bool:
        """Wait till anything came; False when nothing did."""
        with self._news:
            self._news.wait_for(lambda: self._end or self._ended, timeout_s)
            return self._end > 0

    def stop(self) -> bool:
        """End, and wait for it; False when the driver does not let go: then the handle must not
        be closed, as the thread is still within it."""
        with self._news:
            self._asked_to_stop = True
            if not self._reading:
                return True  # not begun, and will not; Ctrl-C may come while a thread starts
        patience_s = time.monotonic() + _CANCEL_PATIENCE_S
        # Asked again and again: before the driver has begun to read, asking has no effect.
        while not self._ended and time.monotonic() < patience_s:
            self._handle.cancel_async()
            with self._news:
                self._news.wait_for(lambda: self._ended, _CANCEL_AGAIN_S)
        if self._ended and self._thread.is_alive():
            self._thread.join()  # it has nothing left to do
        return self._ended

    def _run(self) -> None:
        with self._news:
            if self._asked_to_stop:
                return
            self._reading = True
        callback = self._callback_type(self._receive)
        try:
            self._handle.read_async(callback, buffers=BUFFERS, buffer_bytes=self._buffer_bytes)
        finally:
            with self._news:
                self._ended = True
                self._news.notify_all()

    def _receive(self, buffer: Any, length: int, _context: object) -> None:
        """Runs in the driver: no call into it, nothing that may fail or take long."""
        at_s = time.monotonic()
        samples = length // 2
        with self._news:
            self._arrived_s = at_s
            missing = self._clock.arrived(at_s, self._end + samples)
            index = self._first_index + self._end + missing
            short = (self._buffer_bytes - length) // 2  # what a short buffer leaves out
            self._end += missing + samples + short
            if self._listener is not None:
                self._lost += missing + short
                if self._queued + length > self._queue_bytes:
                    self._lost += samples
                else:
                    # The driver uses the buffer again; this is the one copy.
                    native = np.frombuffer(ctypes.string_at(buffer, 2 * samples), dtype=np.uint8)
                    self._chunks.append(Chunk(index=index, native=native))
                    self._queued += native.size
            self._news.notify_all()
