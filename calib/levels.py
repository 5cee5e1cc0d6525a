"""Levels: what a digital full scale is worth in dBm, for a dongle, a gain and a frequency."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import hypot, isfinite, log10, sqrt

FORMAT = 1

GAIN_MATCH_DB = 0.05
"""A point holds for its own step of the gain only: the steps are stated to 0.1 dB, and are off by
more than that (the driver's table was taken at one frequency, on one sample)."""

RIPPLE_DB = 2.0
"""Half-width of what the pass-band does between two places in its usable part (common practice, no
source)."""

NEAR = 1.1
"""Ratio of frequencies within which a point holds as it is."""

FAR = 2.0
"""Ratio beyond which it says nothing; between the two another ±`FAR_DB` is allowed for."""

FAR_DB = 3.0
"""Half-width by which a tuner's gain may change within an octave (common practice, no source)."""

SMALLEST_U_DB = 0.1
"""No level is known better than this with eight bits and a warming front end (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelPoint:
    """One known level at the dongle's input, and how it was indicated.

    Attributes
    ----------
    name : str
        The dongle's serial number, or what the user calls it.
    at_hz : float
        Frequency, Hz.
    gain_db : float
        Gain of the tuner, dB.
    offset_db : float
        Known level in dBm minus indicated level in dBFS, dB.
    u_db : float
        Standard uncertainty (k = 1) of that, dB.
    made : datetime
        Aware UTC.
    """

    name: str
    at_hz: float
    gain_db: float
    offset_db: float
    u_db: float
    made: datetime

    def __post_init__(self) -> None:
        numbers = (self.at_hz, self.gain_db, self.offset_db, self.u_db)
        if not all(isfinite(number) for number in numbers) or self.at_hz <= 0 or self.u_db < 0:
            raise ValueError(f"a level needs finite numbers, f > 0 and u >= 0, not {self!r}")

    def renamed(self, name: str) -> "LevelPoint":
        """The same under another name."""
        return replace(self, name=name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """What is added to dBFS to give dBm, and how sure that is.

    Attributes
    ----------
    offset_db : float
    u_db : float
        Standard uncertainty (k = 1), dB.
    point : LevelPoint
        By which it is known.
    """

    offset_db: float
    u_db: float
    point: LevelPoint


def point_of(
    *,
    name: str,
    at_hz: float,
    gain_db: float,
    known_dbm: float,
    limit_db: float,
    level_dbfs: float,
    u_level_db: float,
    made: datetime,
) -> LevelPoint:
    """Tie an indicated level to a known one.

    Parameters
    ----------
    known_dbm, limit_db : float
        Level at the dongle's input; it lies within ± `limit_db`, taken as rectangular:
        ``u = a / sqrt(3)`` (JCGM 100:2008, 4.3.7).
    level_dbfs, u_level_db : float
        As indicated, with its standard uncertainty.
    """
    return LevelPoint(
        name=name,
        at_hz=at_hz,
        gain_db=gain_db,
        offset_db=known_dbm - level_dbfs,
        u_db=max(hypot(limit_db / sqrt(3.0), u_level_db), SMALLEST_U_DB),
        made=made,
    )


def scale_at(points: Sequence[LevelPoint], *, at_hz: float, gain_db: float | None) -> Scale | None:
    """The scale at a frequency and gain, by the nearest point; the newest of several at one place.

    Returns
    -------
    Scale or None
        None at a gain that was not calibrated or that is automatic, or too far from all points.
    """
    if gain_db is None or at_hz <= 0:
        return None
    usable = [
        point
        for point in points
        if abs(point.gain_db - gain_db) <= GAIN_MATCH_DB and _ratio(point.at_hz, at_hz) <= FAR
    ]
    if not usable:
        return None
    point = min(usable, key=lambda each: (_ratio(each.at_hz, at_hz), -each.made.timestamp()))
    ratio = _ratio(point.at_hz, at_hz)
    # In proportion to the octaves: nothing where the point was taken, all of it an octave away.
    far_db = 0.0 if ratio <= NEAR else FAR_DB * log10(ratio) / log10(FAR)
    u_db = hypot(point.u_db, RIPPLE_DB / sqrt(3.0), far_db / sqrt(3.0))
    return Scale(offset_db=point.offset_db, u_db=u_db, point=point)


def _ratio(one_hz: float, other_hz: float) -> float:
    return max(one_hz / other_hz, other_hz / one_hz)
