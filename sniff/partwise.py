"""Partwise: the mean frequency of a line that moves, from parts too short for it to smear.

A drift that takes a line through several widths of a transform leaves no single maximum; in a
tenth of a second it is a line again. A mean of parts, each counted alike, is the mean over time.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, pi, sqrt

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles
from sniff.refine import LOCK_RATIO
from sniff.zoom import Complexes, Zoomed


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """Mean frequency of a line.

    Attributes
    ----------
    hz, u_hz : float
        On the uncorrected scale, and its standard uncertainty (k = 1) by the scatter of its parts
        about a straight line, Hz.
    power : float
        Mean power, FS².
    """

    hz: float
    u_hz: float
    power: float


def mean_by_parts(
    stretches: Sequence[Zoomed], *, part_s: float, reach_hz: float, fewest: int
) -> Mean | None:
    """Mean frequency over all of some stretches.

    Parameters
    ----------
    stretches : sequence of Zoomed
        One line's, about the same frequency.
    part_s : float
        Length of a part, s.
    reach_hz : float
        How far from the zoom's middle the line may be, Hz.
    fewest : int
        Parts in which it must be clear, 3 at the least.

    Returns
    -------
    Mean or None
        None with fewer clear parts.
    """
    parts = [_parts_of(stretch, part_s, reach_hz) for stretch in stretches]
    if sum(part.hz.size for part in parts) < fewest:
        return None
    t = np.concatenate([part.times_s for part in parts])
    f = np.concatenate([part.hz for part in parts])
    # About a straight line: a drift meanwhile is no scatter, and shifts no mean where parts are
    # missing.
    middle_s = sum(part.count * part.middle_s for part in parts) / sum(p.count for p in parts)
    design = np.stack([np.ones(t.size), t - t.mean()], axis=1)
    fitted, *_ = np.linalg.lstsq(design, f - f.mean(), rcond=None)
    left = f - f.mean() - design @ fitted
    return Mean(
        hz=float(f.mean() + fitted[1] * (middle_s - t.mean())),
        u_hz=sqrt(float(left @ left) / (f.size - 2) / f.size),
        power=float(np.concatenate([part.powers for part in parts]).mean()),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Parts:
    """Parts of a stretch in which the line is clear: time, Hz, power; number and middle of all."""

    times_s: Doubles
    hz: Doubles
    powers: Doubles
    count: int
    middle_s: float


def _parts_of(stretch: Zoomed, part_s: float, reach_hz: float) -> _Parts:
    """Cut a stretch into parts and find the line in each.

    The strongest line within reach by a transform; then the turn from the first half to the second,
    which is free of the transform's grid and costs a third of the variance.
    """
    count = max(1, round(stretch.values.size / (part_s * stretch.rate_hz)))
    length = stretch.values.size // count
    if length < 4:
        empty = np.empty(0)
        return _Parts(times_s=empty, hz=empty, powers=empty, count=0, middle_s=0.0)
    # Spread evenly, so that their middle is the stretch's.
    first = np.linspace(0, stretch.values.size - length, count).round().astype(int)
    places = first[:, None] + np.arange(length)
    table, times_s = stretch.values[places], stretch.times_s[places].mean(axis=1)
    middle_s = float(times_s.mean())
    seen = np.isfinite(table).all(axis=1)
    table, times_s = table[seen], times_s[seen]
    coarse, clear = _strongest(table, reach_hz / stretch.rate_hz)
    table, times_s, coarse = table[clear], times_s[clear], coarse[clear]
    turned = table * np.exp(-2j * pi * coarse[:, None] * np.arange(length))
    half = length // 2
    early, late = turned[:, :half].sum(axis=1), turned[:, length - half :].sum(axis=1)
    fine = np.angle(late * early.conj()) / (2.0 * pi * (length - half))
    return _Parts(
        times_s=times_s,
        hz=stretch.center_hz + (coarse + fine) * stretch.rate_hz,
        powers=np.abs(turned.mean(axis=1)) ** 2,
        count=count,
        middle_s=middle_s,
    )


def _strongest(table: Complexes, reach: float) -> tuple[Doubles, npt.NDArray[np.bool_]]:
    """Strongest frequency of each row, cycles per frame, and whether it is clear of the noise."""
    size = 2 << (table.shape[1] - 1).bit_length()
    bins = np.fft.fftfreq(size)
    inside = np.abs(bins) <= reach
    powers = np.abs(np.fft.fft(table, size, axis=1)[:, inside]) ** 2
    # The median of noise powers is log 2 of their mean; a line in a few bins does not move it.
    noise = np.median(powers, axis=1) / log(2.0)
    clear = powers.max(axis=1, initial=0.0) > (LOCK_RATIO + 2.0 * log(max(len(table), 1))) * noise
    return bins[inside][powers.argmax(axis=1)] if table.size else np.empty(0), clear
