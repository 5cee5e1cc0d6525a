"""The pass-band's shape, learned from the noise that all hops of a sweep share."""

from collections.abc import Sequence

import numpy as np

from sniff.model import Doubles
from sniff.sweep.grid import HopSpectrum

_QUANTILE = 0.4
"""Below the median: lines only add, and may stand in many hops at the same place."""

FEWEST_HOPS = 5
"""Of five the quantile is of noise though two show signals at the same distance. Of fewer, what is
wider than a line cannot be told from the filter's shape: a weak signal in one hop or two passed for
2 to 6 dB of pass-band."""

_LEARNED_TO = 0.01  # relative standard deviation wanted of each point
_MOST_RIPPLE_DB = 10.0  # a usable span that differs by more is signals, not a filter
_SMOOTH_DEGREE = 6  # of a polynomial in decibels
_MOST_UNEVEN_DB = 0.8
"""What Butterworth filters of order 1 to 8, 9 dB down at the edge, leave of it is half as much;
signals at one distance from many centres are humps that leave more."""


def learn_shape(hops: Sequence[HopSpectrum], *, half_bins: int, guard_bins: int) -> Doubles | None:
    """Power gain against distance from the centre, 1 over the inner half of the usable span.

    At each distance the lower part of what the hops show, each over its own median: noise is the
    same in all of them, signals are not. The result is smoothed as far as the number of averages
    asks for. A shape that no filter has is none: signals stand at the same distance from many
    centres where their raster is about that of the hops.

    Parameters
    ----------
    hops : sequence of HopSpectrum
    half_bins, guard_bins : int
        As in `HopPlan`.

    Returns
    -------
    ndarray of float64, shape (2 * half_bins + 1,), or None
        None where it could not be learned: few hops, no noise, or signals everywhere.
    """
    offsets = np.arange(-half_bins, half_bins + 1)
    clear = np.abs(offsets) > guard_bins
    rows = []
    for hop in hops:
        middle = hop.psd.size // 2
        row = hop.psd[middle - half_bins : middle + half_bins + 1]
        level = float(np.median(row[clear]))
        if level > 0.0:
            rows.append(row / np.float32(level))
    if len(rows) < FEWEST_HOPS:
        return None
    shape = np.quantile(np.stack(rows), _QUANTILE, axis=0).astype(np.float64)
    shape = np.interp(offsets, offsets[clear], shape[clear])
    averages = len(rows) * float(np.mean([hop.effective_averages for hop in hops]))
    shape = _smooth(shape, _width(averages, offsets.size))
    shape /= np.median(shape[clear & (np.abs(offsets) <= half_bins / 2)])
    if not shape.min() > 0.0 or 10.0 * np.log10(shape.max() / shape.min()) > _MOST_RIPPLE_DB:
        return None
    if _unevenness_db(shape) > _MOST_UNEVEN_DB:
        return None
    return np.asarray(shape, dtype=np.float64)


def _unevenness_db(shape: Doubles) -> float:
    """How far a shape departs from the slopes of a filter; what is narrow apart, such as what the
    receiver itself shows at a fixed distance from its centre."""
    place = np.linspace(-1.0, 1.0, shape.size)
    level_db = 10.0 * np.log10(_smooth(shape, max(3, shape.size // 24) | 1))
    even = np.polynomial.Chebyshev.fit(place, level_db, _SMOOTH_DEGREE)(place)
    return float(np.abs(level_db - even).max())


def _width(averages: float, size: int) -> int:
    """Bins to smooth over, odd. A quantile's variance is about π/2 of a mean's."""
    wanted = np.pi / 2.0 / averages / _LEARNED_TO**2
    return int(np.clip(wanted, 3, max(3, size // 12))) | 1


def _smooth(shape: Doubles, width: int) -> Doubles:
    """Running median, then running mean; odd-mirrored at the ends, so that a slope stays one."""
    padded = np.pad(shape, width, mode="reflect", reflect_type="odd")
    rows = np.lib.stride_tricks.sliding_window_view(padded, width)
    medians = np.median(rows, axis=1)
    means = np.convolve(medians, np.full(width, 1.0 / width), mode="valid")
    return np.asarray(means[1:-1], dtype=np.float64)
