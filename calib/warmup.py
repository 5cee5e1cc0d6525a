"""Warm-up: how a clock settled after it was switched on, and when its drift is small enough.

A clock's error against time is taken for a straight line, with one or two exponentials on top
where the points support them: a crystal warms with its board (minutes), the board with its case
(tens of minutes).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from math import hypot, sqrt

import numpy as np
import numpy.typing as npt

from calib.errors import BenchError
from calib.settling import Curve, Series

FEWEST_POINTS = 8
_FEWEST_TO_SETTLE = 20
_RARE = 1e-4  # chance at which a settling is seen where there is none
_NOTABLE_PPM = 0.005  # rms; less of a course is none: cheap crystals wander as much (common
# practice, no source)
_LONGEST_OF_SPAN = 0.5  # time constant over span: what is slower cannot be told from a bend
_APART = 2.5  # ratio of two time constants below which they cannot be told from one
_UNSURE = 0.3  # relative u of a time constant that is not told
_MOST_CORRELATION = 0.95


class WarmUpError(BenchError):
    """A track that allows no statement."""


class Shape(str, Enum):
    """What a clock's course was taken for."""

    LINE = "line"
    SETTLING = "exponential"
    SETTLING_TWICE = "two-exponentials"
    BENDING = "still-bending"
    """A bend without an end in sight: its time constant is longer than half of what was seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """One exponential, ``amplitude exp(-t / time_constant)``.

    Attributes
    ----------
    amplitude_ppm, u_amplitude_ppm : float
        At the track's beginning, and its standard uncertainty (k = 1), ppm.
    time_constant_s, u_time_constant_s : float
        And its standard uncertainty (k = 1), s.
    """

    amplitude_ppm: float
    u_amplitude_ppm: float
    time_constant_s: float
    u_time_constant_s: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WarmUp:
    """A fitted course of a clock's error.

    Attributes
    ----------
    shape : Shape
    settling : tuple of Settling
        The fastest first; none for a line, nor for a bend whose end was not seen.
    start_s, end_s : float
        Times of the first and last point observed, s.
    ppm, u_ppm : float
        Error at the end by the fit, and its standard uncertainty (k = 1) with the scatter, ppm.
    drift_ppm_per_hour, u_drift_ppm_per_hour : float
        Slope at the end, what is left of the settling included (k = 1).
    scatter_ppm : float
        Standard deviation of the points about the fit, ppm.
    curve : Curve
        The fit.
    covariance : ndarray of float64, shape (p, p)
        Of the curve's values; widened by the scatter, and by its being alike from point to point.
    """

    shape: Shape
    settling: tuple[Settling, ...]
    start_s: float
    end_s: float
    ppm: float
    u_ppm: float
    drift_ppm_per_hour: float
    u_drift_ppm_per_hour: float
    scatter_ppm: float
    curve: Curve
    covariance: Series

    def at(self, times_s: npt.ArrayLike) -> tuple[Series, Series]:
        """Error by the fit and its standard uncertainty (k = 1, without scatter), ppm."""
        t = np.asarray(times_s, dtype=np.float64)
        return self.curve.at(t), np.sqrt(self._variance(self.curve.jacobian(t)))

    def farthest_ppm(self, from_s: float, to_s: float) -> float:
        """How far the error gets from its value at `from_s` till `to_s`, U (k = 2) included."""
        t = np.linspace(from_s, to_s, 61)
        course, jacobian = self.curve.at(t), self.curve.jacobian(t)
        variance = self._variance(jacobian - jacobian[0]) + self.scatter_ppm**2
        return float((np.abs(course - course[0]) + 2.0 * np.sqrt(variance)).max())

    def _variance(self, jacobian: Series) -> Series:
        variance = np.einsum("ni,ij,nj->n", jacobian, self.covariance, jacobian)
        return np.asarray(np.maximum(variance, 0.0))


def fit_warm_up(
    times_s: npt.ArrayLike, ppm: npt.ArrayLike, u_ppm: npt.ArrayLike, *, mean_s: float
) -> WarmUp:
    """Fit the course of a clock's error.

    A settling is added where it lowers the squares by more than chance explains (F test, with as
    many points counted as are independent: ``n (1 - r) / (1 + r)``, r the correlation of
    neighbouring residuals), and is worth naming. Standard uncertainties are those of least squares
    with the scatter seen, widened by the same factor.

    Parameters
    ----------
    times_s : array_like of float, shape (n,)
        Middle of each point, s.
    ppm, u_ppm : array_like of float, shape (n,)
        Clock error and its standard uncertainty (k = 1) by noise; NaN where it was not observed.
    mean_s : float
        Each point is a mean over this long, s.

    Raises
    ------
    WarmUpError
        With fewer than eight points.
    """
    seen = np.isfinite(np.asarray(ppm, dtype=np.float64))
    t = np.asarray(times_s, dtype=np.float64)[seen]
    y = np.asarray(ppm, dtype=np.float64)[seen]
    u = np.asarray(u_ppm, dtype=np.float64)[seen]
    if t.size < FEWEST_POINTS:
        raise WarmUpError(
            f"the clock was followed for {t.size} points, too few to say how it drifts: "
            f"{FEWEST_POINTS} at least; follow it longer"
        )
    # No point counts for more than the median one: scatter, not noise, is what they share.
    middle = float(np.median(u))
    weights = np.ones(t.size) if middle == 0 else middle / np.maximum(u, middle)
    track = _Track(t=t, y=y, weights=weights, mean_s=mean_s)
    chosen = _choose(track)
    return _warm_up(track, chosen)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Track:
    """Points that were observed, in order of time."""

    t: Series
    y: Series
    weights: Series
    mean_s: float

    @property
    def end_s(self) -> float:
        return float(self.t[-1])

    @property
    def span_s(self) -> float:
        return float(self.t[-1] - self.t[0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Candidate:
    """A course fitted for given time constants."""

    shape: Shape
    curve: Curve
    residuals: Series

    @property
    def squares(self) -> float:
        return float(self.residuals @ self.residuals)

    @property
    def alike(self) -> float:
        """Points for each independent one, by the correlation of neighbouring residuals."""
        power = self.squares
        if power <= 0.0:
            return 1.0
        lag = float(self.residuals[1:] @ self.residuals[:-1]) / power
        r = min(max(lag, 0.0), _MOST_CORRELATION)
        return (1.0 + r) / (1.0 - r)


def _choose(track: _Track) -> _Candidate:
    """The simplest course that the points do not refute, of those that they determine."""
    line = _solve(track, ())
    if track.t.size < _FEWEST_TO_SETTLE:
        return line
    once, twice = _search(track, 1), _search(track, 2)
    fast_s, slow_s = np.exp(twice.curve.values[3::2])
    if (
        slow_s > _APART * fast_s
        and _better(twice, once)
        and _better(twice, line)
        and _determined(track, twice)
    ):
        chosen = twice
    elif _better(once, line) and _determined(track, once):
        chosen = once
    else:
        return line
    if np.exp(chosen.curve.values[-1]) > _LONGEST_OF_SPAN * track.span_s:
        return replace(chosen, shape=Shape.BENDING)
    return chosen


def _determined(track: _Track, candidate: _Candidate) -> bool:
    """Whether each time constant is known well enough to be told, or is too long to be."""
    logs = candidate.curve.values[3::2]
    u = np.sqrt(np.diag(_covariance(track, candidate)))[3::2]
    long = np.exp(logs) > _LONGEST_OF_SPAN * track.span_s
    return bool(((u < _UNSURE) | long).all())


def _better(richer: _Candidate, simpler: _Candidate) -> bool:
    """Whether a richer course explains more than chance would (F test), and enough to matter."""
    from scipy.special import fdtrc

    explained = max(simpler.squares - richer.squares, 0.0)
    more = richer.curve.values.size - simpler.curve.values.size
    left = richer.residuals.size / richer.alike - richer.curve.values.size
    if left < 3.0 or explained < richer.residuals.size * _NOTABLE_PPM**2:
        return False
    ratio = explained / max(richer.squares, 1e-30) * left / more
    return bool(fdtrc(more, left, ratio) < _RARE)


def _search(track: _Track, count: int) -> _Candidate:
    """The best time constants: by trial on a grid, then by least squares on their logarithms."""
    from scipy.optimize import least_squares

    spacing_s = track.span_s / (track.t.size - 1)
    low, high = np.log(1.5 * spacing_s), np.log(3.0 * track.span_s)
    grid = np.linspace(low, high, 40 if count == 1 else 16)
    if count == 1:
        trials: list[tuple[float, ...]] = [(float(a),) for a in grid]
    else:
        trials = [(float(a), float(b)) for n, a in enumerate(grid) for b in grid[n + 1 :]]
    best = min(trials, key=lambda logs: _solve(track, logs).squares)

    def residuals(logs: Series) -> Series:
        return _solve(track, logs.tolist()).residuals

    found = least_squares(
        residuals,
        np.array(best),
        bounds=(low - 1e-9, high + 1e-9),
        xtol=1e-12,
        ftol=1e-12,
        x_scale=0.1,
    )
    return _solve(track, sorted(found.x.tolist()))


def _solve(track: _Track, logs: Sequence[float]) -> _Candidate:
    """Line and amplitudes by linear least squares, for given logarithms of time constants."""
    shape = (Shape.LINE, Shape.SETTLING, Shape.SETTLING_TWICE)[len(logs)]
    values = np.zeros(2 + 2 * len(logs))
    values[3::2] = logs
    linear = [0, 1, *range(2, values.size, 2)]
    curve = Curve(values=values, origin_s=track.end_s)
    design = curve.jacobian(track.t, mean_s=track.mean_s)[:, linear] * track.weights[:, None]
    # Columns of about one size: seconds and ppm differ by powers of ten.
    size = np.linalg.norm(design, axis=0)
    size[size == 0] = 1.0
    solved, *_ = np.linalg.lstsq(design / size, track.y * track.weights, rcond=None)
    values[linear] = solved / size
    left = track.y - curve.at(track.t, mean_s=track.mean_s)
    return _Candidate(shape=shape, curve=curve, residuals=left * track.weights)


def _covariance(track: _Track, candidate: _Candidate) -> Series:
    """Of the curve's values, by the residuals' own size and likeness."""
    jacobian = candidate.curve.jacobian(track.t, mean_s=track.mean_s) * track.weights[:, None]
    size = np.linalg.norm(jacobian, axis=0)
    size[size == 0] = 1.0
    inverse = np.linalg.pinv((jacobian / size).T @ (jacobian / size)) / np.outer(size, size)
    return np.asarray(inverse * _variance(track, candidate) * candidate.alike)


def _variance(track: _Track, candidate: _Candidate) -> float:
    return candidate.squares / max(track.t.size - candidate.curve.values.size, 1)


def _warm_up(track: _Track, chosen: _Candidate) -> WarmUp:
    covariance = _covariance(track, chosen)
    values = chosen.curve.values
    u = np.sqrt(np.diag(covariance))
    settling = tuple(
        Settling(
            amplitude_ppm=float(values[at]),
            u_amplitude_ppm=float(u[at]),
            time_constant_s=float(np.exp(values[at + 1])),
            u_time_constant_s=float(np.exp(values[at + 1]) * u[at + 1]),
        )
        for at in range(2, values.size, 2)
    )
    end = np.array([track.end_s])
    here = chosen.curve.jacobian(end)[0]
    scatter = sqrt(_variance(track, chosen))
    slope, u_slope = chosen.curve.slope(track.end_s, covariance)
    return WarmUp(
        shape=chosen.shape,
        settling=() if chosen.shape is Shape.BENDING else settling,
        start_s=float(track.t[0]),
        end_s=track.end_s,
        ppm=float(chosen.curve.at(end)[0]),
        u_ppm=hypot(sqrt(max(float(here @ covariance @ here), 0.0)), scatter),
        drift_ppm_per_hour=3600.0 * slope,
        u_drift_ppm_per_hour=3600.0 * u_slope,
        scatter_ppm=scatter,
        curve=chosen.curve,
        covariance=covariance,
    )
