"""Settling: the curve of a clock that warms up, a straight line and exponentials on top."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

Series = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """``c + d (t - origin) + sum of a exp(-t / tau)``.

    Attributes
    ----------
    values : ndarray of float64, shape (2 + 2 n,)
        c in ppm, d in ppm/s, then of each exponential a in ppm and the natural logarithm of tau in
        seconds.
    origin_s : float
        Where the line's value is c, s.
    """

    values: Series
    origin_s: float

    def at(self, t: Series, *, mean_s: float = 0.0) -> Series:
        """Value at these times, or its mean over `mean_s` about them, ppm."""
        course = self.values[0] + self.values[1] * (t - self.origin_s)
        for at in range(2, self.values.size, 2):
            course = course + self.values[at] * self._fallen(at, t, mean_s)[0]
        return np.asarray(course)

    def jacobian(self, t: Series, *, mean_s: float = 0.0) -> Series:
        """Change of `at` with each of `values`, shape (n, p)."""
        columns = [np.ones(t.size), t - self.origin_s]
        for at in range(2, self.values.size, 2):
            fallen, with_logarithm = self._fallen(at, t, mean_s)
            columns += [fallen, self.values[at] * with_logarithm]
        return np.stack(columns, axis=1)

    def slope(self, at_s: float, covariance: Series) -> tuple[float, float]:
        """Slope at a moment and its standard uncertainty, ppm/s."""
        gradient = np.zeros(self.values.size)
        gradient[1] = 1.0
        slope = float(self.values[1])
        for at in range(2, self.values.size, 2):
            tau_s = float(np.exp(self.values[at + 1]))
            fallen = float(np.exp(-at_s / tau_s))
            slope -= float(self.values[at]) * fallen / tau_s
            gradient[at] = -fallen / tau_s
            gradient[at + 1] = self.values[at] * fallen / tau_s * (1.0 - at_s / tau_s)
        return slope, sqrt(max(float(gradient @ covariance @ gradient), 0.0))

    def _fallen(self, at: int, t: Series, mean_s: float) -> tuple[Series, Series]:
        """Mean of ``exp(-t / tau)`` over `mean_s`, and its change with the logarithm of tau.

        ``exp(-t / tau) sinh(h) / h`` with h half of `mean_s` over tau.
        """
        tau_s = float(np.exp(self.values[at + 1]))
        half = mean_s / (2.0 * tau_s)
        if half > 1e-4:
            spread, change = np.sinh(half) / half, np.sinh(half) / half - np.cosh(half)
        else:  # the series' next term is lost in rounding
            spread, change = 1.0 + half**2 / 6.0, -(half**2) / 3.0
        falling = np.exp(-t / tau_s)
        return falling * spread, falling * (spread * t / tau_s + change)
