"""When a tuner has settled, by what its samples do."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from sniff.sources.recording.datatypes import DATATYPES

Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class SettlingRule:
    """What is passed over after opening and after each retuning.

    Attributes
    ----------
    least_s : float
        Always passed over: the synthesiser's lock takes 5 ms (data sheet of the R820T, typical).
    most_s : float
        Given up after this: the signal itself is restless.
    window_s : float
        Length over which level and mean frequency are taken.
    windows : int
        So many in a row must agree.
    level_db : float
        Agreement in level, dB.
    turn : float
        Agreement in the mean turn per sample, radians, beyond three standard deviations of what
        noise does to it.
    """

    least_s: float = 10e-3
    most_s: float = 60e-3
    window_s: float = 1e-3
    windows: int = 4
    level_db: float = 0.7
    turn: float = 0.05


class Settling:
    """Takes what comes after a retuning, and hands on what is settled.

    Parameters
    ----------
    rate_hz : float
        Sample rate, Hz.
    rule : SettlingRule, optional
    """

    def __init__(self, rate_hz: float, rule: SettlingRule | None = None) -> None:
        self._rule = rule or SettlingRule()
        self._window = max(64, round(self._rule.window_s * rate_hz))
        self._least = round(self._rule.least_s * rate_hz)
        self._most = max(self._least, round(self._rule.most_s * rate_hz))
        self._passed = 0
        self._rest: Bytes = np.empty(0, dtype=np.uint8)
        self._features: list[tuple[float, complex]] = []

    def push(self, native: Bytes) -> int | None:
        """Add samples that follow the last.

        Parameters
        ----------
        native : ndarray of uint8, shape (2 n,)
            I, then Q.

        Returns
        -------
        int or None
            How many of the samples pushed so far, counted back from the end, are settled; None
            while they are not.
        """
        start = self._passed - self._rest.size // 2
        native = np.concatenate((self._rest, native))
        end = start + native.size // 2
        place = max(0, min(self._least - start, native.size // 2))
        self._passed = end
        while place + self._window <= native.size // 2:
            window = native[2 * place : 2 * (place + self._window)]
            self._features.append(_features(window))
            place += self._window
            if self._agree():
                return end - (start + place) + self._rule.windows * self._window
        self._rest = native[2 * place :].copy()
        return 0 if end >= self._most else None

    def _agree(self) -> bool:
        latest = self._features[-self._rule.windows :]
        if len(latest) < self._rule.windows:
            return False
        levels = [level for level, _ in latest]
        if max(levels) - min(levels) > self._rule.level_db:
            return False
        first = latest[0][1]
        noise = max(0.0, 1.0 - abs(first) ** 2) / self._window
        allowed = self._rule.turn + 3.0 * sqrt(noise)
        return all(abs(turn - first) <= allowed for _, turn in latest)


def _features(native: Bytes) -> tuple[float, complex]:
    """Level, dB, and mean turn per sample: an angle, its length one for a pure line."""
    samples = DATATYPES["cu8"].to_complex64(native)
    samples = samples - samples.mean()
    power = float(np.vdot(samples, samples).real) / samples.size
    if power <= 0:
        return -99.0, 0j
    turn = complex(np.vdot(samples[:-1], samples[1:])) / (power * samples.size)
    return 10.0 * float(np.log10(power)), turn
