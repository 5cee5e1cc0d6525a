"""What several placings of the loop tell, in words."""

from sniff.board import BoardLine, BoardResult
from sniff.placings import PlacingSpread


def spread_words(result: BoardResult) -> str:
    """How far one placing of the loop may lie off; empty when that was not measured."""
    sd_db, degrees = result.placing_sd_db, result.placing_degrees
    if sd_db is None or degrees is None:
        return ""
    return spread_in_words(
        PlacingSpread(sd_db=sd_db, degrees=degrees, lines=result.placing_lines or 1),
        placings=result.placings,
        sibling_placings=result.sibling_placings,
    )


def spread_in_words(spread: PlacingSpread, *, placings: int, sibling_placings: int | None) -> str:
    """How far one placing of the loop may lie off, and from what that is known."""
    of = "1 line" if spread.lines == 1 else f"{spread.lines} lines"
    each = "" if sibling_placings is None else f", and {sibling_placings} at the sibling"
    return (
        f"Placing spread: one placing ±{spread.expanded_db:.1f} dB "
        f"(95 %, k = {spread.expanded_factor:.1f}), from {placings} placings of {of}{each}"
    )


def scatter_words(line: BoardLine) -> str:
    """Standard deviation of a line's level, and in how many placings it was seen."""
    if line.placings == 1 or line.level_dbfs is None:
        return ""
    sd = "" if line.level_sd_db is None else f"{line.level_sd_db:.1f} dB "
    return f"{sd}({line.seen_in} of {line.placings})"
