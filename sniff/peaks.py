"""Peaks: the noise floor under a spectrum, and what stands out of it at a stated false-alarm rate.

With K independent averages a bin of white noise is Gamma-distributed with shape K about the floor
(Welch 1967); the floor itself is a median over neighbours and therefore uncertain, so their ratio
follows an F distribution, and so does the threshold.
"""

from dataclasses import dataclass

import numpy as np

from sniff.model import Doubles, Spectrum
from sniff.windows import Window

DEFAULT_FALSE_ALARM_RATE = 1e-3
"""One look at pure noise in 1,000 shows any line at all."""

DETECTION_PROBABILITY = 0.95
"""With which a line at the would-see level is detected."""

_REACH = 96  # bins on either side that make the local floor
_HUMP = 2.0  # local floor over the wide one, above which it is a signal and not the pass-band
_LEAST_DENSITY = 1e-30  # FS²/Hz: samples that are all zero have a floor too
_MOST_SUMMITS = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Floor:
    """Noise floor of a spectrum and the threshold above it.

    Attributes
    ----------
    density, threshold : ndarray of float64, shape (n,)
        FS²/Hz.
    """

    density: Doubles
    threshold: Doubles

    def __post_init__(self) -> None:
        self.density.flags.writeable = False
        self.threshold.flags.writeable = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Summit:
    """A local maximum above the threshold.

    Attributes
    ----------
    bin : int
        Where it is highest.
    first, last : int
        Bins it reaches over, the last included: to the valley before its neighbour, or to where
        it sinks into the floor.
    run : int
        Number of the unbroken stretch above the threshold that it belongs to.
    valley_ratio : float
        Density at its top over that in the shallower of the valleys to its neighbours in the run;
        infinite for the only one.
    """

    bin: int
    first: int
    last: int
    run: int
    valley_ratio: float


def noise_floor(spectrum: Spectrum, *, false_alarm_rate: float = DEFAULT_FALSE_ALARM_RATE) -> Floor:
    """Estimate the noise floor and the detection threshold.

    The floor is the median of the bins about each bin, which follows the receiver's pass-band and
    passes over lines; where that median stands far above the surroundings on both sides it is a
    broad signal, and the surroundings count instead. It is no lower than what the transform's own
    rounding leaves, or samples without noise would show lines of its making.

    Parameters
    ----------
    spectrum : Spectrum
        At least 16 bins.
    false_alarm_rate : float
        Chance that a spectrum of noise alone has any bin above the threshold, in (0, 0.5].

    Raises
    ------
    ValueError
        When that chance lies outside.
    """
    if not 0 < false_alarm_rate <= 0.5:
        raise ValueError(f"{false_alarm_rate=} must lie within 0 and 0.5")
    from scipy.special import fdtri, gammaincinv

    psd = spectrum.psd
    averages = spectrum.effective_averages
    reach = min(_REACH, psd.size // 4)
    local = _running_quantile(psd, reach, 0.5) / (gammaincinv(averages, 0.5) / averages)
    wide = _surroundings(psd) / (gammaincinv(averages, 0.25) / averages)
    density = np.where(local > _HUMP * wide, wide, local)
    density = np.maximum(density, _rounding_density(spectrum))
    # Neighbouring bins of a window are correlated over about its noise bandwidth, and a median is
    # π/2 times as uncertain as a mean.
    independent = 2 * reach / spectrum.enbw_bins / (np.pi / 2)
    per_bin = false_alarm_rate / psd.size
    ratio = fdtri(2 * averages, 2 * averages * independent, 1.0 - per_bin)
    return Floor(density=density, threshold=density * float(ratio))


def _rounding_density(spectrum: Spectrum) -> float:
    """Noise of a transform in single precision, FS²/Hz, spread over the span: its relative RMS
    error grows as the precision times the root of log2 of its length (Schatzman, SIAM Journal on
    Scientific Computing 17, 1996; from memory)."""
    precision = float(np.finfo(np.float32).eps)
    relative = precision**2 * np.log2(spectrum.psd.size)
    return max(float(spectrum.psd.mean()) * float(relative), _LEAST_DENSITY)


def would_see_ratio(spectrum: Spectrum, floor: Floor) -> Doubles:
    """Power of the weakest line that would be detected, over the noise power in one RBW.

    Detected with `DETECTION_PROBABILITY`, at the worst place between two bins. The bin's power is
    a non-central chi-square variable of 2K degrees of freedom, 2K times its mean over the floor.

    Returns
    -------
    ndarray of float64, shape (n,)
    """
    from scipy.special import chndtrinc, ndtri

    averages = spectrum.effective_averages
    ratio = float((floor.threshold / floor.density)[0])
    missed = 1.0 - DETECTION_PROBABILITY
    if averages < 200:
        excess = float(chndtrinc(2 * averages * ratio, 2 * averages, missed)) / (2 * averages)
    else:
        # Normal limit; mean 1 + s, variance (1 + 2 s) / K.
        z = -float(ndtri(missed))
        excess = ratio - 1.0
        for _ in range(20):
            excess = ratio - 1.0 + z * np.sqrt((1.0 + 2.0 * excess) / averages)
    loss = 10.0 ** (Window.named(spectrum.window).scalloping_db / 10.0)
    return np.full(spectrum.psd.size, excess * loss)


def find_summits(spectrum: Spectrum, floor: Floor) -> tuple[Summit, ...]:
    """Local maxima above the threshold that stand out of their own surroundings.

    A maximum counts when the valley between it and any higher one is at least 4 dB deep, and
    deeper than the spectrum's own noise: the ripple of a modulated signal is not many lines.

    Returns
    -------
    tuple of Summit
        Strongest first, at most 200.
    """
    psd = spectrum.psd
    above = psd > floor.threshold
    if not above.any():
        return ()
    ripple_db = 4.0 * 4.343 / np.sqrt(spectrum.effective_averages)
    depth = 10.0 ** (max(4.0, min(ripple_db, 12.0)) / 10.0)
    found: list[Summit] = []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]]).astype(np.int8)))
    for run, (start, stop) in enumerate(zip(edges[::2], edges[1::2], strict=True)):
        summits = _summits(psd, int(start), int(stop) - 1, depth)
        for at, (top, first, last) in enumerate(summits):
            valleys = ([psd[first]] if at else []) + ([psd[last]] if at + 1 < len(summits) else [])
            ratio = float(psd[top] / max(valleys)) if valleys else float("inf")
            found.append(Summit(bin=top, first=first, last=last, run=run, valley_ratio=ratio))
    found.sort(key=lambda summit: -psd[summit.bin])
    return tuple(found[:_MOST_SUMMITS])


