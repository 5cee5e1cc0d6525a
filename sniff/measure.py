"""From summits in a spectrum to peaks: which zooms they need, and what those make of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from sniff.model import Doubles, IQBlock, Peak, Spectrum
from sniff.peaks import Floor, Summit
from sniff.refine import Estimate, combine, refine
from sniff.units import to_db
from sniff.windows import Window
from sniff.zoom import LONGEST_STRETCH, MIN_HOP, Zoom, Zoomed

MOST_PEAKS = 40
"""Lines refined in one look; the weaker ones are only counted."""

_FEWEST_FRAMES = 64  # fewer cost more than 2 % of the take at its ends
_FEWEST_CROWDED_FRAMES = 16  # here 9 %, rather than let a neighbour in
_CLEAR_FRAMES = 4.0  # frame rates to a neighbour: the filter's lobes there are below −58 dB
_SEARCH_RBW = 1.5
_RIPPLE = 10.0  # valley ratio below which an unsteady summit is its neighbour's modulation
_SKIRT_DB = 20.0
_OWN_SHARE = 0.25  # of what stood out, that a refined line must account for
_MOST_FRAME_VALUES = 1_500_000  # 24 MB of zoomed frames, twice that as a stretch ends


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoomRequest:
    """How one summit is to be zoomed.

    Attributes
    ----------
    summit : Summit
    line_hz : float
        Indicated frequency by interpolation between bins, Hz.
    hop : int
        As in `Zoom`.
    crowded : bool
        True when a neighbour still passes that filter.
    """

    summit: Summit
    line_hz: float
    hop: int
    crowded: bool


def zoom_requests(
    spectrum: Spectrum, summits: Sequence[Summit], *, among: Sequence[Summit]
) -> tuple[ZoomRequest, ...]:
    """Choose a filter for each summit: wide enough for drift, narrow enough for its neighbours
    among all that stood out."""
    bins = np.array([summit.bin for summit in among], dtype=np.float64)
    requests = []
    for summit in summits:
        distances = np.abs(bins - summit.bin)
        distances[distances == 0] = np.inf
        nearest_hz = float(distances.min()) * spectrum.bin_hz
        apart = round(_CLEAR_FRAMES * spectrum.rate_hz / nearest_hz)
        alone = apart <= spectrum.psd.size // 2
        longest = spectrum.samples // (_FEWEST_FRAMES if alone else _FEWEST_CROWDED_FRAMES)
        hop = max(MIN_HOP, min(longest, max(spectrum.psd.size // 2, apart)))
        requests.append(
            ZoomRequest(
                summit=summit,
                line_hz=between_bins_hz(spectrum, summit.bin),
                hop=hop,
                crowded=hop < apart,
            )
        )
    return tuple(requests)


def between_bins_hz(spectrum: Spectrum, top: int) -> float:
    """Vertex of a parabola through the logarithms of a bin and its neighbours; with a Hann window
    within 0.016 bin of a clean line, with any within half a bin."""
    shift, _ = _vertex(spectrum.psd, top)
    return spectrum.first_hz + (top + shift) * spectrum.bin_hz


def _vertex(density: Doubles, top: int) -> tuple[float, float]:
    """Where that parabola is highest, bins from `top`, and how high."""
    if not 0 < top < density.size - 1:
        return 0.0, float(density[top])
    low, mid, high = np.log(np.maximum(density[top - 1 : top + 2], 1e-300))
    bend = low - 2.0 * mid + high
    if bend >= 0:
        return 0.0, float(density[top])
    shift = float(np.clip(0.5 * (low - high) / bend, -0.5, 0.5))
    return shift, float(np.exp(mid - 0.25 * (low - high) * shift))


def refine_all(
    blocks: Iterable[IQBlock], spectrum: Spectrum, floor: Floor, requests: Sequence[ZoomRequest]
) -> tuple[Estimate | None, ...]:
    """Zoom and refine all requests in one pass over the take, in their order.

    Returns
    -------
    tuple of Estimate or None
        None for a line that could not be locked on.
    """
    if not requests:
        return ()
    longest = min(LONGEST_STRETCH, _MOST_FRAME_VALUES // len(requests))
    groups = [
        _Group([at for at, request in enumerate(requests) if request.hop == hop], requests, longest)
        for hop in sorted({request.hop for request in requests})
    ]
    found: list[list[Estimate]] = [[] for _ in requests]

    def take_in(group: _Group, stretches: Iterable[tuple[Zoomed, ...]]) -> None:
        for stretch in stretches:
            for at, zoomed in zip(group.numbers, stretch, strict=True):
                request = requests[at]
                estimate = refine(
                    zoomed,
                    noise_density=float(floor.density[request.summit.bin]),
                    search_hz=min(_SEARCH_RBW * spectrum.rbw_hz, zoomed.rate_hz / 2.0),
                    crowded=request.crowded,
                )
                if estimate is not None:
                    found[at].append(estimate)

    for block in blocks:
        for group in groups:
            take_in(group, group.zoom.push(block))
    for group in groups:
        take_in(group, group.zoom.finish())
    return tuple(combine(estimates) for estimates in found)


class _Group:
    """Requests that share a filter, and therefore a matrix product."""

    def __init__(self, numbers: list[int], requests: Sequence[ZoomRequest], longest: int) -> None:
        self.numbers = numbers
        lines_hz = [requests[at].line_hz for at in numbers]
        self.zoom = Zoom(lines_hz, hop=requests[numbers[0]].hop, longest=longest)


def measure(
    spectrum: Spectrum,
    floor: Floor,
    requests: Sequence[ZoomRequest],
    estimates: Sequence[Estimate | None],
) -> tuple[Peak, ...]:
    """Make a peak of each summit; the ripple of a modulated signal is one peak, its strongest.

    Returns
    -------
    tuple of Peak
        In the order of `requests`, without marks.
    """
    peaks: list[Peak] = []
    runs: set[int] = set()
    for request, estimate in zip(requests, estimates, strict=True):
        summit = request.summit
        if estimate is not None and estimate.power < _OWN_SHARE * _excess(spectrum, floor, summit):
            estimate = None  # a line within it, but not what stood out
        steady = estimate is not None and estimate.steady
        if summit.run in runs and not steady and summit.valley_ratio < _RIPPLE:
            continue
        peak = _peak(spectrum, floor, summit, request.line_hz, estimate)
        if not any(_is_skirt(peak, other) for other in peaks):
            runs.add(summit.run)
            peaks.append(peak)
    return tuple(peaks)


def _is_skirt(peak: Peak, other: Peak) -> bool:
    """A hump that reaches over a much stronger line is that line's noise, not a line beside it."""
    apart_hz = abs(peak.indicated_hz - other.indicated_hz)
    return apart_hz < peak.width_hz and other.level_dbfs - peak.level_dbfs > _SKIRT_DB


