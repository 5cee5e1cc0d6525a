"""The dongle's crystal: it counts time for tuner and sampler alike, and counts it wrongly."""

from dataclasses import dataclass

import numpy as np

from sniff.model import Doubles
from sniff.sources.bench.grid import CHUNK, ROW, ROWS, linear


@dataclass(frozen=True, slots=True, kw_only=True)
class DongleClock:
    """A crystal that runs fast by so much, and by so much more until it is warm.

    It has counted ``s(t) = t + excess(t)`` seconds when t seconds have passed. Sample n is taken
    when it has counted ``n / rate``, and a synthesiser set to c has then turned ``c s`` times:
    from these two all that a wrong clock does to an indication follows by itself.

    Attributes
    ----------
    error_ppm : float
        How fast it runs when warm, ppm.
    warm_up_ppm : float
        How much faster it runs in the moment it is switched on, ppm.
    warm_up_s : float
        Time constant of warming up, s.
    """

    error_ppm: float
    warm_up_ppm: float
    warm_up_s: float

    def error(self, true_s: Doubles) -> Doubles:
        """How fast it runs, as a ratio less 1."""
        warmth = np.exp(-true_s / self.warm_up_s)
        return np.asarray(1e-6 * (self.error_ppm + self.warm_up_ppm * warmth))

    def excess_s(self, true_s: Doubles) -> Doubles:
        """Seconds it has counted too many: the integral of `error`."""
        warmed = -np.expm1(-true_s / self.warm_up_s) * self.warm_up_s
        return np.asarray(1e-6 * (self.error_ppm * true_s + self.warm_up_ppm * warmed))

    def true_s(self, counted_s: Doubles) -> Doubles:
        """Seconds that have passed when so many were counted.

        Each round makes the error smaller by the clock's error, at most 1e-3, so that five
        leave nothing that a float64 holds.
        """
        true_s = counted_s
        for _ in range(5):
            true_s = counted_s - self.excess_s(true_s)
        return true_s


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChunkTime:
    """The knots of a chunk in both times.

    Attributes
    ----------
    first : int
        Number of the chunk's first sample.
    rate_hz : float
        Sample rate by the dongle's own clock, Hz.
    counted_s, true_s : ndarray of float64, shape (ROWS + 1,)
        Time that the dongle has counted, and that has passed, s.
    error : ndarray of float64, shape (ROWS + 1,)
        How fast the clock runs, as a ratio less 1.
    excess_s : ndarray of float64, shape (ROWS + 1,)
        Counted time less true time, s.
    """

    first: int
    rate_hz: float
    counted_s: Doubles
    true_s: Doubles
    error: Doubles
    excess_s: Doubles

    @classmethod
    def of(cls, chunk: int, *, clock: DongleClock, rate_hz: float) -> "ChunkTime":
        """Work out the knots of the chunk with this number."""
        first = chunk * CHUNK
        counted_s = (first + ROW * np.arange(ROWS + 1, dtype=np.float64)) / rate_hz
        true_s = clock.true_s(counted_s)
        return cls(
            first=first,
            rate_hz=rate_hz,
            counted_s=counted_s,
            true_s=true_s,
            error=clock.error(true_s),
            excess_s=clock.excess_s(true_s),
        )

    def sample_true_s(self) -> Doubles:
        """True time of each sample, s, shape (CHUNK,)."""
        return linear(self.true_s, ROW)
