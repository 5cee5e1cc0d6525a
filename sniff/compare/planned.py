"""Lines of the plan, one by one: the suspect's row of the board against the good one's."""

from dataclasses import dataclass, replace
from math import hypot

from sniff.board import BoardLine, LineState
from sniff.compare.doubts import Clocks, LevelDoubt, LevelDoubts, u_by_noise_db
from sniff.compare.nouns import ComparedLine, Likeness, Origin
from sniff.superhet.plan import Role
from sniff.units import format_db, format_dbfs, format_ppm, format_span
from sniff.verdict import Outcome, decide

_FIXED = frozenset({Role.SECOND_LO.value, Role.SECOND_LO_HARMONIC.value})
"""Roles of what stays where it is, whatever the carrier."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """All that a difference is worth.

    Attributes
    ----------
    levels : LevelDoubts
    clocks : Clocks
    agree_ppm : float
    gain_step_db : float
        By how much the suspect was heard with more gain.
    """

    levels: LevelDoubts
    clocks: Clocks
    agree_ppm: float
    gain_step_db: float = 0.0


def compare_planned(
    good: BoardLine, suspect: BoardLine, *, place: str | None, doubts: Doubts
) -> ComparedLine:
    """Compare one line of the plan, from both boards."""
    row = ComparedLine(
        name=suspect.name,
        place=place,
        origin=Origin.FIXED if suspect.role in _FIXED else Origin.CARRIER,
        planned=True,
        wanted=suspect.wanted,
        good_hz=good.frequency_hz,
        suspect_hz=suspect.frequency_hz,
        u_good_hz=good.u_hz,
        u_suspect_hz=suspect.u_hz,
        expected_good_hz=good.expected_hz,
        expected_suspect_hz=suspect.expected_hz,
        good_dbfs=good.level_dbfs,
        suspect_dbfs=suspect.level_dbfs,
        would_see_good_dbfs=good.would_see_dbfs,
        would_see_suspect_dbfs=suspect.would_see_dbfs,
        state=Likeness.NEITHER,
        why="",
    )
    if suspect.frequency_hz is None and good.frequency_hz is None:
        return _in_neither(row, good, suspect)
    level = doubts.levels.of(
        *(line.seen_in or line.placings for line in (good, suspect)),
        noise_db=hypot(u_by_noise_db(good), u_by_noise_db(suspect)),
    )
    partly = _seen_partly(good, suspect)
    if suspect.frequency_hz is None:
        return _missing(row, suspect, level, doubts, partly=partly)
    if good.frequency_hz is None:
        return _extra(row, good, level, doubts, partly=partly)
    return _in_both(row, good, suspect, level, doubts, partly=partly)


def frequency_outcome(row: ComparedLine, agree_ppm: float) -> Outcome | None:
    """Whether a line agrees in frequency, by the decision rule; None when that is not known."""
    if row.shift_ppm is None or row.u_shift_ppm is None:
        return None
    # The rule needs one unit throughout, not hertz.
    return decide(
        error_hz=row.shift_ppm, expanded_hz=2.0 * row.u_shift_ppm, tolerance_hz=agree_ppm
    ).outcome


def _in_neither(row: ComparedLine, good: BoardLine, suspect: BoardLine) -> ComparedLine:
    unseen = {LineState.HIDDEN, LineState.OUT_OF_VIEW}
    if good.state is suspect.state and good.state in unseen:
        # Why, they say in the same words each, but of a view of their own.
        why = f"{good.state.value} in both; in the good set: {good.why}"
        return replace(row, state=Likeness.HIDDEN, why=why)
    for who, line in (("good set's", good), ("suspect's", suspect)):
        if line.state in unseen:
            return replace(
                row, state=Likeness.HIDDEN, why=f"the {who} is {line.state.value}: {line.why}"
            )
    return replace(row, why="seen in neither set")


def _seen_partly(good: BoardLine, suspect: BoardLine) -> str:
    """That one of them sank out of sight in some placings: its mean level is of the others, too
    high, and the scatter of the cut sample too small. Empty when neither did."""
    found = [
        f"in {line.seen_in} of {line.placings} placings at the {who} only"
        for who, line in (("good set", good), ("suspect", suspect))
        if 0 < line.seen_in < line.placings
    ]
    if not found:
        return ""
    return f"seen {' and '.join(found)}, so that the levels cannot be compared"


def _missing(
    row: ComparedLine, suspect: BoardLine, level: LevelDoubt, doubts: Doubts, *, partly: str
) -> ComparedLine:
    """Seen in the good set alone: the suspect's is absent only where it would have been seen."""
    if suspect.state is not LineState.ABSENT or suspect.would_see_dbfs is None:
        return replace(
            row,
            state=Likeness.HIDDEN,
            why=f"the suspect's is {suspect.state.value}: {suspect.why}",
        )
    if partly:
        return replace(row, state=Likeness.HIDDEN, why=partly)
    assert row.good_dbfs is not None
    margin_db = row.good_dbfs + doubts.gain_step_db - suspect.would_see_dbfs
    seen = f"a line of {format_dbfs(suspect.would_see_dbfs)} would have been seen in the suspect"
    if margin_db < level.limit_db:
        over = f"only {margin_db:.1f} dB over that" if margin_db > 0.0 else "no stronger"
        return replace(
            row,
            state=Likeness.HIDDEN,
            why=f"{seen}, and the good set's is {over}: by the placing of the loop alone it may be "
            "missed; move it closer, or use a finer RBW",
        )
    bound_db = level.expanded_db - margin_db
    return replace(row, state=Likeness.ONLY_GOOD, difference_bound_db=bound_db, why=seen)


