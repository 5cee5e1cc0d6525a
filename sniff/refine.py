"""Refinement: from a zoomed line to its frequency, with an honest uncertainty.

A steady line is estimated by maximum likelihood over a whole stretch, which is the whole take
unless that is very long. A line that drifts, is modulated or comes and goes has no single
frequency: then the middle of where it was is given, and how far it wandered becomes its
uncertainty.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, log, pi, sqrt

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles
from sniff.zoom import Complexes, Zoomed

Flags = npt.NDArray[np.bool_]

LOCK_RATIO = 10**1.3
"""Energy over noise density below which a maximum of the periodogram may be an outlier (the
threshold effect: Rife and Boorstyn 1974 give 13 to 17 dB after the transform)."""

_MOST_PARTS = 64
_PART_RATIO = 40.0  # 16 dB in each part: far enough above LOCK_RATIO to fade without being lost
_RARE = 1e-4  # chance that a steady line is taken for an unsteady one


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A line's frequency over a stretch.

    Attributes
    ----------
    indicated_hz, u_hz : float
        Frequency on the uncorrected scale and its standard uncertainty (k = 1), Hz.
    power : float
        Mean power while it was there, FS².
    steady : bool
        True for one frequency over the whole stretch; then `u_hz` is the Cramér-Rao bound.
    seconds : float
        Observed length of the stretch, s.
    """

    indicated_hz: float
    u_hz: float
    power: float
    steady: bool
    seconds: float


def cramer_rao_hz(*, carrier_to_noise_hz: float, seconds: float) -> float:
    """Least possible standard deviation of a frequency estimate, Hz.

    ``sqrt(6 / (C/N0 T³)) / 2π``: Rife and Boorstyn, IEEE Trans. IT-20 (1974) 591, in its form for
    long takes.

    Parameters
    ----------
    carrier_to_noise_hz : float
        Power of the line over noise power density, Hz.
    seconds : float
        Length of the take, s.
    """
    return sqrt(6.0 / (carrier_to_noise_hz * seconds**3)) / (2.0 * pi)


