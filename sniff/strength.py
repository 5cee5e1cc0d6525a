"""Strength: is a line as strong as it should be, by the sibling's or by what the plan states?"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot

from sniff.board import BoardLine, LineState
from sniff.placings import PlacingSpread
from sniff.superhet.place import PlacedLine
from sniff.units import format_db, format_dbfs

PLACEMENT_DB = 6.0
"""By how much the level of a hand-held loop differs from placing to placing (k = 2), unless
measured (common practice, no source)."""

LEAST_DB = 3.0
"""Two good sets differ by so much, however well their levels are known (common practice, no
source)."""

U_GAIN_DB = 1.0
"""Standard uncertainty (k = 1) of the difference of two steps of a tuner's gain (common practice,
no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """What is known of placing the loop.

    Attributes
    ----------
    stated_db : float
        By how much two placings differ (k = 2), as stated; it is not divided by their number, as
        nobody knows what of it is by chance.
    spread : PlacingSpread or None
        As measured, which then counts.
    other_gain : bool
        Whether the two were heard at different gains, whose step is in doubt too.
    """

    stated_db: float = PLACEMENT_DB
    spread: PlacingSpread | None = None
    other_gain: bool = False

    def allowance(self, one: int, other: int) -> "Allowance":
        """How far two good sets may differ, each placed so many times."""
        stated_db, measured_db = self.stated_db, None
        if self.spread is not None:
            measured_db = self.spread.expanded_difference_db(one, other)
        if self.other_gain:
            placing_db = stated_db if measured_db is None else measured_db
            both_db = max(LEAST_DB, hypot(placing_db, 2.0 * U_GAIN_DB))
            words = f"the ±{both_db:.1f} dB of placing the loop and of another gain"
            return Allowance(db=both_db, words=words)
        if measured_db is None:
            return Allowance(db=stated_db, words=f"the ±{stated_db:g} dB of placing the loop")
        if measured_db < LEAST_DB:
            return Allowance(db=LEAST_DB, words=f"the {LEAST_DB:g} dB that good sets differ by")
        words = f"the ±{measured_db:.1f} dB of placing the loop, as measured"
        return Allowance(db=measured_db, words=words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """How much weaker a line may be, and of what that is made."""

    db: float
    words: str


def gain_step_db(own_db: float | None, other_db: float | None) -> float | None:
    """By how much more gain one was heard than the other, dB; None where one is not known."""
    return None if own_db is None or other_db is None else own_db - other_db


def at_gain(lines: Sequence[BoardLine], step_db: float) -> tuple[BoardLine, ...]:
    """Lines with their levels as they would be at so much more gain of the tuner."""

    def moved(level_dbfs: float | None) -> float | None:
        return None if level_dbfs is None else level_dbfs + step_db

    return tuple(
        replace(line, level_dbfs=moved(line.level_dbfs), would_see_dbfs=moved(line.would_see_dbfs))
        for line in lines
    )


def against_sibling(
    lines: Sequence[BoardLine], sibling: Sequence[BoardLine], *, placing: Placing
) -> tuple[BoardLine, ...]:
    """Compare levels line by line, by name; a line weaker by more than the placing is weak."""
    others = {line.name: line for line in sibling}
    return tuple(_against_sibling(line, others.get(line.name), placing) for line in lines)


def against_plan(
    lines: Sequence[BoardLine], stated: Mapping[str, PlacedLine], *, placing: Placing
) -> tuple[BoardLine, ...]:
    """Compare levels with those that the plan states of a good set at this place, by name.

    A line is weak when it is weaker by more than the plan allows. Less than what placing the loop
    explains it cannot allow; the stated level counts as that of one placing.
    """
    return tuple(_against_plan(line, stated.get(line.name), placing) for line in lines)


def _against_sibling(line: BoardLine, other: BoardLine | None, placing: Placing) -> BoardLine:
    if other is None or other.level_dbfs is None:
        return line
    allowance = placing.allowance(max(1, line.seen_in), max(1, other.seen_in))
    if line.level_dbfs is None:
        shown = f"the sibling shows {format_dbfs(other.level_dbfs)}"
        return _unseen(line, other.level_dbfs, allowance, whose="the sibling's line", shown=shown)
    difference_db = line.level_dbfs - other.level_dbfs
    line = replace(line, versus_sibling_db=difference_db)
    if 0 < other.seen_in < other.placings:
        why = (
            f"{line.why}; the sibling's was seen in {other.seen_in} of {other.placings} placings "
            "only, so that the levels cannot be compared"
        )
        return replace(line, why=why)
    return _judged(line, difference_db, allowance, whose="the sibling")


def _against_plan(line: BoardLine, stated: PlacedLine | None, placing: Placing) -> BoardLine:
    if stated is None or stated.level_dbfs is None:
        return line
    allowance = placing.allowance(1, max(1, line.seen_in))
    if stated.within_db is not None and stated.within_db >= allowance.db:
        words = f"the {stated.within_db:g} dB that the plan allows"
        allowance = Allowance(db=stated.within_db, words=words)
    line = replace(line, stated_dbfs=stated.level_dbfs)
    shown = f"the plan states {format_dbfs(stated.level_dbfs)}"
    if line.level_dbfs is None:
        return _unseen(
            line, stated.level_dbfs, allowance, whose="what the plan states", shown=shown
        )
    difference_db = line.level_dbfs - stated.level_dbfs
    line = replace(line, versus_stated_db=difference_db)
    whose = f"the {format_dbfs(stated.level_dbfs)} that the plan states"
    if stated.within_db is not None and -allowance.db <= difference_db < -stated.within_db:
        against = f"{format_db(difference_db)} against {whose}"
        return replace(line, why=f"{line.why}; {against}: placing the loop may explain it")
    return _judged(line, difference_db, allowance, whose=whose)


def _unseen(
    line: BoardLine, other_dbfs: float, allowance: Allowance, *, whose: str, shown: str
) -> BoardLine:
    """A line that is not seen where one of that level should be."""
    if line.state is not LineState.ABSENT or line.would_see_dbfs is None:
        return line
    margin_db = other_dbfs - line.would_see_dbfs
    if margin_db >= allowance.db:
        return replace(line, why=f"{line.why}; {shown}")
    return replace(
        line,
        state=LineState.HIDDEN,
        why=f"not seen, but {whose} is only {format_db(margin_db)} over what would have been seen "
        "here: move the loop closer, or use a finer RBW",
    )


def _judged(
    line: BoardLine, difference_db: float, allowance: Allowance, *, whose: str
) -> BoardLine:
    """A line that is there, and how much stronger it is than another."""
    if difference_db >= -allowance.db:
        return line
    against = f"{format_db(difference_db)} against {whose}"
    if line.state is LineState.OFF_FREQUENCY:
        why = f"{line.why}; {against}: it may be another line, and this one absent"
        return replace(line, why=why)
    if line.state is LineState.PRESENT:
        why = f"{against}, more than {allowance.words}{_seen_in(line)}"
        return replace(line, state=LineState.WEAK, why=why)
    if line.state is LineState.WEAK:
        return replace(line, why=f"{line.why}; {against}")
    return line


def _seen_in(line: BoardLine) -> str:
    if line.seen_in == line.placings:
        return ""
    return f"; seen in {line.seen_in} of {line.placings} placings"
