"""Warmed: a reference that was followed, judged: how the clock settled, and when it was at rest."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from calib.fit import ReferencePoint
from calib.references import Reference
from calib.stability import Deviation, ladder
from calib.trust import Trust, settled_from_s, trusted
from calib.warmup import WarmUp, fit_warm_up
from sniff.following import Pace, Track
from sniff.model import Caution, Doubles
from sniff.units import Tolerance, format_parts, format_ppm, format_seconds

USUAL_TOLERANCE_PPM = 5.0
"""Tolerance of many hand-helds in narrow channels, taken when none is stated (common practice)."""

SHARE = 0.1
"""Part of a tolerance by which a trusted clock may still move."""

_WANDER_PPM, _WANDER_RATIO = 0.02, 2.0
_JUMP_PPM, _JUMP_RATIO = 0.05, 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Warmed:
    """A clock as it warmed up.

    Attributes
    ----------
    reference : Reference
    pace : Pace
    times_s : ndarray of float64, shape (n,)
        Middles of the points, since the first step's beginning, s.
    ppm, u_ppm : ndarray of float64, shape (n,)
        Clock error and its standard uncertainty (k = 1) by the scatter within a step; NaN where the
        reference was not observed. The reference's own doubt is not in it.
    fit : WarmUp
    trust : Trust
    tolerance_ppm : float
        For which it is to be trusted, ppm.
    tolerance_assumed : bool
    settled_s : float or None
        From when on `stability` looks; None when the clock did not settle.
    stability : tuple of Deviation
        Allan deviation from then on, as a fraction of the frequency, the fit taken out.
    cautions : tuple of Caution
    """

    reference: Reference
    pace: Pace
    times_s: Doubles
    ppm: Doubles
    u_ppm: Doubles
    fit: WarmUp
    trust: Trust
    tolerance_ppm: float
    tolerance_assumed: bool
    settled_s: float | None
    stability: tuple[Deviation, ...]
    cautions: tuple[Caution, ...]

    @property
    def observed(self) -> int:
        """Points at which the reference was observed."""
        return int(np.isfinite(self.ppm).sum())

    @property
    def followed_s(self) -> float:
        """How long it was followed, gaps included, s."""
        return self.pace.step_s * self.ppm.size

    @property
    def unobserved_s(self) -> float:
        """How long of that the reference was not observed, s."""
        return self.pace.step_s * (self.ppm.size - self.observed)

    @property
    def point(self) -> ReferencePoint:
        """The reference as it stood at the end, by the fit."""
        nominal_hz = self.reference.nominal_hz
        return ReferencePoint(
            name=self.reference.name,
            nominal_hz=nominal_hz,
            u_nominal_hz=self.reference.u_hz,
            indicated_hz=nominal_hz / (1.0 + self.fit.ppm * 1e-6),
            u_indicated_hz=nominal_hz * self.fit.u_ppm * 1e-6,
        )

    @property
    def drift_limit_ppm_per_hour(self) -> float:
        """How fast it may still drift at the end, U (k = 2) included, ppm per hour."""
        return abs(self.fit.drift_ppm_per_hour) + 2.0 * self.fit.u_drift_ppm_per_hour


def judge_track(
    track: Track, *, reference: Reference, pace: Pace, tolerance: Tolerance | None
) -> Warmed:
    """Fit a track, and say from when on the clock may be trusted for a tolerance.

    Raises
    ------
    WarmUpError
        When it is too short to say anything.
    """
    indicated_hz = np.array([point.indicated_hz for point in track.points], dtype=np.float64)
    u_hz = np.array([point.u_hz for point in track.points], dtype=np.float64)
    ppm = (reference.nominal_hz / indicated_hz - 1.0) * 1e6
    u_ppm = u_hz / reference.nominal_hz * 1e6
    counted_s = np.array([point.time_s for point in track.points])
    # The clock that counts the time is the one that is off.
    times_s = counted_s / (1.0 + np.nan_to_num(ppm) * 1e-6)
    fit = fit_warm_up(times_s, ppm, u_ppm, mean_s=pace.mean_s)
    tolerance_ppm = _in_ppm(tolerance, reference)
    trust = trusted(fit, limit_ppm=SHARE * tolerance_ppm)
    settled_s = settled_from_s(fit, trust)
    # The course is no noise, and must be taken out first (common practice, no source).
    own_ppm = ppm - fit.at(times_s)[0]
    settled = own_ppm[times_s >= settled_s] if settled_s is not None else np.empty(0)
    return Warmed(
        reference=reference,
        pace=pace,
        times_s=times_s,
        ppm=ppm,
        u_ppm=u_ppm,
        fit=fit,
        trust=trust,
        tolerance_ppm=tolerance_ppm,
        tolerance_assumed=tolerance is None,
        settled_s=settled_s,
        stability=ladder(settled * 1e-6, step_s=pace.step_s),
        cautions=(
            *_holes(track, pace),
            *_jumps(times_s, ppm, fit),
            *_wander(ppm, u_ppm, fit),
        ),
    )


def _in_ppm(tolerance: Tolerance | None, reference: Reference) -> float:
    if tolerance is None:
        return USUAL_TOLERANCE_PPM
    return tolerance.at(reference.nominal_hz) / reference.nominal_hz * 1e6


def _holes(track: Track, pace: Pace) -> tuple[Caution, ...]:
    """Time in which the source lost samples, or had them and the reference was not in them."""
    lost = sum(point.lost for point in track.points)
    away = [point.indicated_hz is None and not point.lost for point in track.points]
    cautions = []
    if lost:
        text = f"{format_seconds(lost * pace.step_s)} of samples were lost and not observed"
        cautions.append(Caution(code="gaps", text=text))
    if any(away):
        first_s = track.points[away.index(True)].time_s - pace.mean_s / 2.0
        text = (
            f"the reference was not heard for {format_seconds(sum(away) * pace.step_s)} in all, "
            f"first at {format_seconds(first_s)}: unobserved, and nothing is made of it"
        )
        cautions.append(Caution(code="reference-gone", text=text))
    return tuple(cautions)


def _jumps(times_s: Doubles, ppm: Doubles, fit: WarmUp) -> tuple[Caution, ...]:
    """Steps of the residual that stand far above all others; a crystal makes none."""
    residual = ppm - fit.at(times_s)[0]
    seen = np.flatnonzero(np.isfinite(residual))
    steps = np.diff(residual[seen])
    usual = 1.4826 * float(np.median(np.abs(steps)))  # of a normal distribution, by its quartiles
    largest = int(np.argmax(np.abs(steps)))
    if abs(steps[largest]) < max(_JUMP_PPM, _JUMP_RATIO * usual):
        return ()
    text = (
        f"at {format_seconds(float(times_s[seen[largest + 1]]))} the frequency jumped by "
        f"{format_ppm(float(steps[largest]))}, which a crystal that warms up does not: the "
        "reference may be unsteady itself, or another carrier; follow another one"
    )
    return (Caution(code="reference-jumped", text=text),)


def _wander(ppm: Doubles, u_ppm: Doubles, fit: WarmUp) -> tuple[Caution, ...]:
    """Scatter about the fit that the scatter within the steps does not explain."""
    noise = sqrt(float(np.nanmean(u_ppm**2)))
    if fit.scatter_ppm < max(_WANDER_PPM, _WANDER_RATIO * noise):
        return ()
    text = (
        f"reference or clock wander by ±{format_parts(2.0 * fit.scatter_ppm)} (k = 2) about the "
        f"fit, noise alone by ±{format_parts(2.0 * noise)}: a second reference would tell which "
        "of them it is; all of it is in U"
    )
    return (Caution(code="reference-unsteady", text=text),)
