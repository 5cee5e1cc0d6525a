"""Tracks: the peaks of successive spectra joined into lines that are born, drift, pause and die."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np

from sniff.model import Doubles, Peak

_GATE = 4.0  # standard deviations from its prediction in which a line is looked for
_MEMORY = 12  # peaks from which the next place is predicted
_LEVEL_SPREAD_DB = 6.0
_SHADOW_RBW = 2.0  # two lines closer than this may show as one peak
_FAR = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How fast a line moves.

    Attributes
    ----------
    hz_per_s, u_hz_per_s : float
        Slope and its standard uncertainty (k = 1), widened by what the peaks scatter beyond their
        own u.
    """

    hz_per_s: float
    u_hz_per_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One line through successive spectra.

    Attributes
    ----------
    number : int
        Counted from 0 in the order of birth.
    times_s : tuple of float
        When it was seen, s since the source was opened.
    peaks : tuple of Peak
        As what it was seen, same length.
    misses : int
        Spectra since then that did not show it.
    missed : int
        Spectra in its life that did not show it, those counted in `misses` left out.
    dead : bool
        True once it was missed too often; it is never taken up again.
    """

    number: int
    times_s: tuple[float, ...]
    peaks: tuple[Peak, ...]
    misses: int = 0
    missed: int = 0
    dead: bool = False

    @property
    def born_s(self) -> float:
        """When it was first seen, s."""
        return self.times_s[0]

    @property
    def latest(self) -> Peak:
        """As what it was last seen."""
        return self.peaks[-1]

    @property
    def drift(self) -> Drift | None:
        """Drift over its whole life; None with fewer than three peaks."""
        if len(self.peaks) < 3:
            return None
        line = _Line.through(self.times_s, self.peaks)
        return Drift(hz_per_s=line.slope, u_hz_per_s=line.u_slope)


def follow(
    tracks: Sequence[Track],
    peaks: Sequence[Peak],
    *,
    time_s: float,
    rbw_hz: float,
    misses_allowed: int = 3,
) -> tuple[Track, ...]:
    """Continue tracks with the peaks of the next spectrum.

    Each track predicts its place by its recent drift; tracks and peaks are paired so that the sum
    of squared distances, in frequency and level, is least (optimal assignment). What no track
    takes is born as a new one. Spectra that were not observed are not passed in, and so are no
    miss; nor is it one when the peak of another track, no weaker, stands where the line should be:
    the two may be one peak.

    Parameters
    ----------
    tracks : sequence of Track
    peaks : sequence of Peak
        Of one spectrum.
    time_s : float
        Its middle, s since the source was opened; later than any time of a track.
    rbw_hz : float
        Its resolution: how sharply peaks that were not refined are placed, Hz.
    misses_allowed : int
        A track that is missed more often than this in a row is dead.

    Returns
    -------
    tuple of Track
        All tracks, dead ones too, in the order of their numbers.

    Raises
    ------
    ValueError
        When `time_s` is not later than all that was seen.
    """
    if any(track.times_s[-1] >= time_s for track in tracks):
        raise ValueError(f"{time_s=} is not later than what the tracks have seen")
    alive = [track for track in tracks if not track.dead]
    places = _crowded([_predict(track, time_s, rbw_hz) for track in alive], rbw_hz)
    pairs = _pair(alive, places, peaks)
    followed = {track.number: track for track in tracks}
    seen = [peaks[place] for place in pairs.values()]
    for at, track in enumerate(alive):
        if at in pairs:
            followed[track.number] = _seen(track, peaks[pairs[at]], time_s)
        elif not _hidden(track, places[at], seen, rbw_hz):
            followed[track.number] = _unseen(track, misses_allowed)
    taken = set(pairs.values())
    newborn = [peak for number, peak in enumerate(peaks) if number not in taken]
    first = 1 + max(followed, default=-1)
    for number, peak in enumerate(newborn, start=first):
        followed[number] = Track(number=number, times_s=(time_s,), peaks=(peak,))
    return tuple(followed[number] for number in sorted(followed))


def _seen(track: Track, peak: Peak, time_s: float) -> Track:
    return replace(
        track,
        times_s=(*track.times_s, time_s),
        peaks=(*track.peaks, peak),
        misses=0,
        missed=track.missed + track.misses,
    )


def _unseen(track: Track, misses_allowed: int) -> Track:
    misses = track.misses + 1
    return replace(track, misses=misses, dead=misses > misses_allowed)


def _hidden(track: Track, place: "_Place", seen: Sequence[Peak], rbw_hz: float) -> bool:
    weakest_dbfs = track.latest.level_dbfs - _LEVEL_SPREAD_DB
    return any(
        abs(peak.indicated_hz - place.hz) < _SHADOW_RBW * rbw_hz and peak.level_dbfs > weakest_dbfs
        for peak in seen
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Where a track should be next, and how surely."""

    hz: float
    u_hz: float


