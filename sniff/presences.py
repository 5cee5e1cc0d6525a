"""How much of a take each chosen line was there."""

from collections.abc import Sequence

import numpy as np

from sniff.model import Peak, Take
from sniff.probe import View
from sniff.watch.presence import PowerCourse, Presence
from sniff.zoom import MIN_HOP, Zoom


def presences(take: Take, view: View, peaks: Sequence[Peak | None]) -> tuple[Presence | None, ...]:
    """Follow each chosen peak in time, with a filter that its modulation passes.

    Returns
    -------
    tuple
        One for each of the peaks; None where there is no peak to follow.

    Raises
    ------
    SourceError
        When the source fails.
    """
    spectrum = view.spectrum
    followed = {
        peak: (Zoom([peak.indicated_hz], hop=_hop(peak, view)), PowerCourse(take.seconds))
        for peak in peaks
        if peak is not None
    }
    if followed:
        for block in take.blocks():
            for zoom, course in followed.values():
                for (stretch,) in zoom.push(block):
                    course.take_in(stretch)
    found: list[Presence | None] = []
    for peak in peaks:
        if peak is None:
            found.append(None)
            continue
        zoom, course = followed[peak]
        for (stretch,) in zoom.finish():
            course.take_in(stretch)
        at = round((peak.indicated_hz - spectrum.first_hz) / spectrum.bin_hz)
        density = float(view.floor.density[min(max(at, 0), spectrum.psd.size - 1)])
        found.append(course.presence(noise_density=density))
    return tuple(found)


def _hop(peak: Peak, view: View) -> int:
    """Frames so fast that 99 % of the line's own power lies within a quarter of their rate."""
    spectrum = view.spectrum
    at = (peak.indicated_hz - spectrum.first_hz) / spectrum.bin_hz
    owner = min(view.summits, key=lambda c: 0 if c.first <= at <= c.last else abs(c.bin - at))
    run = [c for c in view.summits if c.run == owner.run]
    bins = np.arange(min(c.first for c in run), max(c.last for c in run) + 1)
    over = np.maximum(spectrum.psd[bins] - view.floor.density[bins], 0.0)
    order = np.argsort(np.abs(bins - at))
    share = np.cumsum(over[order]) / max(float(over.sum()), 1e-300)
    reach = float(np.abs(bins[order] - at)[int(np.searchsorted(share, 0.99))])
    fastest_hz = 4.0 * max(reach, 2.0) * spectrum.bin_hz
    return max(MIN_HOP, int(spectrum.rate_hz / fastest_hz))
