"""The live page's measuring: blocks in, frames and events out; no clock, no thread, no socket."""

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calib.correction import Correction
from sniff.live.nouns import Frame, LiveLine, LiveRow
from sniff.live.rows import RowKeeper
from sniff.live.scope import Scope, ScopeView, bins_for
from sniff.model import IQBlock, SourceInfo
from sniff.taps.judging import Spot, judge
from sniff.taps.nouns import Tally, Tap, TapResult, Windows
from sniff.taps.pairing import Watched, pair, untouched
from sniff.watch.nouns import Dropout

MOST_DROPOUTS = 2000
MOST_TAPS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class LineEvent:
    """A line went, or came back, or what came of it is known in full.

    Attributes
    ----------
    row : int
    time_s : float
    there : bool
    dropout : Dropout or None
        Once it is complete.
    """

    row: int
    time_s: float
    there: bool
    dropout: Dropout | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """What one block came to.

    Attributes
    ----------
    frame : Frame or None
        When one was due.
    events : tuple of LineEvent
    """

    frame: Frame | None
    events: tuple[LineEvent, ...]


class Engine:
    """Watches the lines of a board at one tuning after the other.

    Parameters
    ----------
    lines : sequence of LiveLine
    info : SourceInfo
        For its rate, and the part of the span that can be trusted.
    correction : Correction
    control : mapping of Spot to Tally
        The sibling's tap test; where it has none, time untouched stands in.
    """

    def __init__(
        self,
        lines: Sequence[LiveLine],
        *,
        info: SourceInfo,
        correction: Correction,
        control: Mapping[Spot, Tally] | None = None,
    ) -> None:
        self._info = info
        self._control = control or {}
        self._correction = correction
        self._keepers = [
            RowKeeper(number, line, correction, u_center_hz=info.u_center_hz)
            for number, line in enumerate(lines)
        ]
        self._there: list[bool | None] = [None] * len(lines)
        self._scope: Scope | None = None
        self._view = ScopeView()
        self._center_hz: float | None = None
        self._frames = 0
        self._now_s = 0.0
        self._observed: list[list[float]] = []
        self._dropouts: list[deque[Dropout]] = [deque(maxlen=MOST_DROPOUTS) for _ in lines]
        self._taps: list[deque[Tap]] = [deque(maxlen=MOST_TAPS) for _ in lines]

    @property
    def now_s(self) -> float:
        """End of what was heard so far, s since the source was opened."""
        return self._now_s

    @property
    def view(self) -> ScopeView:
        """How the spectrum is shown."""
        return self._view

    def show(self, *, span_hz: float | None, rbw_hz: float | None, hold: bool) -> None:
        """Show the spectrum so."""
        bins = self._view.bins if rbw_hz is None else bins_for(rbw_hz, self._info.rate_hz)
        self._view = ScopeView(span_hz=span_hz, bins=bins, hold=hold)
        if self._scope is not None:
            self._scope.show(self._view)

    def gained(self, step_db: float | None) -> None:
        """The gain was raised by so much, None where that is not known: a step in all levels is no
        drop-out, so the lines are sought anew, and held against levels at the new gain."""
        self._center_hz = None
        for keeper in self._keepers:
            keeper.gained(step_db)

    def push(self, block: IQBlock) -> Step:
        """Take in a block, of this tuning or a new one."""
        if self._scope is None or block.center_hz != self._center_hz:
            self._tune(block)
        assert self._scope is not None
        start_s, end_s = block.start_s, block.end_index / block.rate_hz
        self._now_s = end_s
        if self._observed and abs(self._observed[-1][1] - start_s) < 0.5 / block.rate_hz:
            self._observed[-1][1] = end_s
        else:
            self._observed.append([start_s, end_s])
            del self._observed[:-MOST_TAPS]
        events: list[LineEvent] = []
        for number, keeper in enumerate(self._keepers):
            for dropout in keeper.push(block):
                self._dropouts[number].append(dropout)
                events.append(
                    LineEvent(row=number, time_s=dropout.end_s, there=True, dropout=dropout)
                )
            there = keeper.there
            if there is not None and there is not self._there[number]:
                if self._there[number] is not None:
                    events.append(LineEvent(row=number, time_s=end_s, there=there))
                self._there[number] = there
        return Step(frame=self._frame(block, hurry=bool(events)), events=tuple(events))

    def rows(self) -> tuple[LiveRow, ...]:
        """The board as it is now."""
        return tuple(keeper.row() for keeper in self._keepers)

    def tap(self, tap: Tap, *, row: int) -> None:
        """Note a provocation of the set while a line was watched."""
        self._taps[row].append(tap)

    def verdict(self, row: int) -> TapResult | None:
        """What the taps on a line say so far."""
        taps = tuple(self._taps[row])
        if not taps:
            return None
        windows = Windows()
        watched = Watched(
            dropouts=tuple(self._dropouts[row]),
            observed=tuple((start_s, end_s) for start_s, end_s in self._observed),
        )
        quiet = {by: untouched(watched, taps, windows, by) for by in {tap.by for tap in taps}}
        return judge(pair(taps, watched, windows), sibling=self._control, untouched=quiet)

    def _tune(self, block: IQBlock) -> None:
        self._center_hz = block.center_hz
        self._scope = Scope(
            rate_hz=block.rate_hz, center_hz=block.center_hz, correction=self._correction
        )
        self._scope.show(self._view)
        self._there = [None] * len(self._keepers)
        for keeper in self._keepers:
            keeper.tune(
                rate_hz=block.rate_hz,
                center_hz=block.center_hz,
                usable_fraction=self._info.usable_fraction,
            )

    def _frame(self, block: IQBlock, *, hurry: bool) -> Frame | None:
        assert self._scope is not None
        picture = self._scope.push(block)
        if picture is None and not hurry:
            return None
        self._frames += 1
        nothing = np.empty(0, np.uint8)
        return Frame(
            number=self._frames,
            time_s=self._now_s,
            first_hz=0.0 if picture is None else picture.first_hz,
            step_hz=0.0 if picture is None else picture.step_hz,
            levels=nothing if picture is None else picture.levels,
            hold=None if picture is None else picture.hold,
            rows=self.rows(),
        )
