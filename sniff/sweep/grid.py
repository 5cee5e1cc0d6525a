"""One exact grid: each hop's samples are turned so that its bins fall on the sweep's own points."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sniff.model import IQBlock, Spectrum

Floats = npt.NDArray[np.float32]

_ROW = 2048


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HopSpectrum:
    """What one hop showed, all passes together.

    Attributes
    ----------
    center_bin : int
        Grid point of its bin ``psd.size // 2``.
    center_hz : float
        Where the tuner really stood, at most half a bin from there, Hz.
    psd : ndarray of float32, shape (segment,)
        Mean density, FS²/Hz.
    max_hold : ndarray of float32, same shape, or None
        Largest density of any one segment.
    averages : int
        Segments, overlapping ones counted too.
    effective_averages : float
        Independent ones.
    """

    center_bin: int
    center_hz: float
    psd: Floats
    max_hold: Floats | None
    averages: int
    effective_averages: float


def grid_bin(center_hz: float, bin_hz: float) -> int:
    """The grid point nearest to a centre."""
    return round(center_hz / bin_hz)


def turned(blocks: Iterable[IQBlock], *, bin_hz: float) -> Iterator[IQBlock]:
    """The same signal, with its centre moved by at most half a bin onto the grid.

    A product with a phasor whose phase runs on over blocks and gaps; nothing is interpolated.
    """
    first_index: int | None = None
    row = np.empty(0, dtype=np.complex64)
    for block in blocks:
        center_hz = grid_bin(block.center_hz, bin_hz) * bin_hz
        # Per sample: what lay at the old centre belongs so far from the new one.
        step = (block.center_hz - center_hz) / block.rate_hz
        if first_index is None:
            first_index = block.index
            row = np.exp(2j * np.pi * step * np.arange(_ROW)).astype(np.complex64)
        count = -(-block.samples.size // _ROW)
        turns = step * (block.index - first_index + _ROW * np.arange(count, dtype=np.float64))
        phasor = np.exp(2j * np.pi * np.mod(turns, 1.0)).astype(np.complex64)[:, np.newaxis] * row
        yield IQBlock(
            samples=block.samples * phasor.ravel()[: block.samples.size],
            rate_hz=block.rate_hz,
            center_hz=center_hz,
            index=block.index,
        )


def hop_of(spectrum: Spectrum, *, center_hz: float) -> HopSpectrum:
    """A hop of one pass, from the spectrum of its turned samples."""
    hold = spectrum.max_hold
    return HopSpectrum(
        center_bin=grid_bin(spectrum.center_hz, spectrum.bin_hz),
        center_hz=center_hz,
        psd=spectrum.psd.astype(np.float32),
        max_hold=None if hold is None else hold.astype(np.float32),
        averages=spectrum.averages,
        effective_averages=spectrum.effective_averages,
    )


def merged(first: HopSpectrum, again: HopSpectrum) -> HopSpectrum:
    """Two passes over one hop; both at the same grid point."""
    averages = first.effective_averages + again.effective_averages
    share = again.effective_averages / averages
    hold = first.max_hold
    if hold is not None and again.max_hold is not None:
        hold = np.maximum(hold, again.max_hold)
    return replace(
        first,
        psd=np.asarray(first.psd + share * (again.psd - first.psd), dtype=np.float32),
        max_hold=hold,
        averages=first.averages + again.averages,
        effective_averages=averages,
    )
