"""Which part of which tunings lies in which panel, and by how much the good set is moved there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sniff.compare import ComparedLine, ComparisonResult, Likeness, Origin, Pair, Sight
from sniff.compare.verdict import FAULTS
from sniff.look import Look
from sniff.report.compare_words import OF_THE_ROOM
from sniff.report.plots.axis import Scale, scale_of
from sniff.report.plots.trace import span_hz

_LEAST_BINS = 12
_REACH_AGREES = 5.0
"""A panel about one line reaches this many times what agrees to each side, or farther."""
_AIR = 1.35
_MOST_WIDE = 2
_MOST_OF_SEVERAL = 3
_ENOUGH = 0.6
"""Part of a tuning that the good set's must cover for the two to be laid over each other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A stretch of both sets.

    Attributes
    ----------
    rows : tuple of ComparedLine
        What is named in it: one line of the plan, or all that a wide stretch shows.
    suspect, good : Look or None
        The tunings that show it; None where none does.
    low_hz, high_hz : float
        Of the suspect's true frequencies, Hz.
    move_hz : float
        By how much the good set's are moved, Hz.
    """

    rows: tuple[ComparedLine, ...]
    suspect: Look | None
    good: Look | None
    low_hz: float
    high_hz: float
    move_hz: float

    def place_hz(self, row: ComparedLine) -> float:
        """Where a line lies on the suspect's axis, Hz: the suspect's own if that is in view."""
        places_hz = [hz for hz in (row.suspect_hz, self.moved_hz(row)) if hz is not None]
        inside = [hz for hz in places_hz if self.low_hz <= hz <= self.high_hz]
        return (inside or places_hz)[0]

    def moved_hz(self, row: ComparedLine) -> float | None:
        """Where the good set's line lies on the suspect's axis, Hz."""
        return None if row.good_hz is None else row.good_hz + self.move_hz


def scale_of_sight(sight: Sight) -> Scale:
    """From indicated to true."""
    return scale_of((), sight.correction)


def stays(row: ComparedLine) -> bool:
    """Whether it stays where it is when the carrier moves, and nothing else is to be said of it."""
    fixed = row.origin is Origin.FIXED and row.state is Likeness.IN_BOTH
    return fixed or row.origin in OF_THE_ROOM


def wide_views(pair: Pair, rows: Sequence[ComparedLine], result: ComparisonResult) -> list[View]:
    """Whole tunings with the lines that no plan lists, where there are such lines."""
    told = [row for row in rows if not row.planned and row.state is not Likeness.HIDDEN]
    if pair.suspect.board is None:
        told = [row for row in rows if not row.planned]
    shift_hz = result.shift_hz or 0.0
    views: list[View] = []
    for look in sorted(pair.suspect.looks, key=lambda look: -look.result.rate_hz):
        low_hz, high_hz = span_hz(look, scale_of_sight(pair.suspect))
        moves_hz = [shift_hz, *(_move_hz(row, shift_hz) for row in rows), 0.0]
        good, move_hz = _laid_over(pair.good, low_hz, high_hz, moves_hz)
        view = View(
            rows=(), suspect=look, good=good, low_hz=low_hz, high_hz=high_hz, move_hz=move_hz
        )
        inside = tuple(row for row in rows if _is_in(row, view))
        news = [row for row in inside if row in told]
        if news or (pair.suspect.board is None and not views):
            told = [row for row in told if row not in news]
            views.append(replace(view, rows=inside))
    if pair.suspect.board is None and pair.good.looks and all(v.good is None for v in views):
        views[1:] = [_alone(pair.good, rows)]
    return views[:_MOST_WIDE]


def _alone(good: Sight, rows: Sequence[ComparedLine]) -> View:
    """The good set's widest tuning, where no tuning shows both sets."""
    look = max(good.looks, key=lambda look: look.result.rate_hz)
    low_hz, high_hz = span_hz(look, scale_of_sight(good))
    view = View(rows=(), suspect=None, good=look, low_hz=low_hz, high_hz=high_hz, move_hz=0.0)
    return replace(view, rows=tuple(row for row in rows if row.good_hz and _is_in(row, view)))


