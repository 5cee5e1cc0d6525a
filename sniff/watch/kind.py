"""How a line went: the rule by which a drop-out is a break, a pull or a fade, and its physics.

**break**: a contact opens within microseconds. What is seen is the oscillator dying away: its
amplitude falls with ``τ = Q / (π f)``, 0.6 ms for a crystal of Q = 50,000 at 28 MHz, and it keeps
its frequency, for all that sets it is still there. Level abrupt, frequency unmoved.

**pull**: a hand or another load comes near. Its capacitance detunes before its loss damps (the one
grows as 1 / distance, the other faster), so the frequency has moved by the time the level falls,
whether that is slow or, when the oscillation ends altogether, abrupt.

**fade**: a supply runs down by its capacitors (tens of milliseconds and more), a part warms or
cools, the loop or the set is moved. Level slow, frequency unmoved but for its usual swing.

So the frequency is asked first, then how long the level took. *Moved* means: by more than 0.5 ppm
and two and a half times what the line swings by itself (hum, wander, noise, all measured on it
before), off the straight line on which it drifted. *Abrupt* means: from 1 to 5 ms (or time
resolutions) before it was gone it still had half its power in the mean, over which neither hum nor
noise decides. A line that had come back less than 50 ms before is still settling, and shows what a
start shows: such a drop-out is one more of the last one's kind (a joint chatters).
"""

from dataclasses import dataclass

import numpy as np

from sniff.model import Doubles
from sniff.watch.nouns import Kind

SETTLING_S = 0.05
"""A line that has come back so lately has not settled yet."""

SMOOTH_S = 2e-3
"""Over which the frequency is averaged when a pull is asked for."""

_ABRUPT = (1.0, 5.0)  # ms or resolutions before it was gone
_MILLISECOND_S = 1e-3
_HALF = 0.5
_SLOW_FALL = 5
_NOT_OLD_S = 0.02
_APART_S = 2.0  # a reference older than this has seen nothing of a hand that is coming
_FEWEST = 8
_SWINGS = 2.5
_LEAST_PULL = 5e-7  # of the frequency: a start or an edge does not look like so much


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Going:
    """What is known of a line as it went.

    Attributes
    ----------
    relative : ndarray of float64, shape (n,)
        Power over its own, in steps of `step_s` up to the moment it was gone; NaN unobserved.
    hz : ndarray of float64, shape (n,)
        Frequency at the same times, Hz, from any zero; NaN where not known.
    step_s, resolution_s : float
    slow_s, slow_hz, slow_swing_hz : ndarray of float64, shape (m,)
        Times before that moment (negative, s), mean frequencies over some 50 ms, and half the
        range that the frequency went through in these, smoothed over 2 ms, Hz.
    line_hz : float
        The line's frequency, Hz.
    """

    relative: Doubles
    hz: Doubles
    step_s: float
    resolution_s: float
    slow_s: Doubles
    slow_hz: Doubles
    slow_swing_hz: Doubles
    line_hz: float


def judge(going: Going) -> tuple[Kind, float]:
    """Say how a line went.

    Returns
    -------
    Kind, float
        And how far its frequency had moved, Hz; 0 when no farther than it moves by itself.
    """
    pull_hz = _pull_hz(going)
    if pull_hz != 0.0:
        return Kind.PULL, pull_hz
    return (Kind.BREAK if _is_abrupt(going) else Kind.FADE), 0.0


def _is_abrupt(going: Going) -> bool:
    unit_s = max(_MILLISECOND_S, going.resolution_s)
    late, early = (max(1, round(edge * unit_s / going.step_s)) for edge in _ABRUPT)
    before = going.relative[-early:-late]
    seen = before[np.isfinite(before)]
    return seen.size == 0 or float(seen.mean()) >= _HALF


def _pull_hz(going: Going) -> float:
    smooth = max(1, round(SMOOTH_S / going.step_s))
    known = np.isfinite(going.hz)
    # By phase a mean is the better the longer it is; where the level fell slowly there is time,
    # and where it fell abruptly the frames of the fall itself hold little but noise.
    abrupt = _is_abrupt(going)
    useful = going.hz[known & (going.relative >= _HALF) if abrupt else known]
    if not useful.size:
        return 0.0
    at_fall_hz = float(useful[-(smooth if abrupt else _SLOW_FALL * smooth) :].mean())
    before = going.hz[: max(0, going.hz.size - round(_NOT_OLD_S / going.step_s))]
    reference_hz, swing_hz = _reference(going, before, smooth)
    if reference_hz is None:
        return 0.0
    pull_hz = at_fall_hz - reference_hz
    least_hz = max(_SWINGS * swing_hz, _LEAST_PULL * going.line_hz)
    return pull_hz if abs(pull_hz) > least_hz else 0.0


def _reference(going: Going, before: Doubles, smooth: int) -> tuple[float | None, float]:
    """Where the line would be had nothing happened, and how far it swings by itself."""
    old = going.slow_s <= -_APART_S
    if old.sum() < _FEWEST:
        # Too young for a drift to be known: what it was at first.
        early = before[np.isfinite(before)][: max(8 * smooth, before.size // 4)]
        swings = going.slow_swing_hz
        if early.size == 0 or swings.size == 0:
            return None, 0.0
        return float(np.median(early)), float(np.median(swings))
    t, f = going.slow_s[old], going.slow_hz[old]
    slope = _median_slope(t, f) if t[-1] - t[0] > _APART_S else 0.0
    level = float(np.median(f - slope * t))
    scatter_hz = 1.4826 * float(np.median(np.abs(f - level - slope * t)))
    # Carried on for as long as it was fitted, a straight line is some three times as uncertain.
    return level, float(np.hypot(np.median(going.slow_swing_hz[old]), 3.0 * scatter_hz))


def _median_slope(t: Doubles, f: Doubles) -> float:
    """Theil's slope, the median over pairs half the stretch apart: blind to single jumps."""
    half = t.size // 2
    return float(np.median((f[half : 2 * half] - f[:half]) / (t[half : 2 * half] - t[:half])))
