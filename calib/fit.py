"""Fit: from references as indicated to the clock's correction, with what they disagree by."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product
from math import hypot, prod, sqrt

from calib.correction import Correction
from calib.errors import BenchError

LARGEST_PPM = 200.0
"""No dongle's crystal is further off; a larger error is another station's."""

_OUTLIER = 3.5  # standard deviations from what the others say
_MOST_WAYS = 3**7  # of reading all references; more of them are not tried


class FitError(BenchError):
    """References that allow no correction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferencePoint:
    """A reference and where it was indicated.

    Attributes
    ----------
    name : str
    nominal_hz, u_nominal_hz : float
        What it is, and the standard uncertainty (k = 1) of that, Hz.
    indicated_hz, u_indicated_hz : float
        Where it stood on the uncorrected scale, Hz.
    """

    name: str
    nominal_hz: float
    u_nominal_hz: float
    indicated_hz: float
    u_indicated_hz: float

    @property
    def ppm(self) -> float:
        """Clock error by this reference alone: ``true = indicated (1 + ppm 1e-6)``."""
        return (self.nominal_hz / self.indicated_hz - 1.0) * 1e6

    @property
    def u_ppm(self) -> float:
        """Its standard uncertainty (k = 1), ppm."""
        return hypot(self.u_nominal_hz, self.u_indicated_hz) / self.nominal_hz * 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Residual:
    """What one reference says against the fit."""

    name: str
    nominal_hz: float
    indicated_hz: float
    residual_ppm: float
    u_ppm: float
    used: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A correction and how well its references agree.

    Attributes
    ----------
    correction : Correction
    references : tuple of Residual
        In the order given; an outlier is named, not averaged in.
    birge_ratio : float
        Scatter over what the stated u explain; u is widened by it when above 1.
    at_odds : tuple of (str, str)
        Pairs of those used that cannot both lie within their limits.
    """

    correction: Correction
    references: tuple[Residual, ...]
    birge_ratio: float
    at_odds: tuple[tuple[str, str], ...]


def fit_correction(points: Sequence[ReferencePoint], *, origin: str) -> Fit:
    """Weighted mean of the clock errors that the references tell.

    Weights are 1/u². The standard uncertainty of the mean is ``1/sqrt(sum 1/u²)``, times the Birge
    ratio ``sqrt(chi² / (n - 1))`` where that is above 1 (R. T. Birge, Phys. Rev. 40, 1932), and
    never below the smallest u of any one reference: limits of the same kind have a common cause,
    and do not average down.

    Raises
    ------
    FitError
        When the clock would be off by more than 200 ppm.
    ValueError
        Without a point, or with one of no uncertainty.
    """
    if not points or any(point.u_ppm <= 0 for point in points):
        raise ValueError("a fit needs references, each with an uncertainty above zero")
    used = _without_outlier(points)
    ppm, inner = _mean(used)
    chi2 = sum(((point.ppm - ppm) / point.u_ppm) ** 2 for point in used)
    birge = sqrt(chi2 / (len(used) - 1)) if len(used) > 1 else 0.0
    u_ppm = max(inner * max(1.0, birge), min(point.u_ppm for point in used))
    if abs(ppm) > LARGEST_PPM:
        raise FitError(
            f"the clock would be {ppm:+.0f} ppm off, more than ±{LARGEST_PPM:g}: the reference is "
            "probably another station; check its frequency"
        )
    return Fit(
        correction=Correction(ppm=ppm, u_ppm=u_ppm, origin=origin),
        references=tuple(
            Residual(
                name=point.name,
                nominal_hz=point.nominal_hz,
                indicated_hz=point.indicated_hz,
                residual_ppm=point.ppm - ppm,
                u_ppm=point.u_ppm,
                used=point in used,
            )
            for point in points
        ),
        birge_ratio=birge,
        at_odds=tuple(
            (one.name, other.name)
            for one, other in combinations(used, 2)
            if not _can_both_be(one, other)
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """One way of reading references that can be read in several.

    Attributes
    ----------
    points : tuple of ReferencePoint
        The way that was taken.
    others : tuple of (tuple of ReferencePoint)
        Other ways in which all agree as well: where there are any, the references do not settle it.
    """

    points: tuple[ReferencePoint, ...]
    others: tuple[tuple[ReferencePoint, ...], ...]


def settle(ways: Sequence[Sequence[ReferencePoint]]) -> Settled:
    """Read each reference in the way in which all agree.

    A pilot may have been offset on purpose: its one indication then has several nominals, of which
    only that of the true clock agrees with the other references.

    Parameters
    ----------
    ways : sequence of sequence of ReferencePoint
        For each reference all ways to read it, the plainest first. The plainest of all is taken
        where it agrees, or nothing does; `others` then tells what agrees as well.

    Raises
    ------
    FitError
        When the plainest does not agree and several others do: they are named, none is chosen.
    """
    plain = tuple(each[0] for each in ways)
    count = prod(len(each) for each in ways)
    if count > _MOST_WAYS:
        raise FitError(f"{count} ways to read these references are too many: give fewer")
    agreeing = [points for points in product(*ways) if _all_agree(points)] if count > 1 else []
    if plain in agreeing or not agreeing:
        return Settled(points=plain, others=tuple(way for way in agreeing if way != plain))
    if len(agreeing) > 1:
        told = " or ".join(f"{_mean(points)[0]:+.2f} ppm" for points in agreeing)
        raise FitError(
            f"the references can be read in more than one way, as a clock of {told}: give another"
        )
    return Settled(points=agreeing[0], others=())


def _all_agree(points: Sequence[ReferencePoint]) -> bool:
    return abs(_mean(points)[0]) <= LARGEST_PPM and all(
        _can_both_be(one, other) for one, other in combinations(points, 2)
    )


def _can_both_be(one: ReferencePoint, other: ReferencePoint) -> bool:
    """Whether some clock suits both: 2 u covers a rectangle whole, 95 % of a normal spread."""
    return abs(one.ppm - other.ppm) <= 2.0 * (one.u_ppm + other.u_ppm)


def _mean(points: Sequence[ReferencePoint]) -> tuple[float, float]:
    weights = [1.0 / point.u_ppm**2 for point in points]
    total = sum(weights)
    mean = sum(w * point.ppm for w, point in zip(weights, points, strict=True)) / total
    return mean, 1.0 / sqrt(total)


def _without_outlier(points: Sequence[ReferencePoint]) -> list[ReferencePoint]:
    """Leave out the one that disagrees with all others, when there are enough to say so."""
    if len(points) < 3:
        return list(points)
    distances = []
    for point in points:
        others = [other for other in points if other is not point]
        mean, u = _mean(others)
        distances.append(abs(point.ppm - mean) / hypot(u, point.u_ppm))
    worst = max(range(len(points)), key=distances.__getitem__)
    rest = [point for at, point in enumerate(points) if at != worst]
    mean, _ = _mean(rest)
    rest_agrees = all(abs(p.ppm - mean) < _OUTLIER * p.u_ppm for p in rest)
    return rest if distances[worst] > _OUTLIER and rest_agrees else list(points)
