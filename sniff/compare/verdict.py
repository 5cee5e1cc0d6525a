"""The verdict of a comparison, and the one sentence that a technician would say."""

from collections.abc import Collection, Iterable, Sequence
from math import hypot, inf

from sniff.compare.doubts import LevelDoubt
from sniff.compare.nouns import (
    ComparedLine,
    ComparisonVerdict,
    Likeness,
    Origin,
    PlaceComparison,
)
from sniff.compare.planned import frequency_outcome
from sniff.concluding import has_left
from sniff.units import format_frequency, format_parts, format_span
from sniff.verdict import Outcome

FAULTS = (Likeness.ONLY_GOOD, Likeness.MOVED, Likeness.WEAK, Likeness.UNSTEADY)
"""What makes the suspect differ, in the order in which it is told."""

_OUTSIDE = (Origin.ROOM, Origin.STAYS)
_MOST_NAMED = 3


def concluded(
    rows: Sequence[ComparedLine],
    *,
    doubt: LevelDoubt,
    agree_ppm: float,
    planned: bool,
    restless: Collection[str] = (),
    stayed: Collection[str] = (),
) -> tuple[ComparisonVerdict, str]:
    """Verdict and sentence at one place.

    Parameters
    ----------
    rows : sequence of ComparedLine
    doubt : LevelDoubt
    agree_ppm : float
    planned : bool
        Whether a plan says which lines count; without one all that is not of the room does.
    restless : collection of str
        Lines that come and go in the good set itself.
    stayed : collection of str
        Lines of the suspect that are known to have been there while others were gone.
    """
    judged = [row for row in rows if row.planned] if planned else _without_plan(rows)
    faults = _faults(judged)
    alike = [row for row in judged if row.state in (Likeness.IN_BOTH, Likeness.STRONG)]
    spread = _apart(alike, doubt)
    strong = _stronger([row for row in alike if row.state is Likeness.STRONG])
    if faults:
        # Seen in one of them alone, and too weakly to say that the other lacks it.
        unseen = any(
            row.state is Likeness.HIDDEN and (row.good_hz or row.suspect_hz) for row in judged
        )
        else_ = "all else that could be compared" if unseen else "all else"
        rest = "nothing else could be compared"
        if alike:
            rest = f"{else_} agrees within {spread}{strong}"
        hint = _hint(judged, faults, stayed)
        return ComparisonVerdict.DIFFERS, f"the suspect {_told(faults)}; {rest}{hint}"
    blind = _blind(judged, agree_ppm=agree_ppm, restless=restless)
    if blind:
        return ComparisonVerdict.UNDECIDED, "; ".join(blind)
    if not alike:
        return ComparisonVerdict.UNDECIDED, "no line was seen that could be compared"
    sure = [row for row in alike if frequency_outcome(row, agree_ppm) is not Outcome.UNDECIDED]
    unsure = [row for row in alike if row not in sure]
    within = (
        f"{_names(sure)} within {agree_ppm:g} ppm and {spread}"
        if sure
        else (f"by their levels, within {spread}")
    )
    besides = f"; of {_names(unsure)} only the level can be told" if unsure else ""
    return ComparisonVerdict.ALIKE, (
        f"the suspect agrees with the good one: {within}{besides}{strong}; {_told_if(alike, doubt)}"
    )


def in_one_sentence(places: Sequence[PlaceComparison]) -> str:
    """All places in one: what differs first, then what could not be said, then what agrees."""
    if len(places) == 1:
        return places[0].sentence
    told = [
        f"at {place.place}, {place.sentence}"
        for verdict in (ComparisonVerdict.DIFFERS, ComparisonVerdict.UNDECIDED)
        for place in places
        if place.verdict is verdict
    ]
    alike = [str(place.place) for place in places if place.verdict is ComparisonVerdict.ALIKE]
    if alike and told:
        told.append(f"at {_listed(alike)} the two agree")
    elif alike:
        told.append(f"the suspect agrees with the good one at {_listed(alike)}")
    return "; ".join(told)


def _apart(alike: Sequence[ComparedLine], doubt: LevelDoubt) -> str:
    """Within what the levels of lines agree that are told as alike: often closer than they must."""
    apart_db = max(
        (
            abs(row.difference_db)
            for row in alike
            if row.state is Likeness.IN_BOTH and row.difference_db is not None
        ),
        default=0.0,
    )
    if apart_db <= doubt.expanded_db:
        return f"the loop's spread of ±{doubt.expanded_db:.1f} dB"
    return f"the {max(apart_db, doubt.limit_db):.1f} dB that two healthy sets may differ by"


