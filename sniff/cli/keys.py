"""Keys pressed on a terminal, without waiting for them; none where there is no terminal."""

import os
import select
import sys
from types import TracebackType
from typing import Any


class Keys:
    """While it is entered, keys come one by one and are not shown.

    Parameters
    ----------
    descriptor : int, optional
        Of the terminal; standard input unless said.
    """

    def __init__(self, descriptor: int | None = None) -> None:
        self._descriptor = _standard_input() if descriptor is None else descriptor
        self._before: Any = None

    @property
    def listening(self) -> bool:
        """Whether there is a terminal to listen to."""
        return self._before is not None

    def __enter__(self) -> "Keys":
        try:
            import termios
            import tty
        except ImportError:  # no POSIX terminal on this system
            return self
        if self._descriptor < 0 or not os.isatty(self._descriptor):
            return self
        self._before = termios.tcgetattr(self._descriptor)
        tty.setcbreak(self._descriptor)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._before is not None:
            import termios

            termios.tcsetattr(self._descriptor, termios.TCSADRAIN, self._before)
            self._before = None

    def pressed(self) -> str:
        """What was typed since the last call."""
        typed = b""
        while self.listening and select.select([self._descriptor], [], [], 0.0)[0]:
            part = os.read(self._descriptor, 256)
            if not part:
                break
            typed += part
        return typed.decode(errors="ignore")


def _standard_input() -> int:
    try:
        return sys.stdin.fileno()
    except (AttributeError, OSError, ValueError):  # closed, or replaced by something else
        return -1
