"""Samples against the host's clock: what was made by now, and what got lost on the way."""

WINDOW_S = 1.0
SLACK_S = 5e-3
"""Losses of less than this much time at once cannot be told from the host's own delays."""

_TOLERANCE = 300e-6
"""Dongle's and host's clock may differ by so much (100 ppm each, and room)."""
_SLOW_WINDOWS = 30


class HostClock:
    """Follows how far the count of samples leads the host's clock.

    A buffer arrives late, never early, so the largest lead of a second is that of a buffer that
    came at once. It stays where it is, within the clocks' tolerance, as long as nothing is lost; a
    loss lowers it for good. It is believed when two seconds in a row agree, so that a busy host
    is no loss. A slow trickle shows against the lead of half a minute ago.

    Parameters
    ----------
    rate_hz : float
        Nominal sample rate, Hz.
    """

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._zero_s: float | None = None
        self._window = 0
        self._best: float | None = None
        self._before: float | None = None
        self._doubt: float | None = None
        self._slow: tuple[int, float] | None = None

    def arrived(self, at_s: float, end: int) -> int:
        """Note the arrival of samples.

        Parameters
        ----------
        at_s : float
            Time on a clock that never steps back, s.
        end : int
            Number of the sample after the last, losses known so far counted in.

        Returns
        -------
        int
            Samples that are newly known to be lost; the caller counts them into the next `end`.
        """
        if self._zero_s is None:
            self._zero_s = at_s
        window = int((at_s - self._zero_s) / WINDOW_S)
        lost = 0
        if window > self._window:
            lost = self._close_window(self._window)
            self._window = window
        lead = end + lost - self._rate_hz * (at_s - self._zero_s)
        self._best = lead if self._best is None else max(self._best, lead)
        return lost

    def made_by(self, at_s: float) -> int:
        """Number of the sample that the dongle makes at a moment, as well as one can know."""
        leads = [lead for lead in (self._best, self._before) if lead is not None]
        if self._zero_s is None or not leads:
            return 0
        return max(0, round(self._rate_hz * (at_s - self._zero_s) + max(leads)))

    def _close_window(self, window: int) -> int:
        best, self._best = self._best, None
        if best is None:
            return 0
        lost = self._sudden(best) or self._trickle(window, best)
        self._before = best + lost
        if lost or self._slow is None or window - self._slow[0] >= _SLOW_WINDOWS:
            self._slow = (window, self._before)
        return lost

    def _sudden(self, best: float) -> int:
        """Lost against the second before the first low one, once a second low one agrees."""
        if self._before is None:
            return 0
        reference = self._before if self._doubt is None else self._doubt
        missing = reference - best
        if missing <= self._rate_hz * (SLACK_S + 2 * WINDOW_S * _TOLERANCE):
            self._doubt = None
            return 0
        if self._doubt is None:
            self._doubt = reference
            return 0
        self._doubt = None
        return round(missing)

    def _trickle(self, window: int, best: float) -> int:
        if self._slow is None or self._doubt is not None:
            return 0
        since, reference = self._slow
        missing = reference - best
        passed_s = (window - since) * WINDOW_S
        if passed_s < _SLOW_WINDOWS * WINDOW_S:
            return 0
        return round(missing) if missing > self._rate_hz * (SLACK_S + passed_s * _TOLERANCE) else 0
