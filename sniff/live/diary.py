"""The page's diary: marks, notes, taps, drop-outs and what was kept, newest first."""

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from sniff.errors import BenchError

SHOWN = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Something that happened.

    Attributes
    ----------
    kind : str
        ``mark``, ``note``, ``tap``, ``drop-out``, ``recording`` or ``photo``.
    words : str
    time_s : float
        Since the source was opened, s.
    utc : datetime
    """

    kind: str
    words: str
    time_s: float
    utc: datetime


class Diary:
    """Keeps the newest entries, and files each in the job where there is one.

    Parameters
    ----------
    file : callable or None
        Files one entry; raises BenchError when it cannot.
    """

    def __init__(self, file: Callable[[Entry], None] | None = None) -> None:
        self._file = file
        self._entries: deque[Entry] = deque(maxlen=SHOWN)
        self._lock = threading.Lock()

    def write(self, entry: Entry) -> None:
        """Write one down, to be shown. From any thread."""
        with self._lock:
            self._entries.appendleft(entry)

    def file(self, entry: Entry) -> str | None:
        """File one; gives what went wrong, None when all is well. It may take its time."""
        if self._file is None:
            return None
        try:
            self._file(entry)
        except BenchError as error:
            return f"not filed in the job: {error}"
        return None

    def recent(self) -> tuple[Entry, ...]:
        """The newest first."""
        with self._lock:
            return tuple(self._entries)
