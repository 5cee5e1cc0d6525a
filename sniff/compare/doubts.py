"""How far two sets may differ by chance: the placing of the loop, and the clock."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot, inf, log, sqrt

from calib.correction import Correction
from sniff.board import BoardLine
from sniff.compare.settings import CLOCK_MOVES_PPM, CompareSettings
from sniff.placings import PlacingSpread, expanded_factor
from sniff.strength import LEAST_DB, U_GAIN_DB

U_CLOCK_MOVES_PPM = CLOCK_MOVES_PPM / sqrt(3.0)
"""By what a clock moves between two sets: rectangular (JCGM 100:2008, 4.3.7)."""

_LEAST_DEGREES = 5
_SELDOM = 0.05

_SCALLOPING_DB = 1.42  # of a Hann window: Harris, Proceedings of the IEEE 66, 1978, table I
_THRESHOLD_Z = 4.5  # of a look over some thousand points, 4 to 5 by their number

_READ_TO_DB = 0.05
"""No level is read better, however alike its placings were (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelDoubt:
    """What a difference of two levels is worth.

    Attributes
    ----------
    u_db : float
        Its standard uncertainty (k = 1).
    expanded_db : float
        Its expanded uncertainty, 95.45 %.
    degrees : int or None
        Of freedom; None when it was stated.
    limit_db : float
        Beyond it a line is weak (or strong), at the stated false-alarm rate over all lines.
    would_tell_db : float
        So much weaker, a line would have been beyond the limit with 95 % probability.
    """

    u_db: float
    expanded_db: float
    degrees: int | None
    limit_db: float
    would_tell_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelDoubts:
    """What any difference of two levels is worth, by how often the loop was placed for each.

    Attributes
    ----------
    spread : PlacingSpread or None
    lines : int
        How many lines are judged, at all places.
    settings : CompareSettings
    other_gain : bool
    """

    spread: PlacingSpread | None
    lines: int
    settings: CompareSettings
    other_gain: bool = False

    def of(self, good_placings: int, suspect_placings: int, *, noise_db: float = 0.0) -> LevelDoubt:
        """As `level_doubt`."""
        return level_doubt(
            self.spread,
            good_placings=good_placings,
            suspect_placings=suspect_placings,
            lines=self.lines,
            settings=self.settings,
            other_gain=self.other_gain,
            noise_db=noise_db,
        )


def level_doubt(
    spread: PlacingSpread | None,
    *,
    good_placings: int,
    suspect_placings: int,
    lines: int,
    settings: CompareSettings,
    other_gain: bool = False,
    noise_db: float = 0.0,
) -> LevelDoubt:
    """What differences of level are worth, given how the loop was placed.

    With a standard deviation s of one placing, a difference of two means has
    ``u = s sqrt(1 / n + 1 / m)``. A measured s goes with Student's t and its degrees of freedom
    (JCGM 100:2008, G.3); with fewer than five it tells less than what is stated of placements,
    whose U (k = 2) is that of one difference and is taken as normal, unless they refute it by a
    scatter (chi-square) that it would make in one case of 20. One-sided, so that of all
    `lines` none is called weak by chance but in ``false_alarm_rate`` of all comparisons (Šidák
    1967: ``1 - (1 - a)^(1/n)`` for each).

    Parameters
    ----------
    spread : PlacingSpread or None
    good_placings, suspect_placings : int
    lines : int
        How many lines are judged, at all places.
    settings : CompareSettings
    other_gain : bool
        Whether the tuner's gain was another, so that its steps are in doubt too.
    noise_db : float
        Standard uncertainty of the difference by the noise in which the lines were read, dB.
    """
    from scipy.special import stdtrit

    sd_db, degrees = settings.placement_db / 2.0 / sqrt(2.0), None
    if spread is not None and (spread.degrees >= _LEAST_DEGREES or _refutes(spread, sd_db)):
        sd_db, degrees = spread.sd_db, spread.degrees
    u_db = sd_db * sqrt(1.0 / good_placings + 1.0 / suspect_placings)
    u_db = max(hypot(u_db, noise_db), _READ_TO_DB)
    if other_gain:
        u_db = hypot(u_db, U_GAIN_DB)
    freedom = inf if degrees is None else float(degrees)
    each = 1.0 - (1.0 - settings.false_alarm_rate) ** (1.0 / max(1, lines))
    limit_db = max(LEAST_DB, u_db * float(stdtrit(freedom, 1.0 - each)))
    return LevelDoubt(
        u_db=u_db,
        expanded_db=u_db * (2.0 if degrees is None else expanded_factor(degrees)),
        degrees=degrees,
        limit_db=limit_db,
        would_tell_db=limit_db + u_db * float(stdtrit(freedom, 0.95)),
    )


def _refutes(spread: PlacingSpread, stated_sd_db: float) -> bool:
    """Whether few placings scatter so much that the stated spread would make it seldom; a single
    degree of freedom makes no spread that anything could be judged by."""
    from scipy.special import chdtri

    if spread.degrees < 2:
        return False
    square = spread.degrees * spread.sd_db**2
    return square > stated_sd_db**2 * float(chdtri(spread.degrees, _SELDOM))


def u_by_noise_db(line: BoardLine) -> float:
    """Standard uncertainty of a line's level by the noise alone, dB; 0 where that is not known.

    The power of a steady line s times the noise, averaged over K segments, has the relative
    variance ``(1 + 2 s) / (K s²)``. A board does not tell K; it follows from the level that would
    have been seen: that lies z standard deviations of the noise above it for the threshold, and
    1.645 of its own for 95 %, at the worst place between two bins.
    """
    if line.level_dbfs is None or line.snr_db is None or line.would_see_dbfs is None:
        return 0.0
    ratio = 10.0 ** (line.snr_db / 10.0)
    seen = ratio * 10.0 ** ((line.would_see_dbfs - line.level_dbfs - _SCALLOPING_DB) / 10.0)
    per_root = seen / (_THRESHOLD_Z + 1.645 * sqrt(1.0 + 2.0 * seen))
    relative = sqrt(1.0 + 2.0 * ratio) / ratio * per_root
    return float(10.0 / log(10.0) * relative / sqrt(line.seen_in or line.placings))


def pooled(spreads: Iterable[PlacingSpread | None]) -> PlacingSpread | None:
    """One standard deviation of all, weighted by their degrees of freedom (pooled variance)."""
    known = [spread for spread in spreads if spread is not None]
    degrees = sum(spread.degrees for spread in known)
    if not degrees:
        return None
    square = sum(spread.degrees * spread.sd_db**2 for spread in known) / degrees
    return PlacingSpread(sd_db=sqrt(square), degrees=degrees)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clocks:
    """What clocked the two receivers.

    Attributes
    ----------
    good, suspect : Correction
    one_clock : bool
        Whether they are one and the same.
    """

    good: Correction
    suspect: Correction
    one_clock: bool

    def u_ppm(self, good_hz: float, suspect_hz: float) -> float:
        """Standard uncertainty (k = 1), by the clocks, of a difference of relative errors, ppm.

        What one clock is off by falls out of the difference, all but what it moved in between.
        Behind a converter it acts on what is heard, and falls out only as far as both lines are
        heard at the same multiple of their frequency; likewise the error of the converter's LO.

        Parameters
        ----------
        good_hz, suspect_hz : float
            Where the two lines are, Hz.
        """
        good, suspect = _heard_share(self.good, good_hz), _heard_share(self.suspect, suspect_hz)
        own_good_ppm = _converter_ppm(self.good, good_hz)
        own_suspect_ppm = _converter_ppm(self.suspect, suspect_hz)
        apart_ppm = hypot(
            good * self.good.u_ppm, suspect * self.suspect.u_ppm, own_good_ppm, own_suspect_ppm
        )
        if not self.one_clock:
            return apart_ppm
        moved_ppm = max(abs(good), abs(suspect)) * U_CLOCK_MOVES_PPM
        left_ppm = (suspect - good) * max(self.good.u_ppm, self.suspect.u_ppm)
        return min(hypot(moved_ppm, left_ppm, own_suspect_ppm - own_good_ppm), apart_ppm)


def _heard_share(correction: Correction, hz: float) -> float:
    """What is heard over what is on the air; negative where the one falls as the other rises."""
    if correction.converter is None:
        return 1.0
    way = -1.0 if correction.converter.inverted else 1.0
    return way * correction.converter.behind(hz) / hz


def _converter_ppm(correction: Correction, hz: float) -> float:
    return 0.0 if correction.converter is None else correction.converter.u_hz / hz * 1e6
