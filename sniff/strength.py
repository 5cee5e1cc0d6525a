"""Strength: is a line as strong as it should be, by the sibling's?"""

from collections.abc import Sequence
from dataclasses import replace

from sniff.board import BoardLine, LineState
from sniff.units import format_db, format_dbfs

PLACEMENT_DB = 6.0
"""By how much the level of a hand-held loop differs from placing to placing (k = 2), unless
measured (common practice, no source)."""


def against_sibling(
    lines: Sequence[BoardLine], sibling: Sequence[BoardLine], *, placement_db: float
) -> tuple[BoardLine, ...]:
    """Compare levels line by line, by name; a line weaker by more than the placing is weak."""
    levels = {line.name: line for line in sibling}
    return tuple(_against(line, levels.get(line.name), placement_db) for line in lines)


def _against(line: BoardLine, other: BoardLine | None, placement_db: float) -> BoardLine:
    if other is None or other.level_dbfs is None:
        return line
    if line.state is LineState.ABSENT and line.would_see_dbfs is not None:
        margin_db = other.level_dbfs - line.would_see_dbfs
        if margin_db < placement_db:
            return replace(
                line,
                state=LineState.HIDDEN,
                why=f"not seen, but the sibling's line is only {format_db(margin_db)} over what "
                "would have been seen here: move the loop closer, or use a finer RBW",
            )
        return replace(line, why=f"{line.why}; the sibling shows {format_dbfs(other.level_dbfs)}")
    if line.level_dbfs is None:
        return line
    difference_db = line.level_dbfs - other.level_dbfs
    line = replace(line, versus_sibling_db=difference_db)
    if line.state is LineState.OFF_FREQUENCY and difference_db < -placement_db:
        return replace(
            line,
            why=f"{line.why}; {format_db(difference_db)} against the sibling: it may be another "
            "line, and this one absent",
        )
    if line.state is LineState.PRESENT and difference_db < -placement_db:
        return replace(
            line,
            state=LineState.WEAK,
            why=f"{format_db(difference_db)} against the sibling, more than the "
            f"±{placement_db:g} dB of placing the loop",
        )
    return line
