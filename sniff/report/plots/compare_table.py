"""The lines of a comparison as a small table over their panels."""

from collections.abc import Sequence

from sniff.compare import ComparedLine, Likeness, Pair
from sniff.compare.planned import frequency_outcome
from sniff.report.compare_words import difference_of, grouped, name_of, reading_of, shift_of
from sniff.report.plots import style
from sniff.report.plots.table import Row, Table
from sniff.verdict import Outcome

_HEADS = ("line", "good set at", "suspect at", "shift ± U", "suspect − good ± U", "state")
_PLAIN = (Likeness.IN_BOTH, Likeness.STRONG, Likeness.NEITHER)
_MOST_BESIDES = 6


def table_of(rows: Sequence[ComparedLine], pair: Pair, *, agree_ppm: float, few: bool) -> Table:
    """The plan's lines, then what only one set shows, then what both do.

    What is hidden besides the plan, and what is of the room, is left to text and JSON. The reason
    goes below each line of which the numbers do not tell all. With `few` what neither set shows,
    nor must, is left away.
    """
    groups = grouped(rows)
    planned = [
        row for row in groups.planned if row.wanted or row.state is not Likeness.NEITHER or not few
    ]
    besides = besides_the_plan(rows)
    return Table(
        _HEADS,
        [
            Row(
                cells=(
                    name_of(row).replace(" MHz", "\N{NO-BREAK SPACE}MHz"),
                    reading_of(row.good_hz, row.u_good_hz),
                    reading_of(row.suspect_hz, row.u_suspect_hz),
                    shift_of(row),
                    difference_of(row),
                    row.state.value,
                ),
                shape=style.LIKENESSES[row.state],
                reason="" if _plain(row, agree_ppm) else row.why,
            )
            for row in [*planned, *besides[:_MOST_BESIDES]]
        ],
    )


def left_away(rows: Sequence[ComparedLine]) -> int:
    """How many lines besides the plan find no room."""
    return max(0, len(besides_the_plan(rows)) - _MOST_BESIDES)


def besides_the_plan(rows: Sequence[ComparedLine]) -> list[ComparedLine]:
    """Lines of the sets that no plan lists; hidden ones only where there is no plan."""
    groups = grouped(rows)
    alone = [row for row in groups.alone if row.state is not Likeness.HIDDEN or not groups.planned]
    return [*alone, *groups.both]


def _plain(row: ComparedLine, agree_ppm: float) -> bool:
    """Whether numbers and state tell all."""
    if not row.planned:
        return row.state is not Likeness.HIDDEN
    open_ = frequency_outcome(row, agree_ppm) is Outcome.UNDECIDED
    return row.state in _PLAIN and not open_
