"""Stability: how a frequency wanders, by the variances that clocks are judged by.

All take fractional frequencies, or any frequencies, at equal distances, and give the deviation at
an averaging time of m steps. NaN stands for a step that was not observed: no difference is taken
across it, and what lies on its two sides counts as two series. Equations: W. J. Riley, NIST SP 1065
(2008), ch. 5.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import sqrt
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calib.confidence import (
    FEWEST_TO_IDENTIFY,
    Noise,
    Series,
    chi_square_bounds,
    degrees_of_freedom,
    identify,
)

ONE_SIGMA = 0.6827

_FEWEST_SIDE_BY_SIDE = 4
"""A ladder stops where fewer averaging times lie in the longest unbroken stretch."""


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
        Bounds of the confidence interval, by the chi-square distribution.
    confidence : float
        Of that interval.
    degrees : float
        Equivalent degrees of freedom.
    noise : Noise or None
        That dominates there, by which the degrees were counted; None where too few frequencies
        tell: then random-walk noise was assumed, which leaves the fewest.
    count : int
        Overlapping differences that entered.
    """

    tau_s: float
    value: float
    low: float
    high: float
    confidence: float
    degrees: float
    noise: Noise | None
    count: int


class _Kind(NamedTuple):
    """A variance: order of its difference, whether phases are averaged first, and its divisor."""

    differences: int
    modified: bool
    divisor: float


_ALLAN = _Kind(differences=2, modified=False, divisor=2.0)
_MODIFIED = _Kind(differences=2, modified=True, divisor=2.0)
_HADAMARD = _Kind(differences=3, modified=False, divisor=6.0)


def allan(
    frequencies: npt.ArrayLike, *, step_s: float, steps: int = 1, confidence: float = ONE_SIGMA
) -> Deviation:
    """Overlapping Allan deviation (NIST SP 1065, eq. 14), the usual measure of a clock.

    Parameters
    ----------
    frequencies : array_like of float, shape (n,)
        Means over successive steps; NaN where a step was not observed.
    step_s : float
        Length of a step, s.
    steps : int
        Averaging time, steps.
    confidence : float
        Of the interval that is given, above 0 and below 1.

    Raises
    ------
    ValueError
        When no unbroken stretch is long enough, or a frequency is infinite.
    """
    return _deviation(frequencies, _ALLAN, step_s, steps, confidence)


def modified_allan(
    frequencies: npt.ArrayLike, *, step_s: float, steps: int = 1, confidence: float = ONE_SIGMA
) -> Deviation:
    """Modified Allan deviation (NIST SP 1065, eq. 16): tells white from flicker phase noise."""
    return _deviation(frequencies, _MODIFIED, step_s, steps, confidence)


def hadamard(
    frequencies: npt.ArrayLike, *, step_s: float, steps: int = 1, confidence: float = ONE_SIGMA
) -> Deviation:
    """Overlapping Hadamard deviation (NIST SP 1065, eq. 26): blind to a steady drift."""
    return _deviation(frequencies, _HADAMARD, step_s, steps, confidence)


def time_deviation(
    frequencies: npt.ArrayLike, *, step_s: float, steps: int = 1, confidence: float = ONE_SIGMA
) -> Deviation:
    """Time deviation, ``tau / sqrt(3)`` times the modified Allan deviation (eq. 20).

    Its unit is that of the frequencies times seconds: seconds for fractional frequencies.
    """
    found = modified_allan(frequencies, step_s=step_s, steps=steps, confidence=confidence)
    factor = found.tau_s / sqrt(3.0)
    return replace(
        found, value=factor * found.value, low=factor * found.low, high=factor * found.high
    )


def ladder(
    frequencies: npt.ArrayLike,
    *,
    step_s: float,
    of: Callable[..., Deviation] = allan,
    confidence: float = ONE_SIGMA,
) -> tuple[Deviation, ...]:
    """A deviation at averaging times of 1, 2, 4, 8 ... steps, as far as four fit side by side.

    Returns
    -------
    tuple of Deviation
        None at all when the longest unbroken stretch holds fewer than four frequencies.
    """
    y = np.asarray(frequencies, dtype=np.float64)
    longest = max((stretch.size for stretch in _stretches(y)), default=0)
    found = []
    steps = 1
    while steps * _FEWEST_SIDE_BY_SIDE <= longest:
        found.append(of(y, step_s=step_s, steps=steps, confidence=confidence))
        steps *= 2
    return tuple(found)


def _deviation(
    frequencies: npt.ArrayLike, kind: _Kind, step_s: float, steps: int, confidence: float
) -> Deviation:
    y = np.asarray(frequencies, dtype=np.float64)
    if y.ndim != 1 or steps < 1 or not 0.0 < confidence < 1.0 or np.isinf(y).any():
        raise ValueError(
            f"a stability needs a row of finite frequencies, {steps=} of at least 1 and a "
            f"{confidence=} within 0 and 1"
        )
    length = (steps if kind.modified else 1) + kind.differences * steps
    phases = [phase for phase in map(_phase, _stretches(y)) if phase.size >= length]
    if not phases:
        raise ValueError(
            f"{y.size} frequencies, gaps left out, are too few in a row for an averaging time of "
            f"{steps} steps"
        )
    differences = np.concatenate([_differences(phase, kind, steps) for phase in phases])
    value = sqrt(float((differences**2).mean()) / kind.divisor) / steps
    noise = _noise(max(phases, key=lambda phase: phase.size), kind, steps)
    alpha = (Noise.RANDOM_WALK_FREQUENCY if noise is None else noise).alpha
    # Stretches apart tell of the variance independently.
    degrees = sum(
        degrees_of_freedom(
            alpha,
            differences=kind.differences,
            steps=steps,
            count=phase.size,
            modified=kind.modified,
        )
        for phase in phases
    )
    low, high = chi_square_bounds(degrees, confidence=confidence)
    return Deviation(
        tau_s=steps * step_s,
        value=value,
        low=value * low,
        high=value * high,
        confidence=confidence,
        degrees=degrees,
        noise=noise,
        count=differences.size,
    )


def _stretches(y: Series) -> list[Series]:
    """The unbroken stretches of a series."""
    seen = np.concatenate([[False], ~np.isnan(y), [False]]).astype(np.int8)
    borders = np.flatnonzero(np.diff(seen))
    return [y[a:b] for a, b in zip(borders[::2], borders[1::2], strict=True)]


def _phase(y: Series) -> Series:
    """Running sum of the frequencies, in steps: the phase at each step's border."""
    # About their mean, so that a large frequency leaves its digits to the wander.
    return np.concatenate([[0.0], np.cumsum(y - y.mean())])


def _differences(phase: Series, kind: _Kind, steps: int) -> Series:
    if kind.modified:
        sums = np.concatenate([[0.0], np.cumsum(phase)])
        phase = (sums[steps:] - sums[:-steps]) / steps
    for _ in range(kind.differences):
        phase = phase[steps:] - phase[:-steps]
    return phase


def _noise(phase: Series, kind: _Kind, steps: int) -> Noise | None:
    """The noise at an averaging time, or at the longest below that still tells."""
    longest = (phase.size - 1) // (FEWEST_TO_IDENTIFY - 1)
    if longest < 1:
        return None
    return identify(phase, steps=min(steps, longest), differences=kind.differences)
