"""Real time for a bench that could run faster."""

import time
from collections.abc import Callable


class Pacer:
    """Lets a stream run no faster than a clock.

    Parameters
    ----------
    now : callable
        Seconds of a clock that never steps back.
    sleep : callable
        Waits so many seconds.
    """

    def __init__(
        self,
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._now = now
        self._sleep = sleep
        self._zero_s: float | None = None

    def wait(self, until_s: float) -> None:
        """Wait until the bench's clock shows this; a bench that is late does not hurry."""
        now_s = self._now()
        if self._zero_s is None or now_s - self._zero_s > until_s:
            self._zero_s = now_s - until_s
        # After a fresh zero the difference is nothing, or less than that by rounding.
        self._sleep(max(0.0, until_s - (now_s - self._zero_s)))