def _crowded(places: Sequence[_Place], rbw_hz: float) -> list[_Place]:
    """The same, less surely where two are so close that one peak may stand for both."""
    hz = np.array([place.hz for place in places])
    near = np.abs(hz[:, np.newaxis] - hz) < _SHADOW_RBW * rbw_hz
    return [
        replace(place, u_hz=hypot(place.u_hz, 0.5 * rbw_hz)) if others > 1 else place
        for place, others in zip(places, near.sum(axis=1), strict=True)
    ]


def _pair(
    tracks: Sequence[Track], places: Sequence[_Place], peaks: Sequence[Peak]
) -> dict[int, int]:
    """Positions in `tracks` to positions in `peaks`."""
    if not tracks or not peaks:
        return {}
    from scipy.optimize import linear_sum_assignment

    cost = np.array(
        [_costs(track, place, peaks) for track, place in zip(tracks, places, strict=True)]
    )
    rows, columns = linear_sum_assignment(np.minimum(cost, _FAR))
    return {
        int(row): int(column)
        for row, column in zip(rows, columns, strict=True)
        if cost[row, column] < _FAR
    }


def _costs(track: Track, place: _Place, peaks: Sequence[Peak]) -> Doubles:
    offsets = np.array([peak.indicated_hz for peak in peaks]) - place.hz
    spreads = np.array([hypot(place.u_hz, peak.u_indicated_hz) for peak in peaks])
    levels = np.array([peak.level_dbfs for peak in peaks]) - track.latest.level_dbfs
    distance = (offsets / spreads) ** 2
    cost = distance + (levels / _LEVEL_SPREAD_DB) ** 2
    return np.where(distance <= _GATE**2, cost, _FAR)


def _predict(track: Track, time_s: float, rbw_hz: float) -> _Place:
    """By its recent drift; never more surely than a tenth RBW."""
    looks = 1 + track.misses
    if len(track.peaks) < 3:
        # A young track may drift by half an RBW from spectrum to spectrum.
        u_hz = hypot(0.5 * rbw_hz * looks, track.latest.u_indicated_hz)
        return _Place(hz=track.latest.indicated_hz, u_hz=u_hz)
    line = _Line.through(track.times_s[-_MEMORY:], track.peaks[-_MEMORY:])
    hz, u_hz = line.at(time_s)
    return _Place(hz=hz, u_hz=hypot(u_hz, 0.1 * rbw_hz * looks))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A straight line through peaks, weighted by 1/u², the scatter folded into its u."""

    middle_s: float
    middle_hz: float
    slope: float
    u_middle_hz: float
    u_slope: float

    @classmethod
    def through(cls, times_s: Sequence[float], peaks: Sequence[Peak]) -> "_Line":
        t = np.array(times_s)
        f = np.array([peak.indicated_hz for peak in peaks])
        u = np.maximum([peak.u_indicated_hz for peak in peaks], 1e-9)
        weights = 1.0 / u**2
        middle_s, middle_hz = (float(np.average(x, weights=weights)) for x in (t, f))
        spread = float((weights * (t - middle_s) ** 2).sum())
        slope = float((weights * (t - middle_s) * (f - middle_hz)).sum()) / spread
        rest = f - middle_hz - slope * (t - middle_s)
        # Birge (1932): disagreement beyond the stated u widens, agreement never narrows.
        birge = sqrt(max(1.0, float((weights * rest**2).sum()) / (t.size - 2)))
        return cls(
            middle_s=middle_s,
            middle_hz=middle_hz,
            slope=slope,
            u_middle_hz=birge / sqrt(weights.sum()),
            u_slope=birge / sqrt(spread),
        )

    def at(self, time_s: float) -> tuple[float, float]:
        """Its height at a time, and the standard uncertainty of that, Hz."""
        away_s = time_s - self.middle_s
        return self.middle_hz + self.slope * away_s, hypot(self.u_middle_hz, self.u_slope * away_s)