def _summits(psd: Doubles, start: int, stop: int, depth: float) -> list[tuple[int, int, int]]:
    """Split a run of bins at valleys `depth` below the lower of the summits beside them."""
    inside = psd[start : stop + 1]
    peaks = np.flatnonzero(
        (inside >= np.concatenate([[-1.0], inside[:-1]]))
        & (inside > np.concatenate([inside[1:], [-1.0]]))
    )
    tops: list[int] = []
    valleys: list[int] = []
    for peak in peaks:
        at = int(peak)
        while tops:
            valley = tops[-1] + int(inside[tops[-1] : at + 1].argmin())
            lower = min(inside[tops[-1]], inside[at])
            if inside[valley] * depth <= lower:
                tops.append(at)
                valleys.append(valley)
                break
            if inside[at] <= inside[tops[-1]]:
                break
            # The new one is higher and no deep valley lies between: it takes the other's place,
            # and must then stand its ground against the one before that.
            tops.pop()
            if valleys:
                valleys.pop()
        else:
            tops.append(at)
    bounds = [0, *valleys, inside.size - 1]
    return [(start + top, start + bounds[i], start + bounds[i + 1]) for i, top in enumerate(tops)]


def _surroundings(psd: Doubles) -> Doubles:
    """Lower quartile of a quarter of the span on either side, whichever is the higher.

    A signal stands above both its sides; the shoulder of the pass-band only above its outer one.
    """
    reach = psd.size // 4
    step = max(1, reach // 16)
    rows = np.lib.stride_tricks.sliding_window_view(psd, reach)[::step]
    quartile = np.quantile(rows[:, :: max(1, reach // 256)], 0.25, axis=1)
    first = np.arange(quartile.size) * step
    at = np.arange(psd.size)
    left = np.where(at >= reach, np.interp(at - reach, first, quartile), 0.0)
    right = np.where(at + reach <= psd.size, np.interp(at, first, quartile), 0.0)
    return np.maximum(left, right)


def _running_quantile(psd: Doubles, reach: int, share: float) -> Doubles:
    """Quantile of the bins within `reach`, mirrored at the ends; interpolated in log between."""
    step = max(1, reach // 8)
    padded = np.pad(psd, reach, mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)[::step]
    thinned = windows[:, :: max(1, reach // 256)]
    level = np.quantile(thinned, share, axis=1)
    at = np.arange(0, psd.size, step, dtype=np.float64)
    tiny = np.finfo(np.float64).tiny
    return np.asarray(np.exp(np.interp(np.arange(psd.size), at, np.log(np.maximum(level, tiny)))))
