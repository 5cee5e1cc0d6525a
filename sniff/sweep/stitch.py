"""Stitching: hops on one grid become one spectrum, with what is not known marked as such."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles, Spectrum
from sniff.sweep.grid import HopSpectrum
from sniff.sweep.hops import HopPlan, Span
from sniff.windows import Window

Flags = npt.NDArray[np.bool_]

_RAMP_SHARE = 1.0 / 3.0  # of half the usable span: there the weight rises from edge and spike
_LEAST_WEIGHT = 0.05
_SHORTEST_STRETCH = 16  # bins: fewer tell no floor


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stitched:
    """A sweep's spectrum on its grid; NaN where nothing was observed.

    Attributes
    ----------
    first_bin : int
        Grid point of element 0.
    bin_hz : float
        Distance of two points, Hz.
    psd : ndarray of float64, shape (n,)
        Mean density, equalised, FS²/Hz.
    max_hold : ndarray of float64, same shape, or None
        Largest density of any one segment, equalised.
    hop_low, hop_high : ndarray of float32, same shape
        Lowest and highest mean density of the hops that show a point.
    hops : ndarray of uint8, same shape
        How many hops show a point.
    centers_hz : tuple of float
        Centres of the hops, indicated, Hz.
    strongest : ndarray of int32, same shape
        Number of the hop that shows a point highest; −1 where none shows it.
    interpolated : ndarray of bool, same shape
        Where no hop shows it off its spike, and the neighbours were joined.
    window : Window
    averages : int
        Segments in all, at the point that has fewest.
    most_averages : int
        At the one that has most.
    effective_averages : float
        Independent segments at the point that has fewest.
    """

    first_bin: int
    bin_hz: float
    psd: Doubles
    max_hold: Doubles | None
    hop_low: npt.NDArray[np.float32]
    hop_high: npt.NDArray[np.float32]
    hops: npt.NDArray[np.uint8]
    centers_hz: tuple[float, ...]
    strongest: npt.NDArray[np.int32]
    interpolated: Flags
    window: Window
    averages: int
    most_averages: int
    effective_averages: float

    @property
    def rbw_hz(self) -> float:
        """Resolution bandwidth, Hz."""
        return self.window.enbw_bins * self.bin_hz

    @property
    def observed(self) -> Flags:
        """Where a hop showed it, shape (n,)."""
        return np.asarray(self.hops > 0)

    def hz(self, at: float) -> float:
        """Indicated frequency of element `at`, Hz."""
        return (self.first_bin + at) * self.bin_hz

    @property
    def spectrum(self) -> Spectrum:
        """The whole of it, NaN where nothing was observed."""
        return self.part(0, self.psd.size)

    def part(self, first: int, end: int) -> Spectrum:
        """Its points from `first` to `end`, that one left out."""
        hold = self.max_hold
        size = end - first
        rate_hz = size * self.bin_hz
        return Spectrum(
            psd=self.psd[first:end].copy(),
            max_hold=None if hold is None else hold[first:end].copy(),
            center_hz=(self.first_bin + first + size // 2) * self.bin_hz,
            rate_hz=rate_hz,
            window=self.window.value,
            enbw_bins=self.window.enbw_bins,
            averages=self.averages,
            effective_averages=self.effective_averages,
            samples=0,
        )

    def stretches(self) -> Iterator[tuple[int, int]]:
        """Unbroken stretches long enough to tell a floor: first element, and the one after."""
        for first, end in runs(~np.isnan(self.psd)):
            if end - first >= _SHORTEST_STRETCH:
                yield first, end

    @property
    def unobserved(self) -> tuple[Span, ...]:
        """What no hop shows, indicated."""
        return tuple(self._span(first, end) for first, end in runs(np.isnan(self.psd)))

    @property
    def joined(self) -> tuple[Span, ...]:
        """What was interpolated, indicated."""
        return tuple(self._span(first, end) for first, end in runs(self.interpolated))

    def _span(self, first: int, end: int) -> Span:
        return Span(low_hz=self.hz(first - 0.5), high_hz=self.hz(end - 0.5))


def stitch(hops: Sequence[HopSpectrum], shape: Doubles | None, plan: HopPlan) -> Stitched:
    """Join hops: each point is the weighted mean of the hops that show it off edge and spike.

    Equalised noise has the same mean in all of them, so that weights leave no step at a border.

    Parameters
    ----------
    hops : sequence of HopSpectrum
        At least one.
    shape : ndarray of float64, shape (2 * half_bins + 1,), or None
        From `learn_shape`; None leaves the levels as they are.
    plan : HopPlan
    """
    size = plan.points
    half = plan.half_bins
    offsets = np.arange(-half, half + 1)
    taper = _taper(np.abs(offsets), half, plan.guard_bins)
    gain = np.ones(offsets.size) if shape is None else shape
    total, weight, spread = np.zeros(size), np.zeros(size), np.zeros(size)
    hold = np.zeros(size) if plan.spectrum.holds else None
    low = np.full(size, np.inf, dtype=np.float32)
    high = np.zeros(size, dtype=np.float32)
    count = np.zeros(size, dtype=np.uint8)
    strongest = np.full(size, -1, dtype=np.int32)
    segments = np.zeros(size, dtype=np.int32)
    spikes: list[int] = []
    for number, hop in enumerate(hops):
        place = hop.center_bin - half - plan.first_bin
        spikes.append(hop.center_bin - plan.first_bin)
        here = slice(max(0, place), min(size, place + offsets.size))
        if here.start >= here.stop:
            continue
        there = slice(here.start - place, here.stop - place)
        middle = hop.psd.size // 2
        seen = slice(middle - half + there.start, middle - half + there.stop)
        shows = taper[there] > 0.0
        psd = np.where(shows, hop.psd[seen] / gain[there], 0.0)
        mine = taper[there] * hop.effective_averages
        total[here] += mine * psd
        weight[here] += mine
        spread[here] += mine * taper[there]
        low[here] = np.where(shows, np.minimum(low[here], psd), low[here])
        strongest[here][shows & (psd >= high[here])] = number
        high[here] = np.maximum(high[here], psd)
        count[here] += shows
        segments[here] += shows * hop.averages
        if hold is not None and hop.max_hold is not None:
            hop_hold = np.where(shows, hop.max_hold[seen] / gain[there], 0.0)
            np.maximum(hold[here], hop_hold, out=hold[here])
    observed = weight > 0.0
    nothing = np.full(size, np.nan)
    psd = np.divide(total, weight, out=nothing.copy(), where=observed)
    # The variance of a weighted mean, as that of so many equal segments.
    effective = np.divide(weight**2, spread, out=nothing.copy(), where=observed)
    interpolated = _gaps(observed, spikes, plan.guard_bins)
    _join(psd, interpolated)
    if hold is not None:
        hold[~observed] = np.nan
        _join(hold, interpolated)
    there_are = segments[observed]
    return Stitched(
        first_bin=plan.first_bin,
        bin_hz=plan.bin_hz,
        psd=psd,
        max_hold=hold,
        hop_low=low,
        hop_high=high,
        hops=count,
        centers_hz=tuple(hop.center_hz for hop in hops),
        strongest=strongest,
        interpolated=interpolated,
        window=plan.spectrum.window,
        averages=int(there_are.min()) if there_are.size else 0,
        most_averages=int(there_are.max()) if there_are.size else 0,
        effective_averages=float(np.nanmin(effective)) if observed.any() else 0.0,
    )


def runs(flags: Flags) -> Iterator[tuple[int, int]]:
    """Unbroken runs of True: first element, and the one after the last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _taper(distance: npt.NDArray[np.int64], half: int, guard: int) -> Doubles:
    """Weight of a point by its distance from the centre, 0 within the guard."""
    ramp = max(1.0, _RAMP_SHARE * half)
    rise = np.minimum(1.0, (distance - guard) / ramp)
    fall = np.minimum(1.0, (half + 1 - distance) / ramp)
    weight = np.maximum(np.minimum(rise, fall), _LEAST_WEIGHT)
    return np.where(distance > guard, weight, 0.0)


def _gaps(observed: Flags, spikes: Sequence[int], guard: int) -> Flags:
    """Holes that only a spike has made: they lie about one, with something on either side."""
    joined = np.zeros(observed.size, dtype=bool)
    for first, end in runs(~observed):
        inside = first > 0 and end < observed.size
        if inside and any(
            first - 1 <= spike <= end and end - first <= 2 * guard + 1 for spike in spikes
        ):
            joined[first:end] = True
    return joined


def _join(values: Doubles, gaps: Flags) -> None:
    """Fill gaps in place, straight in decibels between the few points on either side."""
    reach = 4
    for first, end in runs(gaps):
        left = float(np.nanmedian(values[max(0, first - reach) : first]))
        right = float(np.nanmedian(values[end : end + reach]))
        if left > 0.0 and right > 0.0:
            share = (np.arange(first, end) - first + 1) / (end - first + 1)
            values[first:end] = left * (right / left) ** share
        else:
            values[first:end] = 0.0
