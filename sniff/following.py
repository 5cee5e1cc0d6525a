"""Following: a reference from cold, point after point, while the clock under it warms up.

One stream is read once and never kept; each point is the mean frequency over its step, from tenths
of a second that are each far shorter than a drift could smear.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import ceil
from typing import Protocol, runtime_checkable

from sniff.errors import SourceError, UsageError
from sniff.model import IQBlock, Source
from sniff.partwise import mean_by_parts
from sniff.recording import Stopped
from sniff.units import format_seconds, to_db
from sniff.zoom import MIN_HOP, Zoom, Zoomed

SHORTEST_S = 60.0
_STEP_S, _LEAST_STEP_S = 5.0, 1.0
_USUAL_POINTS, _MOST_POINTS = 120, 2160
_STAY_S = 0.5
_PART_S = 0.1
_FEWEST_PARTS = 3
_WHOLE = 0.8  # of a step's parts, below which the step counts as unobserved
_REACH_PPM, _REACH_PPM_PER_S, _WIDEST_PPM = 2.0, 0.2, 40.0
_LEAST_REACH_HZ = 100.0
_GONE = 100.0  # 20 dB below what it was: another, weaker line is not taken for the reference


@runtime_checkable
class Skipping(Protocol):
    """A source that can let time go by unheard."""

    def skip(self, seconds: float) -> None:
        """Go on so much later."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How often a point is taken, and for how long.

    Attributes
    ----------
    seconds : float
        Of the whole track, s.
    step_s : float
        From point to point, s.
    mean_s : float
        Each point is a mean over this long, s; the step's whole length for one stream.
    """

    seconds: float
    step_s: float
    mean_s: float

    @property
    def steps(self) -> int:
        """Points of a whole track."""
        return max(1, int(self.seconds / self.step_s + 1e-9))


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point of a track.

    Attributes
    ----------
    time_s : float
        Its middle, since the track's beginning and by the source's own clock, s.
    indicated_hz, u_hz : float or None
        Mean frequency on the uncorrected scale, and its standard uncertainty (k = 1) by the scatter
        within the step, Hz; None where the reference was not observed.
    level_dbfs : float or None
    lost : bool
        True where the source had nothing to hear.
    """

    time_s: float
    indicated_hz: float | None
    u_hz: float | None
    level_dbfs: float | None
    lost: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """A reference as it was followed.

    Attributes
    ----------
    points : tuple of Point
        One for each step, as far as it went.
    stopped : Stopped
    trouble : str or None
        What the source said, when that ended it.
    """

    points: tuple[Point, ...]
    stopped: Stopped
    trouble: str | None


def pace_for(seconds: float, *, skipping: bool) -> Pace:
    """A pace that suits a track's length, with a bounded number of points.

    A step of five seconds, in which a cold crystal moves by 0.4 ppm at the most (10 ppm by a time
    constant of two minutes) and noise of a line that can be locked on moves a point by less than
    0.01 ppm; shorter for a short track, longer for one of hours.

    Raises
    ------
    UsageError
        When the track is shorter than a minute.
    """
    if seconds < SHORTEST_S:
        raise UsageError(
            f"{format_seconds(seconds)} are too short to follow a clock; a minute at the least, "
            "30min for a dongle from cold"
        )
    step_s = min(_STEP_S, max(_LEAST_STEP_S, seconds / _USUAL_POINTS))
    step_s = max(step_s, seconds / _MOST_POINTS)
    return Pace(seconds=seconds, step_s=step_s, mean_s=_STAY_S if skipping else step_s)


def follow(points: Iterable[Point]) -> Track:
    """Collect points; when the user or the source ends it, what was followed till then counts."""
    kept: list[Point] = []
    stopped, trouble = Stopped.DONE, None
    try:
        for point in points:
            kept.append(point)  # noqa: PERF402 – one by one: none is lost at an end
    except KeyboardInterrupt:
        stopped = Stopped.INTERRUPTED
    except SourceError as error:
        if not kept:
            raise
        stopped, trouble = Stopped.SOURCE, str(error)
    return Track(points=tuple(kept), stopped=stopped, trouble=trouble)


