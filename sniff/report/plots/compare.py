"""The picture of a comparison: both spectra on the suspect's axis, and what differs by how much."""

from collections.abc import Iterator, Sequence
from typing import Any

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sniff.compare import Comparison
from sniff.report.compare_words import VERDICTS, placing_of, sources_of
from sniff.report.plots import style
from sniff.report.plots.axis import U_WORDS, tunings_in_words
from sniff.report.plots.compare_band import Band
from sniff.report.plots.compare_panel import not_of_the_set
from sniff.report.plots.compare_table import left_away
from sniff.report.plots.compare_views import scale_of_sight, stays
from sniff.report.plots.page import Bar, Sheet, open_page
from sniff.report.plots.trace import shape_of

_PAGE_MM = 277.0
_PANEL_MM = (24.0, 50.0)
_BETWEEN_MM = 4.0


def draw_comparison(comparison: Comparison) -> Figure:
    """Draw what two sets show, the good one's spectrum moved to where the suspect's should be.

    A panel for each line of the plan, in which the good set is moved as far as that line moves
    with the carrier; whole tunings where they show lines that no plan lists, the good set moved by
    the carriers' distance; and a strip of the differences in level. Of several places each has a
    band of its own.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    Figure
        190 mm wide; as a rule no higher than A4.
    """
    with style.context():
        bands = _bands_of(comparison)
        result = comparison.result
        sheet = Sheet(
            title=f"{VERDICTS[result.verdict]}: {result.sentence}",
            keys=_keys(bands, agree_ppm=result.agree_ppm),
            footer=list(_footer(comparison)),
        )
        taken_mm = sheet.top_mm + sheet.bottom_mm + _BETWEEN_MM * (len(bands) - 1)
        taken_mm += sum(band.height_mm(0.0) for band in bands)
        low_mm, high_mm = _PANEL_MM
        rows = sum(band.panel_rows for band in bands)
        panel_mm = max(low_mm, min(high_mm, (_PAGE_MM - taken_mm) / max(1, rows)))
        heights_mm = [band.height_mm(panel_mm) for band in bands]
        body_mm = sum(heights_mm) + _BETWEEN_MM * (len(bands) - 1)
        page = open_page(sheet, body_mm=body_mm)
        reaches_db = [band.reach_db for band in bands]  # one scale, so that places can be compared
        reach_db = min(low for low, _ in reaches_db), max(high for _, high in reaches_db)
        y_mm = sheet.top_mm
        for band, height_mm in zip(bands, heights_mm, strict=True):
            band.draw(page, top_mm=y_mm, panel_mm=panel_mm, reach_db=reach_db)
            y_mm += height_mm + _BETWEEN_MM
        return page.figure


def _bands_of(comparison: Comparison) -> list[Band]:
    result = comparison.result
    return [
        Band(
            pair=pair,
            place=place,
            rows=tuple(row for row in result.lines if row.place == place.place),
            result=result,
        )
        for place, pair in zip(result.places, comparison.pairs, strict=True)
    ]


def _footer(comparison: Comparison) -> Iterator[str]:
    result, pairs = comparison.result, comparison.pairs
    yield from dict.fromkeys(sources_of(pair) for pair in pairs)
    placings = [placing_of(place) for place in result.places]
    for place, words in zip(result.places, placings, strict=True):
        several = len(set(placings)) > 1
        if several or place is result.places[0]:
            yield f"at {place.place}, {words}" if several else words
    for who, sights in (
        ("suspect", [pair.suspect for pair in pairs]),
        ("good set", [pair.good for pair in pairs]),
    ):
        looks = [look for sight in sights for look in sight.looks]
        yield from (f"{who}, {words}" for words in dict.fromkeys(tunings_in_words(looks)))
    clocks = dict.fromkeys(
        scale_of_sight(sight).statement for pair in pairs for sight in (pair.suspect, pair.good)
    )
    measured = "one clock measured both: " if result.one_clock else ""
    yield f"{measured}{'; the good set: '.join(clocks)} · {U_WORDS}"
    more = sum(left_away([r for r in result.lines if r.place == p.place]) for p in result.places)
    if more:
        lines = "1 more line" if more == 1 else f"{more} more lines"
        planned = any(pair.suspect.board is not None for pair in comparison.pairs)
        yield f"{lines}{' besides the plan' if planned else ''}: --json lists all"
    yield from dict.fromkeys(f"Caution: {caution.text}" for caution in comparison.cautions)


def _keys(bands: Sequence[Band], *, agree_ppm: float) -> list[Any]:
    near = [view for band in bands for view in band.near]
    wide = [view for band in bands for view in band.wide]
    keys: list[Any] = []
    if any(view.suspect is not None for view in (*near, *wide)):
        keys += [Line2D([], [], **style.SUSPECT_STROKE)]
    if any(view.good is not None for view in (*near, *wide)):
        moved = any(view.move_hz for view in (*near, *wide))
        keys += [Patch(**{**style.GOOD_AREA, **({} if moved else {"label": "good set"})})]
    if near:
        keys += [
            Line2D([], [], **style.EXPECTED_STROKE),
            Patch(
                **{**style.ALLOWED_BAND, "label": f"agrees with the good set: ±{agree_ppm:g} ppm"}
            ),
        ]
    if any(row.u_shift_ppm is not None for view in near for row in view.rows):
        label = "suspect's reading ± U of the shift"
        keys.append(Bar([], [], color=style.INK, linewidth=1.0, marker="|", label=label))
    unseen = (row.suspect_hz is None or row.good_hz is None for view in near for row in view.rows)
    if any(unseen):
        keys.append(Line2D([], [], **style.WOULD_SEE_STROKE))
    if any(band.differences for band in bands):
        label = "so far apart two healthy sets may be"
        keys.append(Patch(**{**style.SPREAD_BAND, "label": label}))
    rows = [row for view in (*near, *wide) for row in view.rows]
    rows += [each.row for band in bands for each in band.differences]
    states = {row.state for row in rows if not (stays(row) and not row.planned)}
    shapes = [shape for state, shape in style.LIKENESSES.items() if state in states]
    if any(row.good_hz is not None for view in near for row in view.rows):
        shapes.append(style.GOOD_ONE)
    if any(stays(row) for view in wide for row in view.rows):
        shapes.append(style.STAYS)
    marked = {
        shape_of(peak)
        for view in wide
        for look in (view.suspect, view.good)
        if look is not None
        for peak in not_of_the_set(look, view)
    }
    shapes += [shape for shape in style.MARKS.values() if shape in marked]
    return keys + [Line2D([], [], label=shape.words, **shape.line()) for shape in shapes]