def _stronger(rows: Sequence[ComparedLine]) -> str:
    return f"; {_names(rows)} stronger by {_size(rows)}" if rows else ""


def _told_if(alike: Sequence[ComparedLine], doubt: LevelDoubt) -> str:
    """By how much a line would have to be weaker to be told; near the noise it would vanish, and
    that it is missing could not be told either."""
    weaker = f"weaker by {doubt.would_tell_db:.1f} dB"
    near = [row for row in alike if _over_noise_db(row) < doubt.would_tell_db]
    if not near:
        return f"one {weaker} would have been told"
    if len(near) == len(alike):
        return f"too near the noise for one {weaker} to be told"
    clear = [row for row in alike if row not in near]
    return f"{_names(clear)} {weaker} would have been told, not so {_names(near)}: near the noise"


def _over_noise_db(row: ComparedLine) -> float:
    """By how much a line as strong as the good set's lies over what would have been seen."""
    if row.suspect_dbfs is None or row.difference_db is None or row.would_see_suspect_dbfs is None:
        return inf
    return row.suspect_dbfs - row.difference_db - row.would_see_suspect_dbfs


def _without_plan(rows: Iterable[ComparedLine]) -> list[ComparedLine]:
    return [row for row in rows if row.origin not in _OUTSIDE]


def _told(faults: Sequence[ComparedLine]) -> str:
    """``lacks the LO that the good one has at 85.4 MHz``, each kind of fault once."""
    parts = []
    by_state = [[row for row in faults if row.state is state] for state in FAULTS]
    # What must be there first, then by how plain it is.
    by_state.sort(key=lambda rows: not any(row.wanted for row in rows))
    for rows in by_state:
        if not rows:
            continue
        state = rows[0].state
        if state is Likeness.ONLY_GOOD:
            parts.append(_lacks(rows))
        elif state is Likeness.MOVED:
            parts.append(f"has {_names(rows)} {_moved(rows)}")
        elif state is Likeness.WEAK:
            parts.append(f"has {_names(rows)} weaker by {_size(rows)} than in the good one")
        else:
            parts.append(f"has {_names(rows)} coming and going")
    return ", and ".join(parts)


def _faults(judged: Sequence[ComparedLine]) -> list[ComparedLine]:
    """What makes the suspect differ. While one line comes and goes, another that need not be seen
    is weak by its absences, and no fault of its own."""
    faults = [row for row in judged if row.state in FAULTS]
    restless = any(row.state is Likeness.UNSTEADY for row in faults)
    return [row for row in faults if row.wanted or not restless or row.state is not Likeness.WEAK]


def _lacks(rows: Sequence[ComparedLine]) -> str:
    first = rows[0]
    assert first.good_hz is not None
    if first.name is not None:
        at_hz = first.good_hz if first.expected_good_hz is None else first.expected_good_hz
        return f"lacks {_names(rows)} that the good one has at {_roughly(at_hz)}{_should(first)}"
    at = f"that the good one has at {_roughly(first.good_hz)}"
    if len(rows) == 1:
        return f"lacks the line {at}"
    return f"lacks {len(rows)} lines of the good one, the strongest at {_roughly(first.good_hz)}"


def _should(row: ComparedLine) -> str:
    if row.expected_suspect_hz is None:
        return ""
    return f" (here it should be at {_roughly(row.expected_suspect_hz)})"


def _moved(rows: Sequence[ComparedLine]) -> str:
    first = rows[0]
    assert first.shift_ppm is not None
    assert first.expected_suspect_hz is not None
    shifts_ppm = [row.shift_ppm or 0.0 for row in rows]
    sizes = sorted(abs(shift_ppm) for shift_ppm in shifts_ppm)
    way = "off"
    if min(shifts_ppm) > 0.0 or max(shifts_ppm) < 0.0:
        way = "too high" if first.shift_ppm > 0.0 else "too low"
    least, most = (format_parts(size) for size in (sizes[0], sizes[-1]))
    by = most if least == most else f"{least} to {most}"
    away = format_span(abs(first.shift_ppm) * 1e-6 * first.expected_suspect_hz)
    whose = f"{_name(first)} by " if len(rows) > 1 else ""
    return f"{way} by {by} ({whose}{away}) against the good one's"


