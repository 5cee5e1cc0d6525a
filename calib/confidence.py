"""Confidence: which noise a series is made of, and what an estimated variance of it is worth.

Noise by the lag-1 autocorrelation (W. J. Riley, NIST SP 1065 (2008), 5.5.6); equivalent degrees of
freedom by the general formula (C. A. Greenhall and W. J. Riley, PTTI 2003; NIST SP 1065, 5.4).
"""

from collections.abc import Callable
from enum import Enum
from math import inf, sqrt

import numpy as np
import numpy.typing as npt

Series = npt.NDArray[np.float64]

FEWEST_TO_IDENTIFY = 30
"""Fewer averaged phases do not tell noises apart (NIST SP 1065, 5.5.6)."""

_EXACT_STEPS = 300
"""Beyond, the filter of a variance is taken as continuous: finer steps drown in rounding."""


class Noise(Enum):
    """Power-law noises, from the bluest to the reddest."""

    WHITE_PHASE = "white-phase"
    FLICKER_PHASE = "flicker-phase"
    WHITE_FREQUENCY = "white-frequency"
    FLICKER_FREQUENCY = "flicker-frequency"
    RANDOM_WALK_FREQUENCY = "random-walk-frequency"
    FLICKER_WALK_FREQUENCY = "flicker-walk-frequency"
    RANDOM_RUN_FREQUENCY = "random-run-frequency"

    @property
    def alpha(self) -> int:
        """Exponent of the density of the fractional frequency: ``S_y(f) ~ f**alpha``."""
        return 2 - list(Noise).index(self)

    @classmethod
    def of(cls, alpha: int) -> "Noise":
        """The noise of this exponent, 2 to -4."""
        return list(cls)[2 - alpha]


def identify(phase: Series, *, steps: int, differences: int) -> Noise | None:
    """Which noise dominates at an averaging time.

    Parameters
    ----------
    phase : ndarray of float64, shape (n,)
        At equal distances, without a gap.
    steps : int
        Averaging time, steps.
    differences : int
        Of the variance it is for: 2 for Allan's, 3 for Hadamard's; it bounds what can be told.

    Returns
    -------
    Noise or None
        None with fewer than 30 phases at that distance, or without any noise.
    """
    z = phase[::steps]
    if z.size < FEWEST_TO_IDENTIFY:
        return None
    t = np.linspace(-1.0, 1.0, z.size)
    # A frequency offset and a drift are no noise.
    z = z - np.polynomial.Polynomial.fit(t, z, 2)(t)
    for taken in range(differences + 1):
        z = z - z.mean()
        power = float(z @ z)
        if power == 0.0:
            return None
        lag = float(z[1:] @ z[:-1]) / power
        ratio = lag / (1.0 + lag) if lag > -1.0 else -inf
        if ratio < 0.25 or taken == differences:
            break
        z = np.diff(z)
    alpha = 2 - round(2.0 * max(ratio, -1.0)) - 2 * taken
    return Noise.of(min(2, max(alpha, 2 - 2 * differences)))


def degrees_of_freedom(
    alpha: int, *, differences: int, steps: int, count: int, modified: bool = False
) -> float:
    """Equivalent degrees of freedom of an overlapping variance.

    Parameters
    ----------
    alpha : int
        Of the noise; ``alpha + 2 differences > 1``.
    differences : int
        2 for Allan's variance, 3 for Hadamard's.
    steps : int
        Averaging time, steps.
    count : int
        Phases at the borders of steps.
    modified : bool
        Whether phases are averaged first.

    Raises
    ------
    ValueError
        When the variance does not converge, or there are too few phases for one difference.
    """
    if alpha + 2 * differences <= 1:
        raise ValueError(f"{differences} differences do not tame noise of {alpha=}")
    length = (steps if modified else 1) + steps * differences
    terms = count - length + 1
    if terms < 1:
        raise ValueError(f"{count} phases are too few for an averaging time of {steps} steps")
    reach = min(terms, (differences + 1) * steps)
    grain = 1.0 if modified else float(steps)
    if alpha <= 0 and grain > _EXACT_STEPS:
        grain = inf
    lags = np.arange(reach + 1) / steps
    correlation = _structure(lags, grain, alpha, differences)
    own = correlation[0] ** 2
    weights = 1.0 - np.arange(1, reach) / terms
    total = own + (1.0 - reach / terms) * correlation[reach] ** 2
    total += 2.0 * float(weights @ correlation[1:reach] ** 2)
    return float(own * terms / total)


def chi_square_bounds(degrees: float, *, confidence: float) -> tuple[float, float]:
    """Lower and upper bound of a deviation, over its estimate (NIST SP 1065, 5.3.1)."""
    from scipy.special import chdtri

    tail = (1.0 - confidence) / 2.0
    return sqrt(degrees / chdtri(degrees, tail)), sqrt(degrees / chdtri(degrees, 1.0 - tail))


def _structure(t: Series, grain: float, alpha: int, differences: int) -> Series:
    """Covariance of two differences t averaging times apart, to a factor."""
    # Binomials of order 2d with alternating signs, from the middle outwards.
    weights = {2: (6.0, -4.0, 1.0), 3: (20.0, -15.0, 6.0, -1.0)}[differences]
    phase = _averaged(grain, alpha)
    return sum(
        (w * (phase(t - at) + phase(t + at)) for at, w in enumerate(weights[1:], start=1)),
        weights[0] * phase(t),
    )


def _averaged(grain: float, alpha: int) -> Callable[[Series], Series]:
    if grain == inf:
        return lambda t: _generalized(t, alpha + 2)
    step = 1.0 / grain
    return lambda t: (
        grain**2
        * (
            2.0 * _generalized(t, alpha)
            - _generalized(t - step, alpha)
            - _generalized(t + step, alpha)
        )
    )


def _generalized(t: Series, alpha: int) -> Series:
    """Generalized autocovariance of the phase of noise with this exponent, to a factor.

    Its sign is left out: only squares of what comes of it enter.
    """
    size = np.abs(t)
    power = size ** (3 - alpha)
    if alpha % 2 == 0:
        return power
    return np.asarray(power * np.log(size, out=np.zeros_like(size), where=size > 0))
