"""Names of a batch's rows: short, drawable, and where there are too many only those that matter."""

from collections.abc import Mapping, Sequence
from itertools import zip_longest
from typing import Final

from sniff.batch.summary import Summary
from sniff.report.file_names import common_folder, within
from sniff.report.plots.batch_columns import Arrangement
from sniff.report.plots.foreign_words import drawable, elided
from sniff.report.plots.page import Page, text_width_mm
from sniff.report.plots.ranked import Rows

SIDE_MM: Final = 2.0
_WIDEST_MM: Final = 48.0
_AFTER_MM: Final = 1.5
_NO_NAMES_MM: Final = 6.0
_HALF_MM: Final = 1.45
"""From a name's upper edge to its middle."""


def short_names(files: Sequence[str]) -> tuple[str, list[str]]:
    """The folder in which all lie, and each one's name in it, without an ending that all share."""
    folder = common_folder(files) if len(files) > 1 else ""
    names = [within(folder, file) for file in files]
    ends = {name[name.rfind(".") :] if "." in name[1:] else "" for name in names}
    end = ends.pop() if len(ends) == 1 else ""
    return drawable(folder), [drawable(name.removesuffix(end)) for name in names]


def named_places(
    arrangement: Arrangement, names: Sequence[str], summary: Summary, *, most: int
) -> dict[int, str]:
    """Name by place: of all rows, or, if they are more than `most`, of half as many.

    Those are, by turns, the worst that failed, stand out, and are undecided.
    """
    if len(arrangement.places) <= most:
        chosen = list(arrangement.places)
    else:
        turns = zip_longest(
            [case.row for case in summary.failures],
            [outlier.row for outlier in summary.outliers],
            [case.row for case in summary.open_cases],
        )
        told = (row for turn in turns for row in turn if row is not None)
        chosen = [row for row in dict.fromkeys(told) if row in arrangement.places]
        chosen = chosen[: most // 2]
    return dict(sorted((arrangement.places[row], elided(names[row], _WIDEST_MM)) for row in chosen))


def draw_names(page: Page, named: Mapping[int, str], rows: Rows, *, bottom_mm: float) -> float:
    """Write the names beside their rows, whose foot is here; returns where columns may begin."""
    width_mm = max((text_width_mm(name) for name in named.values()), default=_NO_NAMES_MM)
    for number, (place, name) in enumerate(named.items()):
        y_mm = bottom_mm - rows.middle_mm[place] - _HALF_MM
        label = page.write(SIDE_MM + width_mm, y_mm, name, ha="right", parse_math=False)
        label.set_gid(f"row-{number}")
    return SIDE_MM + width_mm + _AFTER_MM
