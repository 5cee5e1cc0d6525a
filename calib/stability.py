"""Stability: how a frequency wanders, by the variances that clocks are judged by.

All take fractional frequencies, or any frequencies, at equal distances and without a gap, and give
the deviation at an averaging time of m steps. Equations: W. J. Riley, NIST SP 1065 (2008), ch. 5.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

Series = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """A deviation at one averaging time.

    Attributes
    ----------
    tau_s : float
        Averaging time, s.
    value : float
        In the unit of the frequencies.
    low, high : float
        68 % confidence interval.
    count : int
        Second differences that entered.
    """

    tau_s: float
    value: float
    low: float
    high: float
    count: int


def allan(frequencies: npt.ArrayLike, *, step_s: float, steps: int = 1) -> Deviation:
    """Overlapping Allan deviation (NIST SP 1065, eq. 14), the usual measure of a clock.

    Parameters
    ----------
    frequencies : array_like of float, shape (n,)
        Means over successive steps.
    step_s : float
        Length of a step, s.
    steps : int
        Averaging time, steps.

    Raises
    ------
    ValueError
        When a frequency is unobserved (NaN), or there are too few.
    """
    x = _phase(frequencies, steps, 2)
    second = x[2 * steps :] - 2.0 * x[steps:-steps] + x[: -2 * steps]
    return _deviation(second, 2.0 * steps**2, step_s, steps)


def modified_allan(frequencies: npt.ArrayLike, *, step_s: float, steps: int = 1) -> Deviation:
    """Modified Allan deviation (NIST SP 1065, eq. 16): tells white from flicker phase noise."""
    x = _phase(frequencies, steps, 3)
    sums = np.concatenate([[0.0], np.cumsum(x)])
    means = (sums[steps:] - sums[:-steps]) / steps
    second = means[2 * steps :] - 2.0 * means[steps:-steps] + means[: -2 * steps]
    return _deviation(second, 2.0 * steps**2, step_s, steps)


def hadamard(frequencies: npt.ArrayLike, *, step_s: float, steps: int = 1) -> Deviation:
    """Overlapping Hadamard deviation (NIST SP 1065, eq. 26): blind to a steady drift."""
    x = _phase(frequencies, steps, 3)
    third = x[3 * steps :] - 3.0 * x[2 * steps : -steps] + 3.0 * x[steps : -2 * steps]
    third = third - x[: -3 * steps]
    return _deviation(third, 6.0 * steps**2, step_s, steps)


def time_deviation(frequencies: npt.ArrayLike, *, step_s: float, steps: int = 1) -> float:
    """Time deviation, ``tau / sqrt(3)`` times the modified Allan deviation (eq. 20), s."""
    modified = modified_allan(frequencies, step_s=step_s, steps=steps)
    return modified.tau_s * modified.value / sqrt(3.0)


def _phase(frequencies: npt.ArrayLike, steps: int, spans: int) -> Series:
    """Running sum of the frequencies, in steps: the phase at each step's border."""
    y = np.asarray(frequencies, dtype=np.float64)
    if steps < 1 or y.ndim != 1 or y.size + 1 <= spans * steps:
        raise ValueError(f"{y.size} frequencies are too few for an averaging time of {steps} steps")
    if not np.isfinite(y).all():
        raise ValueError("a stability over a gap is none: give each unbroken stretch alone")
    # About their mean, so that a large frequency leaves its digits to the wander.
    return np.concatenate([[0.0], np.cumsum(y - y.mean())])


def _deviation(differences: Series, scale: float, step_s: float, steps: int) -> Deviation:
    value = sqrt(float((differences**2).mean()) / scale)
    # Overlapping differences are about as many independent ones as fit side by side; the interval
    # is that of a variance with so many degrees of freedom (NIST SP 1065, 5.3, simplest case).
    independent = max(1.0, differences.size / steps)
    spread = 1.0 / sqrt(2.0 * independent)
    return Deviation(
        tau_s=steps * step_s,
        value=value,
        low=value * max(0.0, 1.0 - spread),
        high=value * (1.0 + spread),
        count=differences.size,
    )