def _peak(
    spectrum: Spectrum,
    floor: Floor,
    summit: Summit,
    line_hz: float,
    estimate: Estimate | None,
) -> Peak:
    noise = float(floor.density[summit.bin]) * spectrum.rbw_hz
    if estimate is not None and estimate.steady:
        return Peak(
            indicated_hz=estimate.indicated_hz,
            u_indicated_hz=estimate.u_hz,
            level_dbfs=to_db(estimate.power),
            snr_db=to_db(estimate.power / noise),
            width_hz=0.0,
            steady=True,
        )
    width_hz = _excess_width_hz(spectrum, floor, summit)
    power = _band_power(spectrum, floor, summit)
    # Without an estimate it was seen, but too restless or too short to lock on: it is somewhere
    # about its bin.
    u_hz = spectrum.rbw_hz / sqrt(3.0) if estimate is None else estimate.u_hz
    return Peak(
        indicated_hz=line_hz if estimate is None else estimate.indicated_hz,
        u_indicated_hz=hypot(u_hz, width_hz / sqrt(12.0)),
        level_dbfs=to_db(power),
        snr_db=to_db(power / noise),
        width_hz=width_hz,
        steady=False,
    )


def _excess(spectrum: Spectrum, floor: Floor, summit: Summit) -> float:
    """Power by which the top bin stands over the floor, FS²."""
    over = spectrum.psd[summit.bin] - floor.density[summit.bin]
    return float(over) * spectrum.rbw_hz


def _band_power(spectrum: Spectrum, floor: Floor, summit: Summit) -> float:
    """Power over the floor between the summit's bounds, FS²; at least the top bin's."""
    # A tone's main lobe spans one bin more than the terms of its window on either side; what of
    # it lies below the threshold counts too, but nothing that belongs to a neighbour.
    lobe = len(Window.named(spectrum.window).coefficients)
    below = spectrum.psd <= floor.threshold
    first, last = summit.first, summit.last
    while first > max(0, summit.bin - lobe) and below[first - 1]:
        first -= 1
    while last < min(spectrum.psd.size - 1, summit.bin + lobe) and below[last + 1]:
        last += 1
    over = spectrum.psd[first : last + 1] - floor.density[first : last + 1]
    return max(float(over.sum()) * spectrum.bin_hz, _excess(spectrum, floor, summit))


def _excess_width_hz(spectrum: Spectrum, floor: Floor, summit: Summit) -> float:
    """Half-power width beyond a pure tone's, by subtraction of squares, Hz; 0 within the noise."""
    over = spectrum.psd - floor.density
    half = _vertex(over, summit.bin)[1] / 2.0
    sides = []
    for step in (-1, 1):
        at = summit.bin
        while 0 <= at + step < over.size and over[at + step] > half:
            at += step
        beyond = min(max(at + step, 0), over.size - 1)
        fall = over[at] - over[beyond]
        sides.append(abs(at - summit.bin) + ((over[at] - half) / fall if fall else 0.5))
    tone = Window.named(spectrum.window).enbw_bins * 0.97  # half-power over noise bandwidth
    width = sum(sides)
    return sqrt(width**2 - tone**2) * spectrum.bin_hz if width > 1.3 * tone else 0.0
