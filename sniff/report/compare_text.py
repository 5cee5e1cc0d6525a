"""A comparison as text: place by place, the plan's lines first, and the verdict last."""

from collections.abc import Iterator, Sequence

from rich.cells import cell_len
from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from sniff.compare import (
    ComparedLine,
    Comparison,
    ComparisonVerdict,
    Likeness,
    Pair,
)
from sniff.report.compare_words import (
    SIGNS,
    difference_of,
    grouped,
    level_of,
    name_of,
    placing_of,
    reading_of,
    shift_of,
    sources_of,
)
from sniff.report.look_text import clock_words
from sniff.report.text import console, table

_STYLES = {
    Likeness.IN_BOTH: "green",
    Likeness.WEAK: "yellow",
    Likeness.STRONG: "green",
    Likeness.MOVED: "red",
    Likeness.UNSTEADY: "red",
    Likeness.ONLY_GOOD: "red",
    Likeness.ONLY_SUSPECT: "yellow",
    Likeness.NEITHER: "",
    Likeness.HIDDEN: "yellow",
}
_VERDICT_STYLES = {
    ComparisonVerdict.ALIKE: "bold green",
    ComparisonVerdict.DIFFERS: "bold red",
    ComparisonVerdict.UNDECIDED: "bold yellow",
}
_MOST_SHOWN = 12
_MOST_OF_THE_ROOM = 4
_ONE_ROW = 180
"""Columns from which on a line of both sets goes into one row without folding a number."""
_WIDEST_NAME = 24


def print_comparison(comparison: Comparison) -> None:
    """Print what the two sets show, and what may be said of it."""
    out = console()
    result, first = comparison.result, comparison.pairs[0]
    several = len(result.places) > 1
    _say(out, sources_of(first))
    _say(out, _clocks(first, one_clock=result.one_clock))
    for place, pair in zip(result.places, comparison.pairs, strict=True):
        out.print()
        if place.place is not None:
            out.print(Text(f"At {place.place}", style="bold"))
        if sources_of(pair) != sources_of(first):
            _say(out, sources_of(pair))
        _say(out, placing_of(place))
        _print_lines(out, [row for row in result.lines if row.place == place.place])
        if several:
            _print_verdict(out, place.verdict, place.sentence)
    if several:
        out.print()
        out.print(Text("All places together", style="bold"))
    _print_verdict(out, result.verdict, result.sentence)


def _say(out: Console, words: str) -> None:
    out.print(f"{words[0].upper()}{words[1:]}.", markup=False)


def _print_verdict(out: Console, verdict: ComparisonVerdict, sentence: str) -> None:
    words = (verdict.value.upper(), _VERDICT_STYLES[verdict])
    out.print(Text.assemble(words, f": {sentence}."))


def _clocks(pair: Pair, *, one_clock: bool) -> str:
    good, suspect = (clock_words(sight.correction) for sight in (pair.good, pair.suspect))
    if one_clock:
        return f"one clock measured both, {suspect}; its error falls out of the differences"
    return f"clock {suspect}" if good == suspect else f"clock {suspect}; the good set's {good}"


def _print_lines(out: Console, rows: Sequence[ComparedLine]) -> None:
    """The plan's lines, then the others by what they tell."""
    groups = grouped(rows)
    besides = ", besides the plan" if groups.planned else ""
    for heading, group, most in (
        ("", groups.planned, len(groups.planned)),
        (f"Seen in one only{besides}:", groups.alone, _MOST_SHOWN),
        (f"Seen in both{besides}:", groups.both, _MOST_SHOWN),
        ("Of the room, or the same in both:", groups.room, _MOST_OF_THE_ROOM),
    ):
        if not group:
            continue
        out.print()
        if heading:
            out.print(heading)
        for part in _laid_out(group[:most], width=out.width):
            out.print(part)
        if len(group) > most:
            left = len(group) - most
            out.print(f"and {left} weaker {'one' if left == 1 else 'ones'}; --json lists all")
    out.print()


def _laid_out(rows: Sequence[ComparedLine], *, width: int) -> Iterator[RenderableType]:
    """One row for each line where there is room, else the suspect's numbers below the good's."""
    if width >= _ONE_ROW:
        yield table(_HEADERS, [_cells(row) for row in rows])
        return
    blocks = [_block(_HEADERS[:-1]), *(_block(_cells(row)[:-1]) for row in rows)]
    widths = [max(_width(block[at]) for block in blocks) for at in range(len(blocks[0]))]
    widths[0] = min(widths[0], _WIDEST_NAME)
    yield _columns(blocks[0], widths, style="bold")
    for row, block in zip(rows, blocks[1:], strict=True):
        yield _columns(block, widths)
        yield Padding(Text(row.why), (0, 0, 0, 4))


_HEADERS = [
    "line",
    "<state",
    "good at",
    "suspect at",
    "good level",
    "suspect level",
    "shift, U (k = 2)",
    "suspect − good, U",
    "<because",
]


def _cells(row: ComparedLine) -> list[str | Text]:
    name = name_of(row)
    return [
        f"({name})" if row.planned and not row.wanted else name,
        Text(f"{SIGNS[row.state]} {row.state.value}", style=_STYLES[row.state]),
        reading_of(row.good_hz, row.u_good_hz),
        reading_of(row.suspect_hz, row.u_suspect_hz),
        level_of(row.good_dbfs, row.would_see_good_dbfs),
        level_of(row.suspect_dbfs, row.would_see_suspect_dbfs),
        shift_of(row),
        difference_of(row),
        row.why,
    ]


def _block(cells: Sequence[str | Text]) -> list[Text]:
    """Two rows of four cells, the first of each pair above the second."""
    texts = [cell if isinstance(cell, Text) else Text(cell.removeprefix("<")) for cell in cells]
    return [Text("\n").join(texts[at : at + 2]) for at in range(0, len(texts), 2)]


def _width(block: Text) -> int:
    return max(cell_len(line) for line in block.plain.split("\n"))


def _columns(block: Sequence[Text], widths: Sequence[int], *, style: str = "") -> Table:
    made = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=False, style=style)
    for number, width in enumerate(widths):
        made.add_column(width=width, justify="right" if number else "left")
    made.add_row(*block)
    return made