def _extra(
    row: ComparedLine, good: BoardLine, level: LevelDoubt, doubts: Doubts, *, partly: str
) -> ComparedLine:
    if good.state is not LineState.ABSENT or good.would_see_dbfs is None:
        return replace(
            row, state=Likeness.HIDDEN, why=f"the good set's is {good.state.value}: {good.why}"
        )
    if partly:
        return replace(row, state=Likeness.HIDDEN, why=partly)
    assert row.suspect_dbfs is not None
    seen = f"a line of {format_dbfs(good.would_see_dbfs)} would have been seen in the good set"
    margin_db = row.suspect_dbfs - doubts.gain_step_db - good.would_see_dbfs
    if margin_db < level.limit_db:
        return replace(row, state=Likeness.HIDDEN, why=f"{seen}; that is too near to tell")
    bound_db = margin_db - level.expanded_db
    return replace(row, state=Likeness.ONLY_SUSPECT, difference_bound_db=bound_db, why=seen)


def _in_both(
    row: ComparedLine,
    good: BoardLine,
    suspect: BoardLine,
    level: LevelDoubt,
    doubts: Doubts,
    *,
    partly: str,
) -> ComparedLine:
    assert row.good_dbfs is not None
    assert row.suspect_dbfs is not None
    assert good.error_ppm is not None
    assert suspect.error_ppm is not None
    difference_db = row.suspect_dbfs - row.good_dbfs - doubts.gain_step_db
    clocks_ppm = doubts.clocks.u_ppm(good.expected_hz, suspect.expected_hz)
    u_ppm = hypot(_u_ppm(good), _u_ppm(suspect), clocks_ppm)
    row = replace(
        row,
        shift_ppm=suspect.error_ppm - good.error_ppm,
        u_shift_ppm=u_ppm,
        difference_db=difference_db,
        u_difference_db=level.u_db,
        expanded_difference_db=level.expanded_db,
    )
    limit_db = level.limit_db
    # Of a suspect's line that was seen in some placings the mean is an upper bound, and makes it
    # weak all the same; a good set's is no measure then.
    weak = difference_db < -limit_db and not 0 < good.seen_in < good.placings
    if suspect.state is LineState.OFF_FREQUENCY and weak and good.state is LineState.PRESENT:
        # In the search window, but so weak that it may be any other line.
        return replace(
            row,
            state=Likeness.ONLY_GOOD,
            why=f"not in its place; what stands nearest is {format_db(difference_db)} against the "
            f"good set's, and {_shift_words(row)}: it may be another line",
        )
    if suspect.state is LineState.UNSTEADY and good.state is not LineState.UNSTEADY:
        return replace(row, state=Likeness.UNSTEADY, why=suspect.why)
    outcome = frequency_outcome(row, doubts.agree_ppm)
    if outcome is Outcome.FAIL:
        return replace(row, state=Likeness.MOVED, why=_shift_words(row))
    against = (
        f"{format_db(difference_db)} against the good set's; two healthy sets may differ by "
        f"{limit_db:.1f} dB, the placing of the loop included"
    )
    if weak and not partly:
        return replace(row, state=Likeness.WEAK, why=against)
    if partly:
        row = replace(row, difference_db=None, u_difference_db=None, expanded_difference_db=None)
        if not weak:
            return replace(row, state=Likeness.HIDDEN, why=partly)
        return replace(
            row,
            difference_bound_db=difference_db + level.expanded_db,
            state=Likeness.WEAK,
            why=f"{format_db(difference_db)} where it was seen, in {suspect.seen_in} of "
            f"{suspect.placings} placings, and less in the others",
        )
    if difference_db > limit_db:
        return replace(row, state=Likeness.STRONG, why=against)
    if outcome is Outcome.UNDECIDED:
        return replace(
            row,
            state=Likeness.IN_BOTH,
            why=f"whether its frequency agrees within {doubts.agree_ppm:g} ppm cannot be said: "
            f"{_shift_words(row)}",
        )
    close = abs(difference_db) <= level.expanded_db
    within = "the loop's spread" if close else f"{limit_db:.1f} dB, as two healthy sets may be"
    return replace(
        row,
        state=Likeness.IN_BOTH,
        why=f"within {within}, and within {doubts.agree_ppm:g} ppm of where the good set's would "
        "be",
    )


def _u_ppm(line: BoardLine) -> float:
    u_hz = line.u_hz if line.u_indicated_hz is None else line.u_indicated_hz
    return (u_hz or 0.0) / line.expected_hz * 1e6


def _shift_words(row: ComparedLine) -> str:
    """``+20.1 ± 1.2 ppm (1.68 kHz) from where the good set's would be``."""
    assert row.shift_ppm is not None
    assert row.u_shift_ppm is not None
    assert row.expected_suspect_hz is not None
    size = format_ppm(row.shift_ppm, 2.0 * row.u_shift_ppm)
    away = format_span(abs(row.shift_ppm) * 1e-6 * row.expected_suspect_hz)
    return f"{size} ({away}) from where the good set's would be"
