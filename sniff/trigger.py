"""Trigger: the moment at which a line appears, vanishes, or rises above a level, as it happens.

The line and two places beside it are zoomed together; what the quieter of the two shows is the
noise. Decisions fall step by step, so that a stream of any length can be watched.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from math import ceil

import numpy as np

from sniff.model import IQBlock
from sniff.watch.presence import GONE_BELOW, THERE_ABOVE
from sniff.zoom import MIN_HOP, Zoom

STEP_S = 5e-3
_OVER_NOISE = 10.0  # power over noise from which a line counts as there at all
_BESIDE_FRAMES = 4.0  # frame rates from the line to where the noise is taken
_IN_A_ROW = 2  # steps that must agree: one alone may be a click
_FORGET = 0.05  # how fast the line's own level is learnt, per step


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
    """

    index: int
    when: When
    level: float


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
        frame_hz = max(4.0 * within_hz, 2.0 / STEP_S)
        self._hop = max(MIN_HOP, int(rate_hz / frame_hz))
        beside_hz = _BESIDE_FRAMES * rate_hz / self._hop
        self._zoom = Zoom(
            [line_hz, line_hz - beside_hz, line_hz + beside_hz], hop=self._hop, longest=1
        )
        self.line_hz, self.within_hz = line_hz, within_hz
        self._rate_hz = rate_hz
        self._frames = max(1, ceil(STEP_S * rate_hz / self._hop))
        self._when = when
        self._asked = level
        self._rest = np.empty((0, 3))
        self._rest_s = 0.0
        self._noise = 0.0
        self._own = 0.0
        self._agreed = 0
        self._met = when is When.ABSENT  # a line must have been there before it can vanish

    def push(self, block: IQBlock) -> Iterator[Event]:
        """Take in a block; gives the events in it."""
        for stretch in self._zoom.push(block):
            power = np.stack([np.abs(zoomed.values) ** 2 for zoomed in stretch], axis=1)
            if not self._rest.size:
                self._rest_s = stretch[0].start_s
            power = np.concatenate([self._rest, power])
            steps = power.shape[0] // self._frames
            for number in range(steps):
                step = power[number * self._frames : (number + 1) * self._frames].mean(axis=0)
                at_s = self._rest_s + number * self._frames * self._hop / self._rate_hz
                yield from self._decide(step, at_s)
            self._rest = power[steps * self._frames :]
            self._rest_s += steps * self._frames * self._hop / self._rate_hz

    def _decide(self, step: np.ndarray, at_s: float) -> Iterator[Event]:
        if not np.isfinite(step).all():
            return  # unobserved: neither there nor gone
        beside = float(step[1:].min())
        self._noise += _FORGET * (beside - self._noise) if self._noise else beside
        power = max(float(step[0]) - self._noise, 0.0)
        there = power > _OVER_NOISE * self._noise and power > GONE_BELOW * self._own
        if there:
            self._own = max(power, self._own * (1 - _FORGET) + _FORGET * power)
        wanted = self._is_wanted(power, there)
        self._agreed = self._agreed + 1 if wanted else 0
        if not wanted and self._is_over(power):
            self._met = False
        if self._agreed == _IN_A_ROW and not self._met:
            self._met = True
            began_s = at_s - (_IN_A_ROW - 1) * self._frames * self._hop / self._rate_hz
            yield Event(index=max(0, round(began_s * self._rate_hz)), when=self._when, level=power)

    def _is_wanted(self, power: float, there: bool) -> bool:
        if self._when is When.ABSENT:
            return self._own > 0 and power < GONE_BELOW * self._own
        if self._when is When.PRESENT:
            return there
        return power >= (self._asked or 0.0)

    def _is_over(self, power: float) -> bool:
        """Whether what was waited for has ended, by the other threshold, and may come again."""
        if self._when is When.ABSENT:
            return power > max(THERE_ABOVE * self._own, _OVER_NOISE * self._noise)
        if self._when is When.PRESENT:
            return power < max(GONE_BELOW * self._own, _OVER_NOISE * self._noise / 2)
        return power < (self._asked or 0.0) / 2
