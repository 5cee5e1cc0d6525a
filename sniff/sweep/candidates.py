"""What stands out of a stitched spectrum, before anyone has looked twice."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from sniff.measure import between_bins_hz
from sniff.model import Doubles, Spectrum
from sniff.peaks import Floor, Summit, find_summits, noise_floor
from sniff.sweep.stitch import Stitched
from sniff.tuning import Window
from sniff.units import to_db

_REACH_RBW = 1.5  # about its top, in which a stay finds a line again
_PART_HZ = 48e6  # wide enough to tell a multiplex of 8 MHz from noise
_LEAST_PART, _MOST_PART = 2**14, 2**16
_ONCE = 0.1  # a hop that shows it this much weaker than another one does not show it


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A summit of the stitched spectrum.

    Attributes
    ----------
    indicated_hz : float
        By interpolation between points, Hz.
    rbw_hz : float
        Of the sweep, Hz.
    window : Window
        Where a stay should find it, indicated.
    run : int
        Number of the unbroken stretch above the threshold that it belongs to.
    valley_ratio : float
        As in `Summit`.
    level_dbfs, snr_db : float
        Level in one RBW, and over the noise.
    hops : int
        How many hops show this place.
    once : bool
        True when only one of several shows the line itself: a receiver's own product moves with
        the tuning, and what comes and goes is not always there.
    strongest_hz : float
        Centre of the hop that shows it strongest, Hz.
    momentary : bool
        True when it stands out of the highest level only, not of the mean.
    """

    indicated_hz: float
    rbw_hz: float
    window: Window
    run: int
    valley_ratio: float
    level_dbfs: float
    snr_db: float
    hops: int
    once: bool
    strongest_hz: float
    momentary: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """What stands out, strongest first, and the floor it stands on (NaN where none is known)."""

    candidates: tuple[Candidate, ...]
    noise: Doubles
    threshold: Doubles


def find_candidates(stitched: Stitched, *, false_alarm_rate: float) -> Found:
    """Summits of the mean and, where it was kept, of the highest level."""
    size = stitched.psd.size
    noise, threshold = np.full(size, np.nan), np.full(size, np.nan)
    found: list[Candidate] = []
    stretches = list(stitched.stretches())
    points = sum(end - first for first, end in stretches)
    runs = 0
    for first, end in stretches:
        spectrum = stitched.part(first, end)
        share = false_alarm_rate * (end - first) / points
        floor = _floor(stitched, first, end, per_point=false_alarm_rate / points)
        noise[first:end], threshold[first:end] = floor.density, floor.threshold
        mine = list(_candidates(stitched, first, spectrum, floor, runs))
        found += mine
        runs = 1 + max((candidate.run for candidate in mine), default=runs - 1)
        if spectrum.max_hold is not None:
            moments = _momentary(stitched, first, spectrum, floor, share, runs)
            moments = [
                candidate
                for candidate in moments
                if not any(_overlap(candidate.window, other.window) for other in mine)
            ]
            found += moments
            runs = 1 + max((candidate.run for candidate in moments), default=runs - 1)
    found.sort(key=lambda candidate: -candidate.level_dbfs)
    return Found(candidates=tuple(found), noise=noise, threshold=threshold)


def _floor(stitched: Stitched, first: int, end: int, *, per_point: float) -> Floor:
    """The floor of a stretch, part by part.

    What is broader than a quarter of what is looked at passes for noise; over the whole of a wide
    sweep that would be every unevenness of the tuner's gain. The parts overlap, and each gives its
    middle.
    """
    size = round(min(max(_PART_HZ / stitched.bin_hz, _LEAST_PART), _MOST_PART))
    density, threshold = np.empty(end - first), np.empty(end - first)
    done = first
    while done < end:
        low = max(first, min(done - size // 4, end - size))
        high = min(end, low + size)
        part = noise_floor(
            stitched.part(low, high), false_alarm_rate=min(0.5, per_point * (high - low))
        )
        upto = end if high == end else high - size // 4
        density[done - first : upto - first] = part.density[done - low : upto - low]
        threshold[done - first : upto - first] = part.threshold[done - low : upto - low]
        done = upto
    return Floor(density=density, threshold=threshold)


def _candidates(
    stitched: Stitched, first: int, spectrum: Spectrum, floor: Floor, runs: int
) -> Iterator[Candidate]:
    for summit in find_summits(spectrum, floor):
        yield _candidate(stitched, first, spectrum, floor, summit, runs)


def _candidate(
    stitched: Stitched,
    first: int,
    spectrum: Spectrum,
    floor: Floor,
    summit: Summit,
    runs: int,
) -> Candidate:
    rbw_hz = spectrum.rbw_hz
    indicated_hz = between_bins_hz(spectrum, summit.bin)
    low_hz, high_hz = stitched.hz(first + summit.first), stitched.hz(first + summit.last)
    noise = float(floor.density[summit.bin])
    over = float(spectrum.psd[summit.bin]) - noise
    at = first + summit.bin
    hops = int(stitched.hops[at])
    return Candidate(
        indicated_hz=indicated_hz,
        rbw_hz=rbw_hz,
        window=Window(
            low_hz=min(low_hz, indicated_hz - _REACH_RBW * rbw_hz),
            high_hz=max(high_hz, indicated_hz + _REACH_RBW * rbw_hz),
        ),
        run=runs + summit.run,
        valley_ratio=summit.valley_ratio,
        level_dbfs=to_db(over * rbw_hz),
        snr_db=to_db(over / noise) if noise > 0.0 else 0.0,
        hops=hops,
        once=hops > 1 and float(stitched.hop_low[at]) < _ONCE * float(stitched.hop_high[at]),
        strongest_hz=stitched.centers_hz[int(stitched.strongest[at])],
    )


def _momentary(
    stitched: Stitched,
    first: int,
    spectrum: Spectrum,
    floor: Floor,
    false_alarm_rate: float,
    runs: int,
) -> list[Candidate]:
    """Summits of the highest level of any one segment.

    Noise in one segment is exponential about the floor; by the union bound none of `averages`
    segments at n points passes ``floor * ln(averages n / rate)`` with more than that chance,
    whatever their overlap.
    """
    hold = spectrum.max_hold
    assert hold is not None  # asked for by the caller
    ratio = float(np.log(stitched.most_averages * hold.size / false_alarm_rate))
    held = replace(spectrum, psd=np.array(hold), max_hold=None, effective_averages=1.0)
    above = Floor(density=np.array(floor.density), threshold=floor.density * ratio)
    return [
        replace(_candidate(stitched, first, held, above, summit, runs), once=False, momentary=True)
        for summit in find_summits(held, above)
    ]


def _overlap(one: Window, two: Window) -> bool:
    return one.low_hz <= two.high_hz and two.low_hz <= one.high_hz
