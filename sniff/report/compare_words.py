"""Words of a comparison that its text and its picture share."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

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
    format_times,
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Groups:
    """Lines by what they tell: the plan's; of the others those seen in one set only, those seen
    in both, and what says nothing of the sets."""

    planned: list[ComparedLine]
    alone: list[ComparedLine]
    both: list[ComparedLine]
    room: list[ComparedLine]


def grouped(rows: Iterable[ComparedLine]) -> Groups:
    """Sort lines into their groups, the order kept; of those alone the hidden ones last."""
    groups = Groups(planned=[], alone=[], both=[], room=[])
    for row in rows:
        if row.planned:
            groups.planned.append(row)
        elif row.origin in OF_THE_ROOM:
            groups.room.append(row)
        elif row.good_hz is None or row.suspect_hz is None:
            groups.alone.append(row)
        else:
            groups.both.append(row)
    groups.alone.sort(key=lambda row: row.state is Likeness.HIDDEN)
    return groups


def reading_of(hz: float | None, u_hz: float | None) -> str:
    """One set's reading, to as many digits as its uncertainty allows."""
    return "not seen" if hz is None or u_hz is None else format_frequency(hz, 2.0 * u_hz)


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
    """Suspect minus good with U (95 %), or what it is below or above."""
    if row.difference_db is not None and row.expanded_difference_db is not None:
        return format_db_reading(row.difference_db, row.expanded_difference_db)
    if row.difference_bound_db is None:
        return ""
    side = "above" if row.state is Likeness.ONLY_SUSPECT else "below"
    return f"{side} {format_db(row.difference_bound_db)}"


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
    times = f"{format_times(suspect)} at the suspect, {format_times(good)} at the good set"
    if good == suspect:
        times = f"{format_times(good)} at each"
    known = "as stated"
    if place.degrees is not None:
        known = f"as measured, with {place.degrees} degrees of freedom"
    return (
        f"loop placed {times}: levels compare to ±{place.expanded_difference_db:.1f} dB (95 %), "
        f"{known}; a line weaker by more than {place.weak_below_db:.1f} dB is told as weak"
    )


def without_home(source: str) -> str:
    """A source as it may go to a customer: the name of a home folder is often its owner's."""
    return source.replace(str(Path.home()), "~")


def _on(sight: Sight) -> str:
    carrier_hz = sight.carrier_hz
    return without_home(sight.source) + (
        "" if carrier_hz is None else f" on {format_frequency(carrier_hz)}"
    )