def points_of(
    source: Source, *, line_hz: float, pace: Pace, start_s: float = 0.0
) -> Iterator[Point]:
    """Follow a line from where it is indicated now.

    Parameters
    ----------
    source : Source
        Tuned so that the line is in view. One that can skip is heard for `mean_s` of each step, any
        other without a break.
    line_hz : float
        Where the line is indicated, Hz.
    pace : Pace
    start_s : float
        Where to begin in a recording, s.

    Raises
    ------
    SourceError
        When the source fails.
    """
    line = _Line(line_hz, pace)
    if isinstance(source, Skipping) and pace.mean_s < pace.step_s:
        for number in range(pace.steps):
            for block in source.stream(seconds=pace.mean_s):
                line.push(block)
            source.skip(pace.step_s - pace.mean_s)
            yield line.end(number)
        return
    step = 0
    first: int | None = None
    for block in source.stream(seconds=pace.steps * pace.step_s, start_s=start_s):
        first = block.index if first is None else first
        size = round(pace.step_s * block.rate_hz)
        for number, piece in _cut(block, first, size):
            while step < number:
                yield line.end(step)
                step += 1
            line.push(piece)
    if first is not None and step < pace.steps:
        yield line.end(step)


def _cut(block: IQBlock, first: int, size: int) -> Iterator[tuple[int, IQBlock]]:
    """A block cut at the borders of steps, each piece with its step's number."""
    begin = block.index
    while begin < block.end_index:
        number = (begin - first) // size
        end = min(block.end_index, first + (number + 1) * size)
        yield (
            number,
            IQBlock(
                samples=block.samples[begin - block.index : end - block.index],
                rate_hz=block.rate_hz,
                center_hz=block.center_hz,
                index=begin,
            ),
        )
        begin = end


class _Line:
    """The line as it was last seen, and what is heard of it in the present step."""

    def __init__(self, line_hz: float, pace: Pace) -> None:
        self._line_hz = line_hz
        self._pace = pace
        self._unseen = 0
        self._power: float | None = None
        self._zoom: Zoom | None = None
        self._reach_hz = 0.0
        self._stretches: list[Zoomed] = []

    def push(self, block: IQBlock) -> None:
        if self._zoom is None:
            since_s = self._unseen * self._pace.step_s
            reach_ppm = min(_REACH_PPM + _REACH_PPM_PER_S * since_s, _WIDEST_PPM)
            self._reach_hz = max(_LEAST_REACH_HZ, self._line_hz * reach_ppm * 1e-6)
            # Frames so fast that within the reach their filter takes off 1.7 dB at the most.
            hop = max(MIN_HOP, int(block.rate_hz / (4.0 * self._reach_hz)))
            self._zoom = Zoom([self._line_hz], hop=hop)
        self._stretches += [stretch for (stretch,) in self._zoom.push(block)]

    def end(self, number: int) -> Point:
        """The point of this step, and make ready for the next."""
        if self._zoom is not None:
            self._stretches += [stretch for (stretch,) in self._zoom.finish()]
        lost = not self._stretches
        found = mean_by_parts(
            self._stretches,
            part_s=_PART_S,
            reach_hz=self._reach_hz,
            fewest=max(_FEWEST_PARTS, ceil(_WHOLE * self._pace.mean_s / _PART_S - 1e-9)),
        )
        self._zoom, self._stretches = None, []
        time_s = number * self._pace.step_s + self._pace.mean_s / 2.0
        if found is None or (self._power is not None and found.power < self._power / _GONE):
            self._unseen += 1
            return Point(time_s=time_s, indicated_hz=None, u_hz=None, level_dbfs=None, lost=lost)
        self._line_hz, self._power, self._unseen = found.hz, found.power, 0
        return Point(
            time_s=time_s,
            indicated_hz=found.hz,
            u_hz=found.u_hz,
            level_dbfs=to_db(found.power),
        )
