"""What of a comparison stands where a front end was overloaded: frequencies, not levels."""

from collections.abc import Sequence
from dataclasses import replace

from sniff.compare.nouns import ComparedLine, Likeness, Pair

_STANDS = frozenset({Likeness.MOVED, Likeness.UNSTEADY, Likeness.HIDDEN})
"""States that no level decides."""


def without_levels(rows: Sequence[ComparedLine], pair: Pair) -> list[ComparedLine]:
    """The rows as they are, or, where a front end was overloaded, without what levels told.

    A converter at its rails shows strong lines too weak, weak ones not at all, and others that
    nobody sends; so neither a difference nor an absence can be told.
    """
    who = _overloaded(pair)
    if who is None:
        return list(rows)
    why = (
        f"the receiver was overloaded with {who}, so that neither levels nor what is missing can "
        "be told; use less gain"
    )
    return [
        replace(
            row,
            difference_db=None,
            u_difference_db=None,
            expanded_difference_db=None,
            difference_bound_db=None,
            state=row.state if row.state in _STANDS else Likeness.HIDDEN,
            why=row.why if row.state in _STANDS else why,
        )
        for row in rows
    ]


def _overloaded(pair: Pair) -> str | None:
    if pair.good.overloaded and pair.suspect.overloaded:
        return "both sets"
    if pair.good.overloaded:
        return "the good set"
    return "the suspect" if pair.suspect.overloaded else None
