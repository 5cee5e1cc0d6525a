"""From goings and comings to drop-outs, each with what was before, how it went, and after."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from math import isfinite

import numpy as np

from sniff.units import to_db
from sniff.watch.kind import SETTLING_S, Going, judge
from sniff.watch.nouns import Dropout, Kind, Passage, WatchSettings
from sniff.watch.past import NearPast, SlowPast
from sniff.watch.states import Crossing

LOOKED_BACK_S = 3.0
"""How far back a fall is followed to where it began."""

_SHORTEST = 1.0  # resolutions: what is shorter is noise's or a click's
_BACK_FOR_GOOD = 2.0  # resolutions: what comes back for less has not come back
_CHATTER = 5.0  # resolutions: a blink longer ago than this is no part of what follows it
_BACK_IN_FULL = 0.6  # of its own power, about which there is no doubt
_DEPTH_STEPS = 8
_HOVERS_S = 0.5  # what does not come back in full must stay so long, or it only hovers


@dataclass(slots=True, kw_only=True)
class _Open:
    """A drop-out that is not complete yet."""

    start_s: float
    own: float
    before_hz: float
    kind: Kind | None
    pull_hz: float
    lowest: float = np.inf
    end_s: float | None = None
    end_seen: bool = True
    counted: bool = False
    fall: Passage | None = None


class Collector:
    """Collects drop-outs as they happen.

    Parameters
    ----------
    settings : WatchSettings
    step_s : float
        From one decision to the next, s.
    line_hz : float
        Indicated frequency at the band's zero, Hz.
    near, slow : NearPast, SlowPast
        Filled by the caller before each `push`.
    """

    def __init__(
        self,
        settings: WatchSettings,
        *,
        step_s: float,
        line_hz: float,
        near: NearPast,
        slow: SlowPast,
    ) -> None:
        self._settings = settings
        self._step_s = step_s
        self._line_hz = line_hz
        self._near, self._slow = near, slow
        self._open: _Open | None = None
        self._waiting: deque[_Open] = deque()
        self._last_end_s = -np.inf
        self._last_kind: Kind | None = None
        self._noise = 0.0
        self.began: list[float] = []
        """When drop-outs began that were confirmed since the caller last emptied it, s."""

    def push(
        self, crossings: Iterable[Crossing], *, end_s: float, own: float, noise: float
    ) -> tuple[Dropout, ...]:
        """Take in what happened up to a moment; gives what is complete with it.

        Parameters
        ----------
        crossings : iterable of Crossing
        end_s : float
            That moment, s.
        own, noise : float
            The line's own power, and that of the noise in a frame, FS².
        """
        self._noise = noise
        for crossing in crossings:
            if crossing.there:
                self._returns(crossing)
            else:
                self._goes(crossing, own)
        self._settle(end_s)
        ready = []
        while self._waiting and self._aftermath_end_s(self._waiting[0]) <= end_s:
            ready.append(self._complete(self._waiting.popleft()))
        return tuple(ready)

    def finish(self, end_s: float) -> tuple[Dropout, ...]:
        """End the observation; gives what was not complete."""
        last = self._open
        if last is not None and (last.end_s or end_s) - last.start_s >= self._shortest_s:
            self._confirm(last)
            self._waiting.append(last)
        self._open = None
        rest = tuple(self._complete(dropout, end_s) for dropout in self._waiting)
        self._waiting.clear()
        return rest

    @property
    def _shortest_s(self) -> float:
        # A gap of exactly this, its edges known to a step, must not fall to rounding.
        return _SHORTEST * self._settings.resolution_s - 0.5 * self._step_s

    def _aftermath_end_s(self, dropout: _Open) -> float:
        return (dropout.end_s or 0.0) + self._settings.around_s

    def _goes(self, crossing: Crossing, own: float) -> None:
        last = self._open
        if last is not None:
            chatter_s = _CHATTER * self._settings.resolution_s
            blink = not last.counted and crossing.at_s - last.start_s > chatter_s
            if not blink and not self._is_back(last, crossing.at_s):
                last.end_s = None
                return
            self._close(last)
        kind, pull_hz, before_hz = None, 0.0, np.nan
        if crossing.seen:
            kind, pull_hz, before_hz = self._judge(crossing.at_s, own)
        self._open = _Open(
            start_s=crossing.at_s, own=own, before_hz=before_hz, kind=kind, pull_hz=pull_hz
        )

    def _returns(self, crossing: Crossing) -> None:
        if self._open is not None and self._open.end_s is None:
            self._open.end_s = crossing.at_s
            self._open.end_seen = crossing.seen
            # Now, and not when all crossings are through: the next may come in the same call.
            self._measure(self._open, crossing.at_s)

    def _judge(self, start_s: float, own: float) -> tuple[Kind | None, float, float]:
        first_s, level, hz = self._near.between(start_s - LOOKED_BACK_S, start_s)
        # The drop-out before is no part of this one's fall.
        at_s = first_s + self._step_s * np.arange(level.size)
        level[at_s < self._last_end_s] = np.nan
        known = hz[np.isfinite(hz)]
        before_hz = float(np.median(known[: max(1, known.size // 2)])) if known.size else np.nan
        if start_s - self._last_end_s < SETTLING_S and self._last_kind is not None:
            return self._last_kind, 0.0, before_hz
        slow_s, slow_hz, slow_swing_hz = self._slow.before(start_s)
        going = Going(
            relative=level / own,
            hz=hz.astype(np.float64),
            step_s=self._step_s,
            resolution_s=self._settings.resolution_s,
            slow_s=slow_s,
            slow_hz=slow_hz,
            slow_swing_hz=slow_swing_hz,
            line_hz=self._line_hz,
        )
        return (*judge(going), before_hz)

    def _settle(self, now_s: float) -> None:
        dropout = self._open
        if dropout is None:
            return
        until_s = now_s if dropout.end_s is None else dropout.end_s
        self._measure(dropout, until_s)
        if dropout.fall is None and now_s >= dropout.start_s + self._settings.around_s:
            dropout.fall = self._passage(dropout, dropout.start_s)
        if self._is_back(dropout, now_s):
            self._close(dropout)

    def _is_back(self, dropout: _Open, now_s: float) -> bool:
        """Whether the line is back for good."""
        if dropout.end_s is None:
            return False
        resolution_s, back_s = self._settings.resolution_s, now_s - dropout.end_s
        if back_s < _BACK_FOR_GOOD * resolution_s:
            return False
        _, level, _ = self._near.between(dropout.end_s + resolution_s, now_s)
        seen = level[np.isfinite(level)]
        in_full = seen.size > 0 and float(seen.mean()) >= _BACK_IN_FULL * dropout.own
        return in_full or back_s >= max(_HOVERS_S, 2.0 * _BACK_FOR_GOOD * resolution_s)

    def _measure(self, dropout: _Open, until_s: float) -> None:
        """How deep it has been, and whether it has been long enough to count."""
        _, level, _ = self._near.between(dropout.start_s, until_s)
        seen = level[np.isfinite(level)]
        whole = seen.size // _DEPTH_STEPS * _DEPTH_STEPS
        if whole:  # the lowest of many noisy single steps would be the noise's doing
            seen = seen[:whole].reshape(-1, _DEPTH_STEPS).mean(axis=1)
        if seen.size:
            dropout.lowest = min(dropout.lowest, float(seen.min()))
        if until_s - dropout.start_s >= self._shortest_s:
            self._confirm(dropout)

    def _confirm(self, dropout: _Open) -> None:
        if not dropout.counted:
            dropout.counted = True
            self.began.append(dropout.start_s)

    def _close(self, dropout: _Open) -> None:
        self._open = None
        if dropout.counted and dropout.end_s is not None:
            self._last_end_s, self._last_kind = dropout.end_s, dropout.kind
            self._waiting.append(dropout)

    def _passage(self, dropout: _Open, moment_s: float) -> Passage | None:
        around_s = self._settings.around_s
        start_s, level, hz = self._near.between(moment_s - around_s, moment_s + around_s)
        if not level.size:
            return None
        floor = np.maximum(level, self._noise)
        return Passage(
            start_s=start_s,
            step_s=self._step_s,
            level_dbfs=(10.0 * np.log10(np.maximum(floor, 1e-30))).astype(np.float32),
            offset_hz=(hz - np.float32(dropout.before_hz)).astype(np.float32),
        )

    def _complete(self, dropout: _Open, end_s: float | None = None) -> Dropout:
        until_s = dropout.end_s if dropout.end_s is not None else end_s
        assert until_s is not None
        fall = dropout.fall or self._passage(dropout, dropout.start_s)
        deepest = max(dropout.lowest, self._noise, 1e-30)
        known_hz = dropout.before_hz if isfinite(dropout.before_hz) else None
        return Dropout(
            start_s=dropout.start_s,
            duration_s=until_s - dropout.start_s,
            depth_db=max(0.0, to_db(dropout.own / deepest)),
            pull_hz=dropout.pull_hz,
            kind=dropout.kind,
            before_dbfs=to_db(dropout.own),
            before_hz=None if known_hz is None else self._line_hz + known_hz,
            ended=dropout.end_s is not None,
            fall=fall,
            rise=self._passage(dropout, until_s) if dropout.end_s and dropout.end_seen else None,
        )