def refine(
    zoomed: Zoomed,
    *,
    noise_density: float,
    search_hz: float,
    crowded: bool = False,
) -> Estimate | None:
    """Estimate the frequency of a zoomed line.

    Parameters
    ----------
    zoomed : Zoomed
        The line, within `search_hz` of zero.
    noise_density : float
        Noise about the line, FS²/Hz.
    search_hz : float
        How far from zero the line may be, Hz; at most the frame rate / 2.
    crowded : bool
        True when another line passes the zoom's filter: the take is then weighted with a Hann
        window, which keeps the neighbour out and costs some of the precision.

    Returns
    -------
    Estimate or None
        None when the line is too weak to lock on.
    """
    seen = np.isfinite(zoomed.values)
    values: Complexes = np.where(seen, zoomed.values, 0.0)
    frames = int(seen.sum())
    if frames < 4:
        return None
    weights = seen.astype(np.float64)
    if crowded:
        weights *= np.hanning(values.size + 2)[1:-1]
    per_frame = noise_density * zoomed.rate_hz
    offset, power = _strongest(np.asarray(values * weights), search_hz / zoomed.rate_hz)
    power = max(power / weights.sum() ** 2 - per_frame * (weights**2).sum() / weights.sum() ** 2, 0)
    ratio = power * frames / per_frame if per_frame > 0 else float("inf")
    parts = int(min(_MOST_PARTS, ratio / _PART_RATIO, frames // 4))
    wander = _wander(values, seen, offset, parts, per_frame) if parts >= 4 else 0.0
    restless = not crowded and _restless(values, frames, power, per_frame)
    if wander is None or ratio < LOCK_RATIO or (restless and wander == 0.0):
        return _of_parts(zoomed, values, seen, search_hz, per_frame)
    return Estimate(
        indicated_hz=zoomed.center_hz + offset * zoomed.rate_hz,
        u_hz=hypot(_bound(weights, power, per_frame), wander) * zoomed.rate_hz,
        power=power,
        steady=wander == 0.0,
        seconds=frames / zoomed.rate_hz,
    )


def combine(stretches: Sequence[Estimate]) -> Estimate | None:
    """One estimate of a line that was zoomed in several stretches.

    Steady stretches that agree within their u are averaged by weight; what they disagree by, or
    what is not steady, is the line's own wander and goes into u as it stands.

    Returns
    -------
    Estimate or None
        None without a stretch.
    """
    if len(stretches) < 2:
        return stretches[0] if stretches else None
    f = np.array([stretch.indicated_hz for stretch in stretches])
    u = np.array([stretch.u_hz for stretch in stretches])
    seconds = np.array([stretch.seconds for stretch in stretches])
    power = float(np.average([stretch.power for stretch in stretches], weights=seconds))
    weights = 1.0 / np.maximum(u, 1e-12) ** 2
    mean = float(np.average(f, weights=weights))
    agree = _by_chance(float((weights * (f - mean) ** 2).sum()), f.size - 1)
    if agree and all(stretch.steady for stretch in stretches):
        return Estimate(
            indicated_hz=mean,
            u_hz=float(1.0 / sqrt(weights.sum())),
            power=power,
            steady=True,
            seconds=float(seconds.sum()),
        )
    middle = float(np.average(f, weights=seconds))
    spread = np.average((f - middle) ** 2 + u**2, weights=seconds)
    return Estimate(
        indicated_hz=middle,
        u_hz=float(sqrt(spread)),
        power=power,
        steady=False,
        seconds=float(seconds.sum()),
    )


def _restless(values: Complexes, frames: int, power: float, per_frame: float) -> bool:
    """True when the frames hold more power than one tone and the noise explain.

    Noise alone leaves 3/4 of `per_frame` in each frame (the Hann window's noise bandwidth of 1.5
    bins, half a frame rate each), a mean of about 2/3 as many independent frames.
    """
    rest = float((np.abs(values) ** 2).sum()) / frames - power
    return rest > 0.75 * per_frame * (1.0 + 5.0 * sqrt(1.5 / frames)) + 0.01 * power


def _bound(weights: Doubles, power: float, per_frame: float) -> float:
    """Standard deviation of the maximum of a weighted periodogram, cycles per frame.

    ``σ² Σw²t² / (2 a² (Σwt²)²)``, t from the weighted middle: first-order perturbation of the
    maximum; with equal weights it is the Cramér-Rao bound.
    """
    t = np.arange(weights.size, dtype=np.float64)
    t -= (weights * t).sum() / weights.sum()
    top = ((weights * t) ** 2).sum() * per_frame
    return float(sqrt(top / (2.0 * max(power, 1e-30))) / (weights * t**2).sum() / (2.0 * pi))


def _strongest(values: Complexes, reach: float) -> tuple[float, float]:
    """Maximum of |Σ v exp(-j2πfm)|² for |f| <= reach: f in cycles per frame, and the maximum."""
    size = 1 << (2 * values.size - 1).bit_length()
    spectrum = np.abs(np.fft.fft(values, size)) ** 2
    bins = np.fft.fftfreq(size)
    spectrum[np.abs(bins) > reach + 1.0 / size] = 0.0
    best = float(bins[int(np.argmax(spectrum))])
    m = np.arange(values.size, dtype=np.float64) - (values.size - 1) / 2.0
    step = 0.5 / size
    for _ in range(5):
        trial = best + step * np.array([-1.0, 0.0, 1.0])
        low, mid, high = np.abs(np.exp(-2j * pi * np.outer(trial, m)) @ values) ** 2
        bend = low - 2.0 * mid + high
        if bend >= 0:
            break
        best += step * float(np.clip(0.5 * (low - high) / bend, -2.0, 2.0))
        step /= 4.0
    return best, float(np.abs(np.exp(-2j * pi * best * m) @ values) ** 2)


def _wander(
    values: Complexes, seen: Flags, offset: float, parts: int, per_frame: float
) -> float | None:
    """How far a line departs from one frequency, cycles per frame rms.

    The phase and level of each part stand against the straight line and the constant that a steady
    tone would show, each with the variance that noise alone would give it. Zero when noise
    explains all; None when not even a smooth course of the phase does.
    """
    turned = values * np.exp(-2j * pi * offset * np.arange(values.size))
    edges = np.linspace(0, values.size, parts + 1).astype(int)
    counts = np.add.reduceat(seen.astype(np.float64), edges[:-1])
    good = counts > 0
    means = np.add.reduceat(turned, edges[:-1])[good] / counts[good]
    size = abs(means.mean())
    if means.size < 4 or size == 0:
        return None
    departure = means * np.conj(means.mean()) / size
    level_chi2 = float(((departure.real - size) ** 2 * counts[good]).sum() / (per_frame / 2))
    sway_chi2 = float((departure.imag**2 * counts[good]).sum() / (per_frame / 2))
    # One level, one phase and one frequency were fitted.
    if _by_chance(level_chi2 + sway_chi2, 2 * means.size - 3):
        return 0.0
    phase = np.unwrap(np.angle(departure))
    if np.abs(np.diff(phase)).max() > 1.5:
        return None
    t = ((edges[:-1] + edges[1:]) / 2.0)[good]
    power = np.abs(departure)
    for degree in range(2, min(7, means.size - 2)):
        course = np.polynomial.Polynomial.fit(t, phase, degree, w=np.sqrt(counts[good]) * power)
        misfit = np.abs(departure * np.exp(-1j * course(t)) - np.median(power)) ** 2
        if _by_chance(float((misfit * counts[good]).sum() / (per_frame / 2)), 2 * means.size - 4):
            slope = course.deriv()(np.linspace(t[0], t[-1], 64)) / (2.0 * pi)
            return float(slope.std())
    return None


def _by_chance(chi2: float, degrees: int) -> bool:
    from scipy.special import chdtrc

    return bool(chdtrc(degrees, chi2) > _RARE)


def _of_parts(
    zoomed: Zoomed, values: Complexes, seen: Flags, search_hz: float, per_frame: float
) -> Estimate | None:
    """Middle and spread of a line that is not one steady tone, from the parts that hold it."""
    length = max(4, -(-values.size // _MOST_PARTS))
    count = values.size // length
    table = values[: count * length].reshape(count, length)
    held = seen[: count * length].reshape(count, length).sum(axis=1)
    offsets, powers = _strongest_of_rows(table, search_hz / zoomed.rate_hz)
    powers = powers / np.maximum(held, 1) ** 2
    energy = powers * held / per_frame if per_frame > 0 else np.full(count, np.inf)
    clear = (held >= length / 2) & (energy > LOCK_RATIO + 2.0 * log(max(count, 1)))
    if not clear.any():
        return None
    # A line that was up for a small part of the time only is measured where it was up.
    strongest = np.sort(powers[clear])[-max(1, count // 16) :].mean()
    there = clear & (powers > strongest / 4.0)
    f, n, power = offsets[there], held[there], powers[there]
    weights = n**3 * power / (6.0 * per_frame) * (2.0 * pi) ** 2  # Cramér-Rao, each part
    weights = np.minimum(weights, 4.0 * np.median(weights))  # no single part may decide
    middle, u = float(np.average(f, weights=weights)), 1.0 / sqrt(weights.sum())
    if f.size == 1:
        u = 1.0 / (length * sqrt(12.0))  # how far it may have moved within, unseen
    elif not _by_chance(float((weights * (f - middle) ** 2).sum()), f.size - 1):
        middle = _weighted_quantile(f, weights, 0.5)
        sides = [_weighted_quantile(f, weights, share) for share in (0.1587, 0.8413)]
        u = hypot(u, (sides[1] - sides[0]) / 2.0)
    return Estimate(
        indicated_hz=zoomed.center_hz + middle * zoomed.rate_hz,
        u_hz=u * zoomed.rate_hz,
        power=float(max(np.median(power) - per_frame / length, 0.0)),
        steady=False,
        seconds=float(seen.sum()) / zoomed.rate_hz,
    )


def _strongest_of_rows(table: Complexes, reach: float) -> tuple[Doubles, Doubles]:
    """As `_strongest`, for each row; refined by a parabola through a four-fold padded transform."""
    size = 4 * (1 << (table.shape[1] - 1).bit_length())
    spectrum = np.abs(np.fft.fft(table, size, axis=1)) ** 2
    bins = np.fft.fftfreq(size)
    spectrum[:, np.abs(bins) > reach + 1.0 / size] = 0.0
    top = spectrum.argmax(axis=1)
    rows = np.arange(table.shape[0])
    mid = spectrum[rows, top]
    low, high = spectrum[rows, top - 1], spectrum[rows, (top + 1) % size]
    bend = low - 2.0 * mid + high
    shift = np.where(bend < 0, 0.5 * (low - high) / np.where(bend < 0, bend, 1.0), 0.0)
    return bins[top] + np.clip(shift, -1.0, 1.0) / size, mid


def _weighted_quantile(values: Doubles, weights: Doubles, share: float) -> float:
    order = np.argsort(values)
    mass = np.cumsum(weights[order]) - 0.5 * weights[order]
    return float(np.interp(share * weights.sum(), mass, values[order]))
