"""Words of a comparison that its text and its picture share."""

from sniff.compare import (
    ComparedLine,
    ComparisonVerdict,
    Likeness,
    Origin,
    Pair,
    PlaceComparison,
    Sight,
)
from sniff.units import (
    format_db,
    format_db_reading,
    format_dbfs,
    format_frequency,
    format_ppm_reading,
)

SIGNS = {
    Likeness.IN_BOTH: "●",
    Likeness.WEAK: "◐",
    Likeness.STRONG: "◓",
    Likeness.MOVED: "◆",
    Likeness.UNSTEADY: "≈",
    Likeness.ONLY_GOOD: "○",
    Likeness.ONLY_SUSPECT: "+",
    Likeness.NEITHER: "–",
    Likeness.HIDDEN: "▒",
}
"""Of each state its own, the line board's where the same is meant."""

VERDICTS = {
    ComparisonVerdict.ALIKE: "Alike",
    ComparisonVerdict.DIFFERS: "Differs",
    ComparisonVerdict.UNDECIDED: "Undecided",
}
OF_THE_ROOM = (Origin.ROOM, Origin.STAYS)
"""What says nothing of the sets."""


def name_of(row: ComparedLine) -> str:
    """What to call a line: one without a name by where it is."""
    if row.name is not None:
        return row.name
    hz = row.suspect_hz if row.good_hz is None else row.good_hz
    return "line" if hz is None else f"line at {format_frequency(round(hz, -3))}"


def reading_of(hz: float | None, sight: Sight) -> str:
    """One set's reading, to as many digits as its uncertainty allows."""
    return "not seen" if hz is None else format_frequency(hz, expanded_hz(hz, sight))


def expanded_hz(hz: float, sight: Sight) -> float:
    """U (k = 2) of a reading of this set, Hz: its own, or the clock's where that is not kept."""
    rows = () if sight.board is None else sight.board.lines
    found = [row.u_hz for row in rows if row.frequency_hz == hz and row.u_hz is not None]
    found += [
        line.u_hz for look in sight.looks for line in look.result.peaks if line.frequency_hz == hz
    ]
    return 2.0 * (found[0] if found else sight.correction.u_at(sight.correction.indicate(hz)))


def level_of(level_dbfs: float | None, would_see_dbfs: float | None) -> str:
    """A level, or what it is below."""
    if level_dbfs is not None:
        return format_dbfs(level_dbfs)
    return "" if would_see_dbfs is None else f"below {format_dbfs(would_see_dbfs)}"


def shift_of(row: ComparedLine) -> str:
    """By how much the suspect's lies higher, with U (k = 2)."""
    if row.shift_ppm is None or row.u_shift_ppm is None:
        return ""
    return format_ppm_reading(row.shift_ppm, 2.0 * row.u_shift_ppm)


def difference_of(row: ComparedLine) -> str:
    """Suspect minus good with U (k = 2), or what it is below or above."""
    if row.difference_db is not None and row.u_difference_db is not None:
        return format_db_reading(row.difference_db, 2.0 * row.u_difference_db)
    bound_db = bound_of(row)
    if bound_db is None:
        return ""
    return f"{'below' if bound_db < 0 else 'above'} {format_db(bound_db)}"


def bound_of(row: ComparedLine) -> float | None:
    """Suspect minus good of a line that only one has, dB: it is at most (below 0) or at least
    this, or what was not seen would have been."""
    if row.difference_db is not None:
        return None
    good_dbfs, suspect_dbfs = row.good_dbfs, row.suspect_dbfs
    if row.state is Likeness.ONLY_GOOD:
        suspect_dbfs = row.would_see_suspect_dbfs
    elif row.state is Likeness.ONLY_SUSPECT:
        good_dbfs = row.would_see_good_dbfs
    else:
        return None
    return None if good_dbfs is None or suspect_dbfs is None else suspect_dbfs - good_dbfs


def sources_of(pair: Pair) -> str:
    """Both sources with their carriers, and how far these lie apart."""
    good, suspect = pair.good, pair.suspect
    words = f"suspect {_on(suspect)} against good {_on(good)}"
    if good.carrier_hz is None or suspect.carrier_hz is None:
        return f"{words}, taken to be on the same frequency"
    shift_hz = suspect.carrier_hz - good.carrier_hz
    if not shift_hz:
        return words
    return f"{words}, {format_frequency(abs(shift_hz))} {'higher' if shift_hz > 0 else 'lower'}"


def placing_of(place: PlaceComparison) -> str:
    """How often the loop was placed, and what a difference of levels is worth by that."""
    good, suspect = place.good_placings, place.suspect_placings
    times = f"{_times(suspect)} at the suspect, {_times(good)} at the good set"
    if good == suspect:
        times = f"{_times(good)} at each"
    known = "as stated"
    if place.degrees is not None:
        known = f"as measured, with {place.degrees} degrees of freedom"
    return (
        f"loop placed {times}: levels compare to ±{2.0 * place.u_difference_db:.1f} dB (k = 2), "
        f"{known}; a line weaker by more than {place.weak_below_db:.1f} dB is told as weak"
    )


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _on(sight: Sight) -> str:
    carrier_hz = sight.carrier_hz
    return sight.source + ("" if carrier_hz is None else f" on {format_frequency(carrier_hz)}")
