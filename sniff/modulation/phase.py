"""The phase and power of a channel in even steps of time, in bounded memory."""

from dataclasses import dataclass
from math import ceil, pi

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles, IQBlock

MOST_STEPS = 2**20
"""Steps kept, whatever the length of a take."""

_EXPECTED_LONGER = 1.02  # a live take may give a little more than what was asked


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """A gap-free stretch of steps.

    Attributes
    ----------
    power : ndarray of float64, shape (n,)
        Mean power in each step, FS².
    phase : ndarray of float64, shape (n,)
        Mean of the unwrapped phase in each step, cycles, from wherever the stretch began.
    start_s : float
        Time of the beginning of the first step since the source was opened, s.
    step_s : float
        Length of a step, s.
    """

    power: Doubles
    phase: Doubles
    start_s: float
    step_s: float

    def __post_init__(self) -> None:
        self.power.flags.writeable = False
        self.phase.flags.writeable = False

    def part(self, first: int, last: int) -> "Run":
        """Steps `first` to `last`, the last not included."""
        return Run(
            power=self.power[first:last],
            phase=self.phase[first:last],
            start_s=self.start_s + first * self.step_s,
            step_s=self.step_s,
        )

    @property
    def seconds(self) -> float:
        """Length, s."""
        return self.power.size * self.step_s


class PhaseSteps:
    """Follow a channel's phase and power.

    Parameters
    ----------
    rate_hz : float
        Of the channel, Hz.
    seconds : float
        Expected length: it chooses the length of a step.
    """

    def __init__(self, rate_hz: float, *, seconds: float) -> None:
        self._rate_hz = rate_hz
        samples = seconds * rate_hz * _EXPECTED_LONGER
        self._step = max(1, ceil(samples / MOST_STEPS))
        j = np.arange(self._step, dtype=np.float64)
        # Phase at the end of a step, and its mean over the step, from the sample before it.
        self._weights = np.stack([np.ones(self._step), (self._step - j) / self._step], axis=1)
        # A product, since numpy's own mean is slow along short rows.
        self._evenly = np.full(self._step, 1.0 / self._step, np.float32)
        self._next_index: int | None = None
        self._runs: list[_Growing] = []

    def push(self, block: IQBlock) -> None:
        """Take in the next block of the channel."""
        if block.index != self._next_index:
            self._runs.append(_Growing(start_s=block.start_s))
        self._next_index = block.end_index
        run = self._runs[-1]
        turns = np.angle(block.samples).astype(np.float64) / (2.0 * pi)
        # Differences of stored phases: their roundings cancel in the sum, however long it is.
        change = np.diff(turns, prepend=run.last_turns if run.started else turns[0])
        change -= np.rint(change)
        run.last_turns, run.started = float(turns[-1]), True
        power = np.square(np.abs(block.samples))
        if run.rest_change.size:
            change = np.concatenate([run.rest_change, change])
            power = np.concatenate([run.rest_power, power])
        steps = change.size // self._step
        whole = steps * self._step
        run.rest_change, run.rest_power = change[whole:], power[whole:]
        if steps:
            sums = change[:whole].reshape(steps, self._step) @ self._weights
            ends = run.phase + np.cumsum(sums[:, 0])
            begins = np.concatenate([[run.phase], ends[:-1]])
            run.phase = float(ends[-1])
            run.phases.append(begins + sums[:, 1])
            run.powers.append(power[:whole].reshape(steps, self._step) @ self._evenly)

    def runs(self) -> tuple[Run, ...]:
        """All stretches so far, in order of time; those shorter than a step are left out."""
        step_s = self._step / self._rate_hz
        return tuple(
            Run(
                power=np.concatenate(run.powers).astype(np.float64),
                phase=np.concatenate(run.phases),
                start_s=run.start_s,
                step_s=step_s,
            )
            for run in self._runs
            if run.powers
        )


class _Growing:
    """A stretch that is still being followed."""

    def __init__(self, *, start_s: float) -> None:
        self.start_s = start_s
        self.started = False
        self.last_turns = 0.0
        self.phase = 0.0
        self.phases: list[Doubles] = []
        self.powers: list[npt.NDArray[np.float32]] = []
        self.rest_change: Doubles = np.empty(0)
        self.rest_power: npt.NDArray[np.float32] = np.empty(0, np.float32)
