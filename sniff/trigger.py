"""Trigger: the moment at which a line appears, vanishes, or rises above a level, as it happens.

The line and four places beside it are zoomed together; what the second quietest of them shows is
the noise. Decisions fall step by step, so that a stream of any length can be watched.

What is wide enough to stand at both sides of the line is static and no line: such a step is passed
over, and neither fires nor teaches anything. The line's own level and the noise are quantiles of
the last second, so that a few odd steps do not move them, while a loop that is moved is followed;
a fall of more than 7 dB in less than about a second is an event.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from math import ceil

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles, IQBlock
from sniff.watch.presence import GONE_BELOW, THERE_ABOVE
from sniff.zoom import MIN_HOP, Zoom, Zoomed

STEP_S = 5e-3
# Frame rates from the line to where the noise is taken. A click has a ragged spectrum, and one
# place may lie in a gap of it; two others may lie on neighbours.
_BESIDE_FRAMES = np.array([-6.0, -4.0, 4.0, 6.0])
_QUIETEST = 1  # of the places in order of power
_IN_A_ROW = 2  # steps that must agree: what is shorter is a click
_OVER_NOISE = 10.0  # power over noise from which a line shows at all
# Where a step averages few frames, a line must stand clearer to be judged: its power in a step
# scatters by sqrt(2 / (ratio * frames)) at the most, and from 1 to `GONE_BELOW` are four of that
# (one step in 30,000), twice in a row.
_OVER_NOISE_FRAMES = 2.0 * (4.0 / (1.0 - GONE_BELOW)) ** 2
_LEARN_S = 1.0
_FEWEST = 10  # steps before what was learnt is used
_LINE_QUANTILE = 0.75  # as long as it is up for a quarter of the time, its level is the upper one
_STATIC_OVER_NOISE = 4.0
_STATIC_OVER_LINE = 0.02  # adds to the line 14 % of its amplitude, too little to decide anything


class When(str, Enum):
    """What is waited for."""

    ABSENT = "absent"
    PRESENT = "present"
    LEVEL = "level"


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that was waited for.

    Attributes
    ----------
    index : int
        Number of the sample at which it began, to a step.
    when : When
    level : float
        Power of the line then, FS².
    at_start : bool
        Whether it was so from the beginning, so that nobody knows when it began.
    """

    index: int
    when: When
    level: float
    at_start: bool = False


