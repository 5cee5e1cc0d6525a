"""Track: what the course of timing and turn tells of the clock and of the carriers' offset."""

from dataclasses import dataclass
from math import hypot, pi, sqrt

import numpy as np

from sniff.model import Doubles
from sniff.multiplex.prefix import Fold, PrefixCourse

FEWEST_CHUNKS = 8
CLEAR = 6.0
"""Standard deviations above which symbols are no chance: a chunk has some hundred places."""

_STRAY = 5.0  # of the middle deviation; an echo's timing, not the signal's
_U_TURN_ONE = 5e-4  # of a spacing: what pilots and echoes leave however long one listens
_TIP = 0.25  # of a bin of timing: how far the tip between bins may be off
_GRID = 0.3  # of a sample: how far the timing may wander as the symbols slip along the samples


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """A multiplex over a stretch of time.

    Attributes
    ----------
    sampler_ppm, u_sampler_ppm : float
        Clock error by the symbols' rhythm alone, and its standard uncertainty (k = 1).
    fold : Fold
    timing_s, at_s : float
        When a period of the fold began, modulo the period, at one moment, indicated s.
    drift : float
        Change of that timing, s/s.
    turn : float
        Mean turn of the copies, in (-1/2, 1/2]: the carriers' offset in spacings, less a whole
        number.
    u_turn : float
        Its standard uncertainty (k = 1).
    steady : bool
        Whether the turn stood still but for noise; else `u_turn` is how far it wandered.
    likeness : float
        How alike the copies are: S / (S + N) in the band that was used, about 1 without noise.
    seconds : float
        Length observed, s.
    """

    sampler_ppm: float
    u_sampler_ppm: float
    fold: Fold
    timing_s: float
    at_s: float
    drift: float
    turn: float
    u_turn: float
    steady: bool
    likeness: float
    seconds: float

    def start_near(self, time_s: float) -> float:
        """The beginning of a period that is nearest to a time, indicated s since the source was
        opened."""
        timing_s = self.timing_s + self.drift * (time_s - self.at_s)
        period_s = self.fold.period_s
        return timing_s + round((time_s - timing_s) / period_s) * period_s


def track(course: PrefixCourse, fold: Fold) -> Track | None:
    """Fit a course of symbols.

    Parameters
    ----------
    course : PrefixCourse
    fold : Fold
        That it came of.

    Returns
    -------
    Track or None
        None where no rhythm stands out of chance, or too little was observed.
    """
    clear = course.standing > CLEAR
    if clear.sum() < max(FEWEST_CHUNKS, 0.8 * clear.size):
        return None
    times_s, turns = course.times_s[clear], course.turns[clear]
    at_s = float(times_s.mean())
    timings_s = np.unwrap(course.timings_s[clear], period=fold.period_s)
    kept = _without_strays(timings_s, times_s)
    t = times_s[kept] - at_s
    if t.size < FEWEST_CHUNKS:
        return None
    drift, timing_s = np.polyfit(t, timings_s[kept], 1)
    rest = timings_s[kept] - np.polyval((drift, timing_s), t)
    spread_s = hypot(float(rest.std(ddof=2)), _TIP * fold.bin_s / sqrt(3.0))
    turn, u_turn, steady = _mean_turn(turns)
    u_drift = spread_s / float(np.sqrt((t**2).sum()))
    # A slow wander does not average out: as a ramp over the whole it has this slope.
    u_grid = _GRID * fold.sample_s * sqrt(12.0) / float(np.ptp(t))
    return Track(
        # A period that lasts longer by the factor c / stretch moves by (c - stretch) / stretch.
        sampler_ppm=(fold.stretch * (1.0 + float(drift)) - 1.0) * 1e6,
        u_sampler_ppm=hypot(u_drift, u_grid) * 1e6,
        fold=fold,
        timing_s=float(timing_s),
        at_s=at_s,
        drift=float(drift),
        turn=turn,
        # Pilots do not average out where a neighbouring symbol reaches into the copy, by an echo
        # or the filter's ringing; found on synthetic multiplexes, as rms over clocks and echoes.
        u_turn=hypot(u_turn, _U_TURN_ONE / sqrt(fold.looks)),
        steady=steady,
        likeness=min(1.0, float(np.abs(turns.mean()))),
        seconds=times_s.size * fold.chunk_s,
    )


def _without_strays(
    values: Doubles, times_s: Doubles
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Values near a line through most of them."""
    kept = np.ones(values.size, dtype=bool)
    for _ in range(3):
        line = np.polynomial.Polynomial.fit(times_s[kept], values[kept], 1)
        rest = np.abs(values - line(times_s))
        kept = rest <= _STRAY * 1.4826 * np.median(rest[kept]) + 1e-12
    return kept


def _mean_turn(turns: np.ndarray[tuple[int], np.dtype[np.complex128]]) -> tuple[float, float, bool]:
    """Mean angle in turns, its u, and whether it stood still.

    White noise makes successive values differ by as much as any two (von Neumann's ratio); what
    differs more over the whole than from one to the next has wandered, and wander does not average
    away.
    """
    middle = turns.mean()
    departures = np.angle(turns * np.conj(middle)) / (2.0 * pi)
    mean = float(departures.mean())
    whole = float(departures.var(ddof=1))
    stepwise = float((np.diff(departures) ** 2).mean()) / 2.0
    steady = whole <= stepwise * (1.0 + 4.0 / sqrt(departures.size))
    # So few values know their own variance badly (JCGM 101:2008, 6.4.9.4).
    few = sqrt((departures.size - 1) / (departures.size - 3))
    u = few * sqrt(whole / departures.size) if steady else sqrt(whole)
    turn = float(np.angle(middle)) / (2.0 * pi) + mean
    return (turn + 0.5) % 1.0 - 0.5, u, steady