def near_views(
    pair: Pair, rows: Sequence[ComparedLine], result: ComparisonResult, *, few: bool
) -> list[View]:
    """One for each line of the plan that either set shows or should show.

    With `few` only what is wanted or differs.
    """
    planned = [
        row for row in rows if row.planned and (row.state is not Likeness.NEITHER or row.wanted)
    ]
    views = [view for row in planned if (view := _near(pair, row, result)) is not None]
    if few:
        telling = [view for view in views if view.rows[0].wanted or view.rows[0].state in FAULTS]
        views = (telling or views)[:_MOST_OF_SEVERAL]
    return views


def _near(pair: Pair, row: ComparedLine, result: ComparisonResult) -> View | None:
    place_hz, good_place_hz = row.expected_suspect_hz, row.expected_good_hz
    if place_hz is None or good_place_hz is None:
        return None
    move_hz = place_hz - good_place_hz
    suspect = _showing(pair.suspect, place_hz)
    good = _showing(pair.good, good_place_hz)
    looks = [look for look in (suspect, good) if look is not None]
    if not looks:
        return None
    away_hz = [0.0]
    if row.suspect_hz is not None:
        away_hz.append(abs(row.suspect_hz - place_hz))
    if row.good_hz is not None:
        away_hz.append(abs(row.good_hz - good_place_hz))
    wide_hz = 2.0 * (row.u_shift_ppm or 0.0) * 1e-6 * place_hz
    reach_hz = max(
        _REACH_AGREES * result.agree_ppm * 1e-6 * place_hz,
        _LEAST_BINS * max(look.spectrum.rbw_hz for look in looks),
        _AIR * (max(away_hz) + wide_hz),
    )
    low_hz, high_hz = _extent(pair, suspect, good, move_hz)
    return View(
        rows=(row,),
        suspect=suspect,
        good=good,
        low_hz=max(low_hz, place_hz - reach_hz),
        high_hz=min(high_hz, place_hz + reach_hz),
        move_hz=move_hz,
    )


def _extent(
    pair: Pair, suspect: Look | None, good: Look | None, move_hz: float
) -> tuple[float, float]:
    """What either tuning shows, on the suspect's axis, Hz."""
    spans = []
    if suspect is not None:
        spans.append(span_hz(suspect, scale_of_sight(pair.suspect)))
    if good is not None:
        low_hz, high_hz = span_hz(good, scale_of_sight(pair.good))
        spans.append((low_hz + move_hz, high_hz + move_hz))
    return min(low for low, _ in spans), max(high for _, high in spans)


def _showing(sight: Sight, true_hz: float) -> Look | None:
    """The finest look that observed this place."""
    scale = scale_of_sight(sight)
    inside = [look for look in sight.looks if _observed(look, scale.indicated_hz(true_hz))]
    return min(inside, key=lambda look: look.spectrum.rbw_hz, default=None)


def _observed(look: Look, indicated_hz: float) -> bool:
    spectrum = look.spectrum
    at = round((indicated_hz - spectrum.first_hz) / spectrum.bin_hz)
    return 0 <= at < spectrum.psd.size and bool(np.isfinite(spectrum.psd[at]))


def _move_hz(row: ComparedLine, shift_hz: float) -> float:
    """By how much a line moved."""
    good_hz = row.good_hz if row.expected_good_hz is None else row.expected_good_hz
    if row.expected_suspect_hz is None or good_hz is None:
        return shift_hz
    return row.expected_suspect_hz - good_hz


def _laid_over(
    sight: Sight, low_hz: float, high_hz: float, moves_hz: Sequence[float]
) -> tuple[Look | None, float]:
    """The good set's tuning that covers a stretch when moved, and the move: the first that does
    well enough, else the one that covers most."""
    best: tuple[Look | None, float] = (None, moves_hz[0])
    most = 0.0
    for move_hz in dict.fromkeys(moves_hz):
        for look in sight.looks:
            first_hz, last_hz = span_hz(look, scale_of_sight(sight))
            shared_hz = min(last_hz + move_hz, high_hz) - max(first_hz + move_hz, low_hz)
            if shared_hz / (high_hz - low_hz) > most:
                best, most = (look, move_hz), shared_hz / (high_hz - low_hz)
        if most >= _ENOUGH:
            break
    return best


def _is_in(row: ComparedLine, view: View) -> bool:
    places_hz = (row.suspect_hz, view.moved_hz(row))
    return any(hz is not None and view.low_hz <= hz <= view.high_hz for hz in places_hz)