class Trigger:
    """Watches one line of one tuning.

    Parameters
    ----------
    line_hz : float
        Indicated frequency, Hz.
    when : When
    rate_hz : float
        Of the blocks to come.
    within_hz : float
        How far from `line_hz` the line may be, Hz.
    level : float or None
        Power above which `When.LEVEL` is met, FS².
    """

    def __init__(
        self,
        *,
        line_hz: float,
        when: When,
        rate_hz: float,
        within_hz: float,
        level: float | None = None,
    ) -> None:
        if (when is When.LEVEL) != (level is not None):
            raise ValueError(f"{when=} and {level=} do not go together")
        self.line_hz, self.within_hz = line_hz, within_hz
        frame_hz = max(4.0 * within_hz, 2.0 / STEP_S)
        hop = max(MIN_HOP, int(rate_hz / frame_hz))
        places_hz = line_hz + np.append(0.0, _BESIDE_FRAMES) * rate_hz / hop
        self._zoom = Zoom(places_hz, hop=hop, longest=1)
        self._rate_hz = rate_hz
        self._frame_s = hop / rate_hz
        self._frames = max(1, ceil(STEP_S / self._frame_s))
        self._step_s = self._frames * self._frame_s
        self._clear = max(_OVER_NOISE, _OVER_NOISE_FRAMES / self._frames)
        self._when = when
        self._asked = level or 0.0
        self._rest: Doubles = np.empty((0, places_hz.size))
        self._rest_s = 0.0
        steps = ceil(_LEARN_S / self._step_s)
        self._noise = _Recent(steps, 0.5)
        self._own = _Recent(steps, _LINE_QUANTILE)
        self._agreed = 0
        self._over = 0
        self._since_s = 0.0
        self._start_s: float | None = None
        self._at_start = False
        self._judged = False
        self._met = when is When.ABSENT  # a line must have been there before it can vanish
        self._unjudged = 0

    @property
    def delay_s(self) -> float:
        """How long after its beginning an event is told of at the most, static apart, s."""
        return (_IN_A_ROW + 1) * self._step_s + 2 * self._frame_s

    @property
    def unjudged_s(self) -> float:
        """How long static or noise covered the line, s."""
        return self._unjudged * self._step_s

    def push(self, block: IQBlock) -> Iterator[Event]:
        """Take in a block; gives the events in it."""
        for stretch in self._zoom.push(block):
            yield from self._take_in(stretch)

    def _take_in(self, stretch: tuple[Zoomed, ...]) -> Iterator[Event]:
        power = np.stack([np.abs(zoomed.values) ** 2 for zoomed in stretch], axis=1)
        begin_s = self._rest_s + self._rest.shape[0] * self._frame_s
        if abs(stretch[0].start_s - begin_s) > self._frame_s / 2:
            # A gap: no step reaches over it, and what agreed before it says nothing of after.
            self._rest = self._rest[:0]
            self._agreed = self._over = 0
        if not self._rest.size:
            self._rest_s = stretch[0].start_s
        if self._start_s is None:
            self._start_s = self._rest_s
        power = np.concatenate([self._rest, power])
        steps = power.shape[0] // self._frames
        for number in range(steps):
            step = power[number * self._frames : (number + 1) * self._frames].mean(axis=0)
            yield from self._decide(step, self._rest_s + number * self._step_s)
        self._rest = power[steps * self._frames :]
        self._rest_s += steps * self._step_s

    def _decide(self, step: Doubles, at_s: float) -> Iterator[Event]:
        if not np.isfinite(step).all():
            self._agreed = self._over = 0
            return  # unobserved: neither there nor gone
        line, beside = float(step[0]), float(np.sort(step[1:])[_QUIETEST])
        noise = self._noise.add(beside)
        if noise is None or self._is_static(line, beside, noise):
            self._unjudged += noise is not None
            return
        power = max(line - noise, 0.0)
        own = self._own.add(power) if power > _OVER_NOISE * noise else self._own.value
        wanted, over = self._judge(power, noise, own or 0.0)
        first, self._judged = not self._judged, True
        self._over = self._over + 1 if over else 0
        if self._over >= _IN_A_ROW:
            self._met = False
        if not wanted:
            self._agreed = 0
            return
        if not self._agreed:
            # The first steps teach the noise: what is so in the first that is judged was so before.
            self._at_start = first
            self._since_s = (self._start_s or 0.0) if first else at_s
        self._agreed += 1
        if self._agreed == _IN_A_ROW and not self._met:
            self._met = True
            index = max(0, round(self._since_s * self._rate_hz))
            yield Event(index=index, when=self._when, level=power, at_start=self._at_start)

    def _is_static(self, line: float, beside: float, noise: float) -> bool:
        seen = max(line, self._own.value or 0.0)
        return beside > max(_STATIC_OVER_NOISE * noise, _STATIC_OVER_LINE * seen)

    def _judge(self, power: float, noise: float, own: float) -> tuple[bool, bool]:
        """Whether this is what is waited for, and whether that is over and may come again."""
        seen = self._clear * noise
        if self._when is When.LEVEL:
            return power >= self._asked, power < self._asked / 2
        if self._when is When.PRESENT:
            low = GONE_BELOW * own
            return power > max(seen, low), power < max(low, seen / 2)
        if own <= seen:
            self._unjudged += own > 0  # hidden: it would not be seen if it were there
            return False, False
        return power < GONE_BELOW * own, power > max(THERE_ABOVE * own, seen)


class _Recent:
    """A quantile of the last values, in bounded memory."""

    def __init__(self, length: int, quantile: float) -> None:
        self._values: npt.NDArray[np.float64] = np.empty(max(length, _FEWEST))
        self._quantile = quantile
        self._count = 0
        self.value: float | None = None

    def add(self, value: float) -> float | None:
        """Take in a value; gives the quantile, None as long as they are too few."""
        self._values[self._count % self._values.size] = value
        self._count += 1
        if self._count >= _FEWEST:
            there = self._values[: self._count]
            rank = int(self._quantile * (there.size - 1))
            self.value = float(np.partition(there, rank)[rank])
        return self.value
