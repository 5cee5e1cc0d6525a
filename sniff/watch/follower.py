"""Follow a line that was found: frames to states, states to drop-outs, and a track that drifts."""

from math import exp, nan

import numpy as np
import numpy.typing as npt

from sniff.model import ComplexSamples, Doubles
from sniff.watch.band import Piece
from sniff.watch.dropouts import LOOKED_BACK_S, Collector
from sniff.watch.frames import Cutter, Frames, Grid
from sniff.watch.nouns import Dropout, WatchSettings
from sniff.watch.past import NearPast, SlowPast
from sniff.watch.states import TwoThresholds
from sniff.watch.thresholds import Thresholds
from sniff.watch.trace import Tracer
from sniff.watch.wide import WideLook

Flags = npt.NDArray[np.bool_]

_CALL_S = 64e-3
_STEP_S = 10e-3
_FEWEST_FRAMES = 32
_TRACK_SHARE = 0.5  # of its error that the track makes good in a call
_RISE_S, _SINK_S = 5.0, 60.0
"""How fast the line's own level follows: a stronger line soon, or a drop from there would be
missed; a weaker one slowly, or a fade would never count as one."""

_CLEAR = 6.0  # power over noise from which a frame's frequency is worth keeping


class Follower:
    """Follows one line.

    Parameters
    ----------
    grid : Grid
    wide : WideLook
        That has learnt what stands in the band.
    settings : WatchSettings
    thresholds : Thresholds
    line_hz : float
        Indicated frequency at the band's zero, Hz.
    track_hz : float
        Where the line is at first, from the band's zero, Hz.
    own : float
        Its power, FS².
    """

    def __init__(
        self,
        grid: Grid,
        wide: WideLook,
        settings: WatchSettings,
        *,
        thresholds: Thresholds,
        line_hz: float,
        track_hz: float,
        own: float,
    ) -> None:
        self._grid = grid
        self._wide = wide
        self._thresholds = thresholds
        self._track_hz = track_hz
        self._cutter = Cutter(grid)
        self._rows_per_call = max(_FEWEST_FRAMES, round(_CALL_S * grid.frame_hz))
        self._states = TwoThresholds(step_s=grid.step_s)
        self._near = NearPast(step_s=grid.step_s, seconds=LOOKED_BACK_S + settings.around_s)
        self._slow = SlowPast(step_s=grid.step_s)
        self._collector = Collector(
            settings, step_s=grid.step_s, line_hz=line_hz, near=self._near, slow=self._slow
        )
        self.tracer = Tracer(
            decision_s=grid.step_s,
            step_s=max(_STEP_S, 8.0 * settings.resolution_s),
            row_s=settings.row_s,
            line_hz=line_hz,
        )
        self._tail: ComplexSamples = np.empty(0, np.complex64)
        self._tail_s = 0.0
        self._end_s = 0.0
        self.own = own
        self.level: float | None = None
        self.hz: float | None = None
        self.dropouts = 0

    @property
    def there(self) -> bool | None:
        """Whether the line is there now; None before the first decision."""
        return self._states.there

    @property
    def noise(self) -> float:
        """Noise power in a frame, FS²."""
        return self._grid.noise(self._wide.density)

    def push(self, piece: Piece) -> list[Dropout]:
        """Take in the next piece of the band; gives the drop-outs that it completes."""
        ended: list[Dropout] = []
        if piece.fresh:
            self._work(self._whole_rows(), ended)
            self._tail = np.empty(0, np.complex64)
        if not self._tail.size:
            self._tail_s = piece.start_s
        self._tail = np.concatenate([self._tail, piece.values])
        while self._whole_rows() >= self._rows_per_call + self._grid.averaged:
            self._work(self._rows_per_call + self._grid.averaged, ended)
        return ended

    def finish(self) -> list[Dropout]:
        """End the observation; gives the drop-outs that were not complete."""
        ended: list[Dropout] = []
        self._work(self._whole_rows(), ended)
        ended.extend(self._collector.finish(self._end_s))
        self._count()
        self.tracer.finish()
        return ended

    def _whole_rows(self) -> int:
        return self._tail.size // self._grid.hop

    def _work(self, rows: int, ended: list[Dropout]) -> None:
        """Decide on the first rows that wait; the last of them wait on for the next call."""
        grid = self._grid
        if rows <= grid.averaged:
            return
        cut = self._tail[: rows * grid.hop].reshape(rows, grid.hop)
        frames = self._cutter.cut(cut, track_hz=self._track_hz, start_s=self._tail_s)
        spans = np.lib.stride_tricks.sliding_window_view(
            self._tail[: rows * grid.hop], (grid.averaged + 1) * grid.hop
        )[:: grid.hop]
        self._decide(frames, spans, ended)
        done = (rows - grid.averaged) * grid.hop
        self._tail = self._tail[done:]
        self._tail_s += done / grid.rate_hz

    def _decide(self, frames: Frames, spans: ComplexSamples, ended: list[Dropout]) -> None:
        noise = self.noise
        level = frames.power - noise
        hz, turned_hz = frames.hz, frames.turned_hz
        weak = level < self._thresholds.there_above * self.own
        moved = np.zeros(level.size, np.bool_)
        if weak.any():
            found = self._wide.find(
                spans[weak],
                track_hz=self._track_hz,
                least=self._thresholds.gone_below * self.own,
            )
            moved[weak] = found.power > level[weak]
            taken = found.power > level[weak]
            level[moved] = found.power[taken]
            hz[moved] = turned_hz[moved] = found.hz[taken]
        states, crossings = self._states.push(
            frames.start_s,
            level / self.own,
            gone_below=self._thresholds.gone_below,
            there_above=self._thresholds.there_above,
        )
        known = level > max(_CLEAR * noise, 0.5 * self._thresholds.gone_below * self.own)
        self._end_s = frames.start_s + level.size * self._grid.step_s
        self._near.add(frames.start_s, level, np.where(known, hz, nan))
        self._slow.add(self._end_s, turned_hz[states & known])
        ended.extend(self._collector.push(crossings, end_s=self._end_s, own=self.own, noise=noise))
        self.tracer.add(frames.start_s, np.maximum(level, noise), turned_hz, states)
        self._count()
        self.level = float(max(level[-1], noise))
        self.hz = float(hz[-1]) if states[-1] else None
        if states.all() and not moved.any():
            self._wide.learn(spans, track_hz=self._track_hz)
            self._own_level(level)
        self._keep_track(hz, turned_hz, states, moved)

    def _count(self) -> None:
        for _ in self._collector.began:
            self.dropouts += 1
            self.tracer.count_dropout()
        self._collector.began.clear()

    def _own_level(self, level: Doubles) -> None:
        middle = float(np.median(level))  # not the mean: a click of static is no level
        constant_s = _RISE_S if middle > self.own else _SINK_S
        share = 1.0 - exp(-level.size * self._grid.step_s / constant_s)
        self.own += share * (middle - self.own)

    def _keep_track(self, hz: Doubles, turned_hz: Doubles, states: Flags, moved: Flags) -> None:
        last = slice(-max(1, hz.size // 4), None)
        if (states[last] & moved[last]).all():
            self._track_hz = float(np.median(hz[last]))
            return
        in_place = states & ~moved
        if in_place.sum() >= hz.size / 4:
            mean_hz = float(turned_hz[in_place].mean())
            self._track_hz += _TRACK_SHARE * (mean_hz - self._track_hz)
