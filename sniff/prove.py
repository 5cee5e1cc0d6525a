"""Is it real?  A line on the air follows the tuning and the gain; what the receiver made does not.

Let the centre move up by d. A real line keeps its frequency. What arises behind the mixer keeps
its place from the centre, and its frequency moves by d. An image is turned about the centre, and
moves by 2 d. At s decibels less gain a real line falls by s, a third-order product by 3 s, and what
arises behind the amplifier not at all.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from math import hypot

from sniff.model import Peak

_LEVEL_DB = 1.5  # by how much a steady level may differ between two looks
_PRODUCT_SHARE = 1.8  # of the gain step: half-way to second order and beyond


class Proof(str, Enum):
    """What moving the tuning and stepping the gain told of a peak."""

    REAL = "real"
    OWN = "own"
    IMAGE = "image"
    OVERLOAD = "overload"
    UNPROVEN = "unproven"


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A second look, by which the first is tried.

    Attributes
    ----------
    moved_hz : float
        By how much its centre lies above the first one's, Hz.
    less_gain_db : float
        By how much its gain is lower, dB.
    rbw_hz : float
    peaks : tuple of Peak
    """

    moved_hz: float
    less_gain_db: float
    rbw_hz: float
    peaks: tuple[Peak, ...]


def prove(
    peaks: Sequence[Peak], moved: Trial, weakened: Trial | None, *, overloaded: bool = False
) -> tuple[Proof, ...]:
    """Try each peak of a look.

    Parameters
    ----------
    peaks : sequence of Peak
        Of the first look.
    moved : Trial
        At another centre, with the same gain.
    weakened : Trial or None
        At the first centre with less gain; None when the gain cannot be set.
    overloaded : bool
        Whether the first look was: then a real line is compressed, and falls by too little.

    Returns
    -------
    tuple of Proof
        One for each peak; `UNPROVEN` when it was not found again, or in more than one place.
    """
    return tuple(_prove(peak, moved, weakened, overloaded=overloaded) for peak in peaks)


def _prove(peak: Peak, moved: Trial, weakened: Trial | None, *, overloaded: bool) -> Proof:
    places = {Proof.REAL: 0.0, Proof.OWN: moved.moved_hz, Proof.IMAGE: 2.0 * moved.moved_hz}
    found = [
        proof
        for proof, shift_hz in places.items()
        if _near(peak, peak.indicated_hz + shift_hz, moved) is not None
    ]
    if len(found) != 1:
        return Proof.UNPROVEN
    if found[0] is not Proof.REAL or weakened is None:
        return found[0]
    again = _near(peak, peak.indicated_hz, weakened)
    if again is None:
        # A real line may have sunk into the noise; a product falls faster, and would too.
        return Proof.UNPROVEN
    fall_db = peak.level_dbfs - again.level_dbfs
    if fall_db > _PRODUCT_SHARE * weakened.less_gain_db:
        return Proof.OVERLOAD
    if fall_db < weakened.less_gain_db / 2.0 - _LEVEL_DB:
        return Proof.UNPROVEN if overloaded else Proof.OWN
    return Proof.REAL


def _near(peak: Peak, place_hz: float, trial: Trial) -> Peak | None:
    """The peak of a trial at a place, of a level that can be the same line's."""
    for other in trial.peaks:
        reach_hz = trial.rbw_hz + 2.0 * hypot(peak.u_indicated_hz, other.u_indicated_hz)
        reach_hz = min(reach_hz, abs(trial.moved_hz) / 3.0 or reach_hz)
        same_level = abs(other.level_dbfs - peak.level_dbfs) < 10.0 or trial.less_gain_db > 0
        if abs(other.indicated_hz - place_hz) <= reach_hz and same_level:
            return other
    return None
