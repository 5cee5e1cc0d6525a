"""The pass-band's shape, learned from the noise that all hops of a sweep share."""

from collections.abc import Sequence

import numpy as np

from sniff.model import Doubles
from sniff.sweep.grid import HopSpectrum

_QUANTILE = 0.4
"""Below the median: lines only add, and may stand in many hops at the same place."""

_LEARNED_TO = 0.01  # relative standard deviation wanted of each point
_FEW_HOPS = 4
_MOST_RIPPLE_DB = 10.0  # a usable span that differs by more is signals, not a filter


def learn_shape(hops: Sequence[HopSpectrum], *, half_bins: int, guard_bins: int) -> Doubles | None:
    """Power gain against distance from the centre, 1 over the inner half of the usable span.

    At each distance the lower part of what the hops show, each over its own median: noise is the
    same in all of them, signals are not. The result is smoothed as far as the number of averages
    asks for.

    Parameters
    ----------
    hops : sequence of HopSpectrum
    half_bins, guard_bins : int
        As in `HopPlan`.

    Returns
    -------
    ndarray of float64, shape (2 * half_bins + 1,), or None
        None where it could not be learned: no noise, or signals everywhere.
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
    if not rows:
        return None
    shape = np.quantile(np.stack(rows), _QUANTILE, axis=0).astype(np.float64)
    shape = np.interp(offsets, offsets[clear], shape[clear])
    averages = len(rows) * float(np.mean([hop.effective_averages for hop in hops]))
    shape = _smooth(shape, _width(averages, len(rows), offsets.size))
    shape /= np.median(shape[clear & (np.abs(offsets) <= half_bins / 2)])
    if not shape.min() > 0.0 or 10.0 * np.log10(shape.max() / shape.min()) > _MOST_RIPPLE_DB:
        return None
    return np.asarray(shape, dtype=np.float64)


def _width(averages: float, hops: int, size: int) -> int:
    """Bins to smooth over, odd. A quantile's variance is about π/2 of a mean's."""
    wanted = np.pi / 2.0 / averages / _LEARNED_TO**2
    widest = max(3, size // 12)
    if hops < _FEW_HOPS:
        wanted = widest  # then only the median along the offsets tells lines from noise
    return int(np.clip(wanted, 3, widest)) | 1


def _smooth(shape: Doubles, width: int) -> Doubles:
    """Running median, then running mean; odd-mirrored at the ends, so that a slope stays one."""
    padded = np.pad(shape, width, mode="reflect", reflect_type="odd")
    rows = np.lib.stride_tricks.sliding_window_view(padded, width)
    medians = np.median(rows, axis=1)
    means = np.convolve(medians, np.full(width, 1.0 / width), mode="valid")
    return np.asarray(means[1:-1], dtype=np.float64)
