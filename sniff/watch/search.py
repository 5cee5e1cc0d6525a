"""Finding the line before it is watched: where it is, how strong, how wide its modulation."""

from dataclasses import dataclass

import numpy as np

from sniff.model import ComplexSamples, IQBlock, Spectrum
from sniff.peaks import Floor, Summit, find_summits, noise_floor, would_see_ratio
from sniff.resolution import SpectrumSettings
from sniff.spectrum import Welch
from sniff.units import to_db
from sniff.watch.band import CLEAN

_SEGMENT_S = 20e-3
_FEWEST_SEGMENTS = 8
_OWN_POWER = 0.99
_CLOSE_DB = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A line that was found.

    Attributes
    ----------
    hz : float
        Where, from the band's zero, Hz.
    power : float
        Its mean power over the stretch, FS².
    density : float
        Noise about it, FS²/Hz.
    reach_hz : float
        Half-width that holds 99 % of its power, the spectrum's own width taken off, Hz.
    others_hz : tuple of float
        Other lines not much weaker inside the window that was searched, Hz from zero.
    """

    hz: float
    power: float
    density: float
    reach_hz: float
    others_hz: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoSighting:
    """No line: what would have been seen."""

    would_see_dbfs: float


def search(
    values: ComplexSamples, *, rate_hz: float, within_hz: float, false_alarm_rate: float
) -> Sighting | NoSighting:
    """Look for the strongest line near zero in a stretch of the band.

    Parameters
    ----------
    values : ndarray of complex64, shape (n,)
    rate_hz : float
    within_hz : float
        How far from zero it may be, Hz.
    false_alarm_rate : float
        Chance that noise alone shows a line anywhere in the band.
    """
    segment = int(min(_SEGMENT_S * rate_hz, values.size / _FEWEST_SEGMENTS))
    settings = SpectrumSettings(segment=1 << (segment.bit_length() - 1), holds=False)
    welch = Welch(settings, rate_hz=rate_hz, center_hz=0.0)
    welch.push(IQBlock(samples=values, rate_hz=rate_hz, center_hz=0.0, index=0))
    spectrum = welch.result()
    floor = noise_floor(spectrum, false_alarm_rate=false_alarm_rate)
    at_hz = spectrum.frequencies_hz
    window_hz = min(within_hz + spectrum.rbw_hz, CLEAN * rate_hz)
    inside = [
        summit for summit in find_summits(spectrum, floor) if abs(at_hz[summit.bin]) <= window_hz
    ]
    if not inside:
        ratio = would_see_ratio(spectrum, floor)
        worst = np.max((ratio * floor.density)[np.abs(at_hz) <= window_hz]) * spectrum.rbw_hz
        return NoSighting(would_see_dbfs=to_db(float(worst)))
    line = max(inside, key=lambda summit: float(spectrum.psd[summit.bin]))
    least = spectrum.psd[line.bin] * 10.0 ** (-_CLOSE_DB / 10.0)
    others = [s for s in inside if s.run != line.run and spectrum.psd[s.bin] >= least]
    middle_hz, power, reach_hz = _extent(spectrum, floor, line, inside)
    return Sighting(
        hz=middle_hz,
        power=power,
        density=float(floor.density[line.bin]),
        reach_hz=reach_hz,
        others_hz=tuple(float(at_hz[other.bin]) for other in others),
    )


def _extent(
    spectrum: Spectrum, floor: Floor, line: Summit, inside: list[Summit]
) -> tuple[float, float, float]:
    """Middle of a line's power, that power, and the half-width about the middle with 99 % of it."""
    run = [summit for summit in inside if summit.run == line.run]
    first, last = min(s.first for s in run), max(s.last for s in run)
    bins = np.arange(max(0, first - 1), min(spectrum.psd.size, last + 2))
    over = np.maximum(spectrum.psd[bins] - floor.density[bins], 0.0)
    at_hz = spectrum.frequencies_hz[bins]
    middle_hz = float(np.average(at_hz, weights=over))
    order = np.argsort(np.abs(at_hz - middle_hz))
    share = np.cumsum(over[order]) / over.sum()
    reach_hz = float(np.abs(at_hz - middle_hz)[order][int(np.searchsorted(share, _OWN_POWER))])
    # A pure tone itself takes two bins to either side in a Hann window.
    power = float(over.sum()) * spectrum.bin_hz
    return middle_hz, power, max(0.0, reach_hz - 2.0 * spectrum.bin_hz)
