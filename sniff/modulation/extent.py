"""What belongs together in a spectrum: a carrier with its sidebands, and not its neighbours."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles, Spectrum
from sniff.peaks import Floor

Flags = npt.NDArray[np.bool_]

RIVAL_DB = 20.0
"""A second signal no farther below the strongest may be the one that was meant."""

_VOICE_HZ = 3.5e3  # lines of one modulation by voice lie no farther apart
_LEAST_RBW = 6.0
_SKIRT_DB = 55.0
_FAINT_DB = 45.0
_MIRROR_DB = 1.5
_MIRROR_RBW = 2.0
_PAIRED_SHARE = 0.95
_WIDEST_HZ = 250e3  # from the strongest line to the farthest, which may be on the other side


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """A stretch of spectrum that one signal fills.

    Attributes
    ----------
    low_hz, high_hz : float
        Indicated frequencies of its outermost bins above the detection threshold, Hz.
    middle_hz : float
        Where half of its power lies on either side in the mean (centroid), Hz.
    power : float
        Over the noise floor, FS².
    cut : bool
        True when it reaches the edge of what the spectrum shows.
    """

    low_hz: float
    high_hz: float
    middle_hz: float
    power: float
    cut: bool


def extents(spectrum: Spectrum, floor: Floor, *, not_hz: Sequence[float] = ()) -> list[Extent]:
    """All signals of a spectrum, strongest first.

    Lines no farther apart than those of a modulation by voice are one signal; so are lines that
    stand in mirrored pairs of equal level, as those of any tone do.

    Parameters
    ----------
    spectrum : Spectrum
    floor : Floor
    not_hz : sequence of float
        Indicated frequencies of peaks that the receiver made itself, Hz.
    """
    over = np.maximum(spectrum.psd - floor.density, 0.0)
    above = spectrum.psd > floor.threshold
    for hz in not_hz:
        _blot_out(above, (hz - spectrum.first_hz) / spectrum.bin_hz)
    gap = max(_VOICE_HZ, _LEAST_RBW * spectrum.rbw_hz) / spectrum.bin_hz
    for first, stop in _joined(_runs(above), gap):
        # Far below a signal's top lie skirts: phase noise, overload, the filter of a transmitter.
        part = spectrum.psd[first:stop]
        above[first:stop] &= part > part.max() * 10.0 ** (-_SKIRT_DB / 10.0)
    runs = _runs(above)
    merged = _joined(runs, gap)
    found = [_extent(spectrum, over, first, stop) for first, stop in merged]
    found.sort(key=lambda extent: -extent.power)
    lines = [_extent(spectrum, over, first, stop) for first, stop in runs]
    return _pair_up(found, lines, spectrum)


def _runs(above: Flags) -> list[tuple[int, int]]:
    """First bin and the one after the last of each unbroken stretch."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _joined(runs: Sequence[tuple[int, int]], gap: float) -> list[tuple[int, int]]:
    """Stretches no farther apart than `gap` bins as one."""
    merged: list[tuple[int, int]] = []
    for first, stop in runs:
        if merged and first - merged[-1][1] <= gap:
            merged[-1] = (merged[-1][0], stop)
        else:
            merged.append((first, stop))
    return merged


def _blot_out(above: Flags, at: float) -> None:
    """Leave out a narrow run about a place; a broad one is a signal that merely reaches over it."""
    place = round(at)
    if not 0 <= place < above.size:
        return
    first = last = place
    while first > 0 and above[first - 1]:
        first -= 1
    while last + 1 < above.size and above[last + 1]:
        last += 1
    if last - first <= 2 * _LEAST_RBW:
        above[first : last + 1] = False


def _extent(spectrum: Spectrum, over: Doubles, first: int, stop: int) -> Extent:
    bins = np.arange(first, stop)
    weights = over[first:stop]
    total = float(weights.sum())
    return Extent(
        low_hz=spectrum.first_hz + first * spectrum.bin_hz,
        high_hz=spectrum.first_hz + (stop - 1) * spectrum.bin_hz,
        middle_hz=spectrum.first_hz + float((bins * weights).sum()) / total * spectrum.bin_hz,
        power=total * spectrum.bin_hz,
        cut=first <= 2 or stop >= spectrum.psd.size - 2,
    )


def _pair_up(found: list[Extent], lines: list[Extent], spectrum: Spectrum) -> list[Extent]:
    """Join what stands mirrored about its own middle, line by line; two lines may be chance."""
    if len(found) < 2:
        return found
    strongest = found[0]
    near = [
        line
        for line in lines
        if abs(line.middle_hz - strongest.middle_hz) <= _WIDEST_HZ
        and line.power > strongest.power * 10 ** (-_FAINT_DB / 10)
    ]
    if len(near) < 3:
        return found
    power = sum(line.power for line in near)
    middle_hz = sum(line.power * line.middle_hz for line in near) / power
    reach_hz = _MIRROR_RBW * spectrum.rbw_hz
    paired = sum(
        line.power
        for line in near
        if any(
            abs(line.middle_hz + other.middle_hz - 2.0 * middle_hz) <= reach_hz
            and abs(10.0 * np.log10(line.power / other.power)) <= _MIRROR_DB
            for other in near
        )
    )
    if paired < _PAIRED_SHARE * power:
        return found
    low_hz = min(line.low_hz for line in near)
    high_hz = max(line.high_hz for line in near)
    inside = [each for each in found if each.high_hz >= low_hz and each.low_hz <= high_hz]
    whole = Extent(
        low_hz=min(extent.low_hz for extent in inside),
        high_hz=max(extent.high_hz for extent in inside),
        middle_hz=middle_hz,
        power=power,
        cut=any(extent.cut for extent in inside),
    )
    return [whole, *(extent for extent in found if extent not in inside)]
