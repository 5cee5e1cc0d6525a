"""Levelling: a known level measured, and readings given in dBm by what that told."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

from calib.correction import Correction
from calib.levels import LevelPoint, scale_at
from sniff.board import BoardLine, BoardResult
from sniff.errors import SourceError, UsageError
from sniff.look import LookResult, SeenLine
from sniff.model import NOT_SIGNALS, Mark, Peak, Source
from sniff.survey import LookSettings, view_of
from sniff.tuning import Window, choose_tunings
from sniff.units import format_db, format_dbfs, format_frequency

_LEAST_SNR_DB = 20.0
_RIVAL_DB = 10.0  # a second line so near in level may be the known one as well
_REACH_HZ = 5e3  # about the place of a generator that need not share the clock's error
_RESTLESS_HZ = 20.0  # a generator and a dongle that warm up may wander against each other
_DB_PER_NEPER = 8.685889638


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredLevel:
    """A line of known level, as indicated.

    Attributes
    ----------
    at_hz : float
        Where it was asked for, Hz.
    gain_db : float
        Gain of the tuner then, dB.
    level_dbfs, u_level_db : float
        Level and its standard uncertainty (k = 1).
    """

    at_hz: float
    gain_db: float
    level_dbfs: float
    u_level_db: float


def measure_level(
    source: Source,
    at_hz: float,
    *,
    settings: LookSettings,
    correction: Correction,
    seconds: float | None,
    start_s: float = 0.0,
) -> MeasuredLevel:
    """Find a line of known level and measure it.

    Raises
    ------
    UsageError
        When the gain is automatic, so that the level says nothing.
    SourceError
        When it is not in view, too weak, unsteady, overloads the front end, or two lines could be
        it: both are named, and none is chosen.
    """
    info = source.info
    if info.gain_db is None:
        raise UsageError(
            "a level is tied to one gain: give --gain with a number of dB, not an automatic one"
        )
    name = f"the known level at {format_frequency(at_hz)}"
    indicated_hz = correction.indicate(at_hz)
    reach_hz = 3.0 * correction.u_at(indicated_hz) + _REACH_HZ
    window = Window(low_hz=indicated_hz - reach_hz, high_hz=indicated_hz + reach_hz)
    tunings = choose_tunings([window], info)
    if not tunings:
        raise SourceError(f"{name} lies outside what {info.name} can show")
    source.tune(tunings[0].center_hz)
    view = view_of(source.take(seconds=seconds, start_s=start_s), source.info, settings, window)
    if view.overloaded:
        raise SourceError(f"{name}: the front end is overloaded; less level, or less gain")
    peak = _only(
        [
            peak
            for peak in view.peaks
            if window.low_hz <= peak.indicated_hz <= window.high_hz
            and not (NOT_SIGNALS | {Mark.OWN_SPUR}).intersection(peak.marks)
        ],
        name,
    )
    if peak.snr_db < _LEAST_SNR_DB:
        raise SourceError(
            f"{name}: too weak, {format_db(peak.snr_db)} over the noise; it needs "
            f"{format_db(_LEAST_SNR_DB)}"
        )
    if Mark.EDGE in peak.marks:
        raise SourceError(f"{name}: it lies at the edge of the pass-band; move --center")
    if peak.width_hz > 0 or (not peak.steady and peak.u_indicated_hz > _RESTLESS_HZ):
        raise SourceError(f"{name}: it is not steady in level or frequency; modulation off?")
    return MeasuredLevel(
        at_hz=at_hz,
        gain_db=info.gain_db,
        level_dbfs=peak.level_dbfs,
        u_level_db=_noise_u_db(peak.snr_db, view.spectrum.averages),
    )


def look_in_dbm(
    result: LookResult, points: Sequence[LevelPoint], *, gain_db: float | None
) -> LookResult:
    """A look with the levels of its lines in dBm, where a point holds for them."""
    return replace(
        result,
        peaks=tuple(_seen_in_dbm(line, points, gain_db, result.averages) for line in result.peaks),
    )


def board_in_dbm(
    result: BoardResult, points: Sequence[LevelPoint], *, gain_db: float | None
) -> BoardResult:
    """A board with levels in dBm, where a point holds for them."""
    return replace(result, lines=tuple(_row_in_dbm(line, points, gain_db) for line in result.lines))


def _seen_in_dbm(
    line: SeenLine, points: Sequence[LevelPoint], gain_db: float | None, averages: int
) -> SeenLine:
    scale = scale_at(points, at_hz=line.indicated_hz, gain_db=gain_db)
    if scale is None or NOT_SIGNALS.intersection(line.marks):
        return line
    return replace(
        line,
        level_dbm=line.level_dbfs + scale.offset_db,
        u_level_db=hypot(scale.u_db, _noise_u_db(line.snr_db, averages)),
    )


def _row_in_dbm(line: BoardLine, points: Sequence[LevelPoint], gain_db: float | None) -> BoardLine:
    scale = scale_at(points, at_hz=line.expected_hz, gain_db=gain_db)
    if scale is None or (line.level_dbfs is None and line.would_see_dbfs is None):
        return line
    return replace(
        line,
        level_dbm=None if line.level_dbfs is None else line.level_dbfs + scale.offset_db,
        would_see_dbm=(
            None if line.would_see_dbfs is None else line.would_see_dbfs + scale.offset_db
        ),
        u_level_db=hypot(scale.u_db, 0.0 if line.snr_db is None else _noise_u_db(line.snr_db, 1)),
    )


def _noise_u_db(snr_db: float, averages: int) -> float:
    """Standard uncertainty of a tone's power by the noise beside it, dB.

    The part of the noise in phase with a tone of amplitude A changes its power by
    ``2 A n``; n has variance N / (2 K) after K averages: ``u(P) / P = sqrt(2 / (K S/N))``.
    """
    return _DB_PER_NEPER / 2.0 * sqrt(2.0 / (max(averages, 1) * 10.0 ** (snr_db / 10.0)))


def _only(inside: list[Peak], name: str) -> Peak:
    if not inside:
        raise SourceError(f"{name}: nothing is heard there; is the generator on?")
    best = max(inside, key=lambda peak: peak.level_dbfs)
    for peak in inside:
        if peak is not best and best.level_dbfs - peak.level_dbfs < _RIVAL_DB:
            raise SourceError(
                f"{name}: two lines could be it, {format_frequency(best.indicated_hz)} "
                f"({format_dbfs(best.level_dbfs)}) and {format_frequency(peak.indicated_hz)} "
                f"({format_dbfs(peak.level_dbfs)}): leave one"
            )
    return best