def _size(rows: Sequence[ComparedLine]) -> str:
    bounds = [row.difference_bound_db for row in rows if row.difference_db is None]
    known = [row.difference_db for row in rows if row.difference_db is not None]
    sizes = sorted(abs(size) for size in (*bounds, *known) if size is not None)
    least = "at least " if bounds else ""
    if least or f"{sizes[0]:.0f}" == f"{sizes[-1]:.0f}":
        return f"{least}{sizes[0]:.0f} dB"
    return f"{sizes[0]:.0f} to {sizes[-1]:.0f} dB"


def _hint(
    judged: Sequence[ComparedLine], faults: Sequence[ComparedLine], stayed: Collection[str]
) -> str:
    """Where the fault may lie: by the crystal, while the line that it drives fails."""
    crystal = next((row for row in judged if row.name == "crystal"), None)
    driven = next((row for row in faults if row.name in ("LO", "carrier")), None)
    if crystal is None or driven is None:
        return ""
    if driven.state is Likeness.MOVED:
        return _left_behind(crystal, driven)
    if crystal.state in (Likeness.IN_BOTH, Likeness.STRONG):
        if driven.state is Likeness.UNSTEADY and crystal.name not in stayed:
            return ""
        return ". Its crystal is as in the good one: look between it and the mixer"
    if crystal.state is not driven.state:
        return ""
    too = {
        Likeness.ONLY_GOOD: "is not heard either",
        Likeness.WEAK: "is weak too",
        Likeness.UNSTEADY: "comes and goes too",
    }[crystal.state]
    return f". Its crystal {too}: look at the oscillator and its supply first"


def _left_behind(crystal: ComparedLine, driven: ComparedLine) -> str:
    """That a line did not move with the crystal that it comes from: a multiplier keeps the ppm."""
    if crystal.shift_ppm is None or driven.shift_ppm is None:
        return ""
    u_ppm = hypot(crystal.u_shift_ppm or 0.0, driven.u_shift_ppm or 0.0)
    if not has_left(driven.shift_ppm - crystal.shift_ppm, u_ppm):
        return ""
    return (
        f". Its crystal did not move so, and {_name(driven)} cannot leave it: another line may "
        "stand there; see with a narrower --search"
    )


def _blind(
    judged: Sequence[ComparedLine], *, agree_ppm: float, restless: Collection[str]
) -> list[str]:
    """Why wanted lines could not be compared."""
    found = []
    for row in judged:
        if not row.wanted or _heard_by_multiple(row, judged):
            continue
        name = _name(row)
        if row.state is Likeness.HIDDEN:
            found.append(f"{name} cannot be compared: {row.why}")
        elif row.state is Likeness.NEITHER:
            found.append(f"the good set itself shows no {row.name}: it is no measure for it")
        elif row.state is Likeness.ONLY_SUSPECT:
            found.append(f"{name} is seen in the suspect alone: the good set is no measure for it")
        elif row.name in restless:
            found.append(f"{name} comes and goes in the good set itself: it is no measure for it")
        elif frequency_outcome(row, agree_ppm) is Outcome.UNDECIDED:
            found.append(
                f"{name} is there in both, but whether it agrees within {agree_ppm:g} ppm cannot "
                "be said: measure both with one dongle, or calibrate it"
            )
    return found


def _heard_by_multiple(row: ComparedLine, judged: Sequence[ComparedLine]) -> bool:
    """A second LO below the tuner's range is compared by its multiples."""
    return row.state is Likeness.HIDDEN and any(
        str(other.name).startswith(f"{row.name} ×")
        and other.state in (Likeness.IN_BOTH, Likeness.STRONG)
        for other in judged
    )


def _names(rows: Sequence[ComparedLine]) -> str:
    names = [_name(row) for row in rows[:_MOST_NAMED]]
    if len(rows) > _MOST_NAMED:
        names.append(f"{len(rows) - _MOST_NAMED} more")
    return _listed(names)


def _name(row: ComparedLine) -> str:
    if row.name is not None:
        return f"the {row.name}"
    hz = row.good_hz if row.good_hz is not None else row.suspect_hz
    assert hz is not None
    return f"the line at {_roughly(hz)}"


def _roughly(hz: float) -> str:
    """To the kilohertz: what was seen to the last hertz stands in the table."""
    return format_frequency(round(hz, -3))


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
