"""The mean frequency of a carrier whose phase swings with its modulation, and its uncertainty.

The phase of a modulated carrier is a straight line (the carrier) plus the modulation and noise.
Averaged over blocks much longer than a period of the audio, the modulation is all but gone; what
is left decides how well the slope is known. It may be white (receiver noise, the rest of a tone),
a random walk of phase (audio that reaches down to zero frequency, clicks), or a random walk of
frequency (an oscillator that wanders): the strengths of the three are fitted to the spectrum of
what the straight line leaves, and the variance of the slope follows from them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from sniff.model import Doubles

_MOST_BLOCKS = 256
_LEAST_BLOCKS = 64  # fewer do not show what kind of noise they hold
_STEPS_PER_BLOCK = 4
_PROVEN = 10.0  # twice the gain in log-likelihood from which on a further kind of noise is believed
_ROUNDS = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanFrequency:
    """The slope of a phase.

    Attributes
    ----------
    offset_hz, u_hz : float
        Mean frequency from the channel's zero and its standard uncertainty (k = 1), Hz.
    drift_hz_per_s : float
        Even change of the frequency over the stretch, Hz/s.
    seconds : float
        Length, s.
    """

    offset_hz: float
    u_hz: float
    drift_hz_per_s: float
    seconds: float


def mean_frequency(phase: Doubles, step_s: float) -> MeanFrequency:
    """Mean frequency of a gap-free stretch.

    The frequency is weighted with a Hann window over the stretch, which means the phase with a
    sine: a tone that does not fit into the stretch with whole periods then hardly moves the mean.
    The price, against plain least squares: for white noise of the phase u is 1.28 times the
    Cramér-Rao bound (variance 2π² instead of 12 over T³).

    Parameters
    ----------
    phase : ndarray of float64, shape (n,)
        Unwrapped, cycles, in even steps; at least 4.
    step_s : float
        Length of a step, s.

    Raises
    ------
    ValueError
        When it is shorter.
    """
    return mean_frequencies([phase], step_s)[0]


def mean_frequencies(phases: Sequence[Doubles], step_s: float) -> list[MeanFrequency]:
    """Mean frequency of each of several stretches, as `mean_frequency`.

    Stretches too short to show what kind of noise they hold share one estimate of it: each alone
    would hardly know its own.
    """
    slopes = [_Slope(phase) for phase in phases]
    short = [slope for slope in slopes if slope.rest.size < _LEAST_BLOCKS]
    free = sum(max(0, slope.rest.size - 3) for slope in short)
    squares = sum(float((slope.rest**2).sum()) for slope in short)
    common = squares / max(free, 1)
    return [slope.result(step_s, common) for slope in slopes]


class _Slope:
    """A straight line through the phase, and what it leaves."""

    def __init__(self, phase: Doubles) -> None:
        if phase.size < 4:
            raise ValueError(f"{phase.size} steps are too few for a slope")
        blocks, self._hop = _blocks(phase)
        self._steps = phase.size
        k = np.arange(blocks.size) - (blocks.size - 1) / 2.0
        line = np.polynomial.polynomial.polyfit(k, blocks, 2)
        self.rest: Doubles = blocks - np.polynomial.polynomial.polyval(k, line)
        weights = np.sin(2.0 * np.pi * k / blocks.size)
        self._weights: Doubles = weights / (weights * k).sum()
        self._slope = float((self._weights * blocks).sum())
        self._bend = 2.0 * float(line[2])

    def result(self, step_s: float, common: float) -> MeanFrequency:
        """With `common`, the white noise of short stretches, cycles²."""
        if self.rest.size < _LEAST_BLOCKS:
            variance = common * float((self._weights**2).sum())
        else:
            variance = _variance(self.rest, self._weights)
        hop_s = self._hop * step_s
        return MeanFrequency(
            offset_hz=self._slope / hop_s,
            u_hz=sqrt(variance) / hop_s,
            drift_hz_per_s=self._bend / hop_s**2,
            seconds=self._steps * step_s,
        )


def _blocks(phase: Doubles) -> tuple[Doubles, int]:
    """Means of the phase under Hann windows of two hops, and the hop in steps.

    Such windows sum to one: no information is lost, and a tone is suppressed with the third power
    of its periods in a block.
    """
    if phase.size < (_LEAST_BLOCKS + 1) * _STEPS_PER_BLOCK:
        return phase, 1
    hop = phase.size // min(_MOST_BLOCKS, phase.size // _STEPS_PER_BLOCK)
    whole = phase.size // hop * hop
    first = (phase.size - whole) // 2  # keeps the middle: with drift, the mean hangs on it
    rows = phase[first : first + whole].reshape(-1, hop)
    window = 0.5 - 0.5 * np.cos(np.pi * (np.arange(2 * hop) + 0.5) / hop)
    halves = rows @ (window.reshape(2, hop).T / hop)
    return halves[:-1, 0] + halves[1:, 1], hop


def _variance(rest: Doubles, weights: Doubles) -> float:
    """Variance of ``sum(weights * phase)``, from the noise that the rest shows."""
    size = rest.size
    taper = np.hanning(size + 2)[1:-1]
    power = np.abs(np.fft.rfft(rest * taper)) ** 2 / (taper**2).sum()
    # The parabola that was taken out, smeared by the taper, spoils the first bins; above a quarter
    # of the rate the windows of the blocks roll off.
    chosen = np.arange(3, max(8, size // 4))
    f = chosen / size
    power = power[chosen]
    white = (1.0 + np.cos(2.0 * np.pi * f) / 3.0) / (4.0 / 3.0)  # windows overlap by a half
    walk = 1.0 / (4.0 * np.sin(np.pi * f) ** 2)
    kinds = np.stack([white, white * walk, white * walk**2])
    strengths, misfit = _fit(power, kinds[:1])
    for count in (2, 3):
        more, better = _fit(power, kinds[:count])
        if misfit - better > _PROVEN:
            strengths, misfit = more, better
    # Each kind as steps of the phase or of the frequency, which reach all later blocks.
    once = np.cumsum(weights[::-1])[::-1]
    # A wander of the frequency is in the mean itself: it counts only where the slope weighs it
    # otherwise than the mean does.
    twice = np.cumsum((once - once[1:].mean())[::-1])[::-1]
    gains = [float((weight**2).sum()) for weight in (weights, once, twice)]
    return float(sum(s * g for s, g in zip(strengths, gains, strict=False)))


def _fit(power: Doubles, kinds: Doubles) -> tuple[list[float], float]:
    """Non-negative strengths of some shapes of spectrum by Whittle's likelihood, and twice its
    negative logarithm; by multiplicative steps (Févotte, Bertin and Durrieu 2009, Neural
    Computation 21, 793: Itakura-Saito divergence)."""
    strengths = np.array([float((power / kind).mean()) / len(kinds) for kind in kinds])
    strengths = np.maximum(strengths, 1e-300)
    for _ in range(_ROUNDS if len(kinds) > 1 else 1):
        model = np.maximum(strengths @ kinds, 1e-300)
        strengths = strengths * np.sqrt((kinds @ (power / model**2)) / (kinds @ (1.0 / model)))
    model = np.maximum(strengths @ kinds, 1e-300)
    return strengths.tolist(), 2.0 * float((np.log(model) + power / model).sum())
