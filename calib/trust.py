"""Trust: from when on a clock that warms up moves by little enough."""

from dataclasses import dataclass, replace

import numpy as np

from calib.warmup import Shape, WarmUp

HORIZON_S = 3600.0
"""How long a clock that is trusted must stay where it is: an hour's work at the bench."""

_TRIALS = 400
_AHEAD = 10.0  # tracks' lengths beyond its end, within which a time is foretold


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """From when on a clock stays put.

    Attributes
    ----------
    limit_ppm : float
        By how much it may move within `horizon_s`, U (k = 2) included.
    horizon_s : float
    after_s : float or None
        Time from which on it moves by no more; None when that was not seen.
    expected_s : float or None
        Where it was not seen, the time at which the fit would come there; None when it would not.
    why : str or None
        Why it was not seen.
    """

    limit_ppm: float
    horizon_s: float
    after_s: float | None
    expected_s: float | None = None
    why: str | None = None


def trusted(warm: WarmUp, *, limit_ppm: float) -> Trust:
    """From when on the clock moves by no more than a limit within an hour.

    Counted are the fit's own course, its U, and the scatter of the points. The time lies late
    rather than early, by up to a part in 400 of the track.

    Parameters
    ----------
    warm : WarmUp
    limit_ppm : float
        Above 0, ppm.
    """
    trust = Trust(limit_ppm=limit_ppm, horizon_s=HORIZON_S, after_s=None)
    if warm.shape is Shape.BENDING:
        return replace(
            trust, why="it still bends, and where that ends cannot be told; follow it longer"
        )
    if 2.0 * warm.scatter_ppm > limit_ppm:
        wander = f"it wanders by ±{2.0 * warm.scatter_ppm:.2g} ppm by itself"
        return replace(trust, why=f"{wander}; shield it from draughts, or try another reference")
    trials = np.linspace(warm.start_s, warm.end_s, _TRIALS + 1)
    moving = np.array([warm.farthest_ppm(t, t + HORIZON_S) > limit_ppm for t in trials])
    if not moving[-1]:
        first = int(np.flatnonzero(moving)[-1]) + 1 if moving.any() else 0
        return replace(trust, after_s=float(trials[first]))
    far = warm.farthest_ppm(warm.end_s, warm.end_s + HORIZON_S)
    why = f"at the end it may still move by {far:.2g} ppm within an hour; follow it longer"
    trust = replace(trust, why=why)
    if warm.settling:
        span_s = warm.end_s - warm.start_s
        for t in np.linspace(warm.end_s, warm.end_s + _AHEAD * span_s, _TRIALS):
            if warm.farthest_ppm(t, t + HORIZON_S) <= limit_ppm:
                return replace(trust, expected_s=float(t))
    return trust


def settled_from_s(warm: WarmUp, trust: Trust) -> float | None:
    """From when on the clock's own stability may be looked at, s; None when it did not settle.

    From when on it is trusted, else when of its settling e⁻⁵ is left; a line is settled all along.
    """
    if trust.after_s is not None:
        return trust.after_s
    if warm.shape is Shape.LINE:
        return warm.start_s
    after_s = 5.0 * max((each.time_constant_s for each in warm.settling), default=float("inf"))
    return after_s if after_s < warm.end_s else None
