"""The two thresholds of presence, from the distributions of a line in noise and of noise alone.

A frame's power is that of a constant in complex Gaussian noise: Rice for the amplitude, non-central
chi-square for the power (Rice, Bell Syst. Tech. J. 24 (1945) 46, sec. 3.10; Johnson, Kotz and
Balakrishnan, Continuous Univariate Distributions 2, ch. 29). The mean over M independent frames of
signal-to-noise ratio s, times 2 M / noise, has 2 M degrees of freedom and the non-centrality 2 M s.
Frames of Hann windows half-way over each other are correlated by 1/6; taking all noise as if it lay
in the common mode, ``1 + 2/6`` times the power, errs on the safe side.
"""

from dataclasses import dataclass
from math import inf

from sniff.watch.presence import GONE_BELOW, THERE_ABOVE

_HYSTERESIS = THERE_ABOVE / GONE_BELOW

FALSE_PER_HOUR = 1.0 / 24.0
"""Drop-outs that noise alone may make of a steady line."""

_MISSED = 1e-3
"""Chance that noise alone looks like the line's return in a drop-out of two resolutions."""

_COMMON_MODE = 4.0 / 3.0
_LEAST_GONE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """When a line is gone, and from when on it is back.

    Attributes
    ----------
    gone_below, there_above : float
        Parts of the line's own power, the noise's taken off.
    false_per_hour : float
        Drop-outs that noise alone makes of a steady line, at the most.
    """

    gone_below: float
    there_above: float
    false_per_hour: float


def thresholds(snr: float, *, frames: int, decisions_per_s: float) -> Thresholds | None:
    """Choose both: the highest lower one up to −7 dB that noise passes too seldom to matter.

    Parameters
    ----------
    snr : float
        Power of the line over that of the noise in one frame.
    frames : int
        Frames that a decision averages.
    decisions_per_s : float
        How often one is made.

    Returns
    -------
    Thresholds or None
        None when the line is too weak: what would keep it from false drop-outs would also make
        noise look like the line.
    """
    steps = [GONE_BELOW * (1.0 - 0.05 * number) for number in range(16)]
    for gone_below in (step for step in steps if step >= _LEAST_GONE):
        false = false_per_hour(
            snr, gone_below=gone_below, frames=frames, decisions_per_s=decisions_per_s
        )
        if false > FALSE_PER_HOUR:
            continue
        there_above = _HYSTERESIS * gone_below
        looks = 4.0 * frames  # decisions in the shortest drop-out that must be found
        if looks * noise_above(there_above, snr=snr, frames=frames) > _MISSED:
            return None  # lower still would be worse
        return Thresholds(gone_below=gone_below, there_above=there_above, false_per_hour=false)
    return None


def false_per_hour(snr: float, *, gone_below: float, frames: int, decisions_per_s: float) -> float:
    """Upper bound of the false drop-outs per hour: as if every decision stood for itself."""
    return 3600.0 * decisions_per_s * line_below(gone_below, snr=snr, frames=frames)


def line_below(part: float, *, snr: float, frames: int) -> float:
    """Chance that a line with its noise, the noise's mean taken off, shows less than this part of
    its own power in one decision."""
    from scipy.special import chndtr

    if snr == inf:
        return 0.0
    noise = _COMMON_MODE
    x = 2.0 * frames * (part * snr + 1.0) / noise
    return float(chndtr(x, 2.0 * frames, 2.0 * frames * snr / noise))


def noise_above(part: float, *, snr: float, frames: int) -> float:
    """Chance that noise alone shows more than this part of the line's power in one decision."""
    from scipy.special import chdtrc

    if snr == inf:
        return 0.0
    return float(chdtrc(2.0 * frames, 2.0 * frames * (part * snr + 1.0) / _COMMON_MODE))
