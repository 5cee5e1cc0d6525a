"""The picture of a comparison: the good set moved to where the suspect's lines should be."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.container import ErrorbarContainer
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from sniff.compare import Comparison, Likeness, Origin, compare
from sniff.look import Look
from sniff.report.plots import draw_comparison
from sniff.report.plots import style as ours
from tests.report.compared import (
    MOVED_PPM,
    ONE_CLOCK,
    SUSPECT_PPM,
    WEAKER_DB,
    at_two_places,
    compared,
    pair_of,
    row,
    with_rows,
    without_plan,
)
from tests.report.reading import drawn, labelled, legend, overlapping, texts, words
from tests.values import pictures

BIN_MHZ = 256e3 / 1024 / 1e6
LO_MHZ, GOOD_LO_MHZ = 83.6, 85.4


@cache
def with_others() -> Comparison:
    """Lines besides the plan near the LO: one extra, one that moved along, one that stays."""
    levels = {
        "good_dbfs": -50.0,
        "suspect_dbfs": -52.0,
        "difference_db": -2.0,
        "u_difference_db": 3.0,
    }
    return with_rows(
        compared("missing"),
        row(Likeness.ONLY_SUSPECT, suspect_hz=83.55e6, suspect_dbfs=-48.0),
        row(
            Likeness.IN_BOTH,
            Origin.CARRIER,
            name="2 LO − carrier",
            good_hz=85.44e6,
            suspect_hz=83.64e6,
            **levels,
        ),
        row(Likeness.IN_BOTH, Origin.STAYS, good_hz=83.57e6, suspect_hz=83.57e6, **levels),
        row(
            Likeness.IN_BOTH,
            Origin.ROOM,
            name="house",
            good_hz=85.38e6,
            suspect_hz=85.38e6,
            **levels,
        ),
    )


def with_many() -> Comparison:
    """More lines besides the plan than find room."""
    return with_rows(
        compared("missing"),
        *(
            row(
                Likeness.ONLY_SUSPECT,
                suspect_hz=83.44e6 + 7.1e3 * n,
                suspect_dbfs=-50.0 - n,
                would_see_good_dbfs=-80.0,
            )
            for n in range(30)
        ),
    )


def with_a_gap() -> Comparison:
    """Part of the suspect's tunings was not observed, as a sweep leaves it."""
    both = pair_of("weak")
    sets = replace(both.suspect, looks=tuple(_torn(look) for look in both.suspect.looks))
    return compare([replace(both, suspect=sets)], ONE_CLOCK)


def nothing_in_view() -> Comparison:
    """Neither source could show where the lines should be."""
    comparison = compared("none")
    (both,) = comparison.pairs
    blind = replace(
        both, good=replace(both.good, looks=()), suspect=replace(both.suspect, looks=())
    )
    return replace(comparison, pairs=(blind,), result=replace(comparison.result, lines=()))


def _torn(look: Look) -> Look:
    torn = []
    for values in (look.spectrum.psd, look.noise, look.threshold):
        copy = values.copy()
        copy[686:696] = np.nan  # 1.5 kHz to 4 kHz below the LO's place
        torn.append(copy)
    spectrum = replace(look.spectrum, psd=torn[0])
    return replace(look, spectrum=spectrum, noise=torn[1], threshold=torn[2])


COMPARISONS = {
    "alike": lambda: compared("none"),
    "the LO is missing": lambda: compared("missing"),
    "the LO is weak": lambda: compared("weak"),
    "the LO moved": lambda: compared("moved"),
    "two places": at_two_places,
    "lines besides the plan": with_others,
    "no plan": without_plan,
    "a gap": with_a_gap,
    "more lines than find room": with_many,
    "nothing in view": nothing_in_view,
}
comparisons = pytest.mark.parametrize("name", COMPARISONS)


@cache
def figure_of(name: str) -> Figure:
    return draw_comparison(COMPARISONS[name]())


@cache
def words_of(name: str) -> str:
    return words(figure_of(name))


def panel(figure: Figure, name: str) -> Axes:
    """The panel about a line, by its heading's order: the plan's."""
    order = [text.get_text() for text in figure.texts if ": " in text.get_text()]
    heads = [text for text in order if text.split(": ")[0] in PLANNED and text.count(" ") < 5]
    return figure.axes[[head.split(": ")[0] for head in heads].index(name)]


PLANNED = ("LO", "crystal", "crystal × 2", "second LO", "second LO × 2", "second LO × 3")


def area(axes: Axes) -> PolyCollection:
    (found,) = [each for each in axes.collections if isinstance(each, PolyCollection)]
    return found


def top_of(area_: PolyCollection) -> tuple[float, float]:
    """Where the good set's area is highest: MHz, dBFS."""
    corners = np.asarray(area_.get_paths()[0].vertices)
    x, y = corners[np.argmax(corners[:, 1])]
    return float(x), float(y)


def bars(axes: Axes) -> list[ErrorbarContainer]:
    return [each for each in axes.containers if isinstance(each, ErrorbarContainer)]


def markers(axes: Axes, shape: ours.Shape) -> list[tuple[float, float]]:
    """Where this shape is: the last axes' coordinates of each."""
    return [
        (float(np.asarray(line.get_xdata())[0]), float(np.asarray(line.get_ydata())[0]))
        for line in axes.lines
        if line.get_marker() == shape.marker and line.get_markeredgecolor() == shape.color
    ]


def strip(figure: Figure) -> Axes:
    return [axes for axes in figure.axes if axes.get_ylabel() == "difference, dB"][-1]


@comparisons
def test_no_text_covers_another_and_all_lies_on_the_sheet(name: str) -> None:
    figure = figure_of(name)
    found = texts(figure)
    assert overlapping(found) == []
    assert min(text.get_fontsize() for text in found) >= pictures.SMALLEST_TYPE_PT
    for text in found:
        box = text.get_window_extent()
        assert box.x0 >= figure.bbox.x0, text
        assert box.x1 <= figure.bbox.x1, text
        assert box.y0 >= figure.bbox.y0, text
        assert box.y1 <= figure.bbox.y1, text


@comparisons
def test_every_picture_is_as_wide_as_the_others_and_hardly_any_higher_than_a4(name: str) -> None:
    width_mm, height_mm = figure_of(name).get_size_inches() * 25.4
    assert width_mm == pytest.approx(190.0)
    crowded = name == "more lines than find room"
    assert height_mm < pictures.A4_MM[1] * (1.2 if crowded else 1.0)


@comparisons
def test_the_title_is_the_verdict_with_its_sentence(name: str) -> None:
    result = COMPARISONS[name]().result
    lines = [t for t in figure_of(name).texts if str(t.get_gid()).startswith("title-")]
    said = " ".join(line.get_text() for line in lines)
    verdict = result.verdict.value.capitalize()
    assert said.replace("\N{NO-BREAK SPACE}", " ") == f"{verdict}: {result.sentence}"


def test_the_good_sets_lo_lies_where_the_suspects_should_be() -> None:
    """It is 2 ppm high on 85.4 MHz; moved by the carriers' 1.8 MHz that is 83.600171 MHz."""
    axes = panel(figure_of("the LO is missing"), "LO")
    x, y = top_of(area(axes))
    assert x == pytest.approx(GOOD_LO_MHZ * (1 + 2e-6) - 1.8, abs=BIN_MHZ)
    assert y == pytest.approx(-40.0, abs=1.5)  # Hann's scalloping is 1.4 dB (Harris 1978)
    suspect = drawn(figure_of("the LO is missing"), "suspect")
    assert np.max(np.asarray(suspect.get_ydata())) < -60.0


def test_the_crystals_panel_is_moved_by_a_third_of_that() -> None:
    figure = figure_of("alike")
    axes = panel(figure, "crystal")
    x, _ = top_of(area(axes))
    assert x == pytest.approx(83.6 / 3 * (1 + 2e-6), abs=BIN_MHZ)
    assert "good set, MHz (moved by −600 kHz)" in words_of("alike")
    (own,) = axes.child_axes
    assert np.asarray(own.get_xlim()) == pytest.approx(np.asarray(axes.get_xlim()) + 0.6)


def test_what_does_not_move_with_the_carrier_has_one_axis_for_both() -> None:
    axes = panel(figure_of("alike"), "second LO × 3")
    assert axes.get_xlabel() == "both sets, MHz (clock-corrected)"
    assert not axes.child_axes
    assert top_of(area(axes))[0] == pytest.approx(30.735 * (1 + 3e-6), abs=BIN_MHZ)


def test_a_line_that_moved_stands_outside_what_agrees() -> None:
    """44 ppm high; the good set's is 2 ppm high, and ±10 ppm about that agree."""
    axes = panel(figure_of("the LO moved"), "LO")
    (bar,) = bars(axes)
    marker, _, (spread,) = bar.lines
    at = float(np.asarray(marker.get_xdata())[0])
    off_ppm = MOVED_PPM + SUSPECT_PPM
    assert at == pytest.approx(LO_MHZ * (1 + off_ppm * 1e-6), abs=90e-6)  # U is 1 ppm
    band = axes.patches[0].get_extents().transformed(axes.transData.inverted())
    # As far off as the readings may be: the clock's u of 0.5 ppm, twice.
    assert band.x0 == pytest.approx(LO_MHZ * (1 + (2 - 10) * 1e-6), abs=90e-6)
    assert band.x1 == pytest.approx(LO_MHZ * (1 + (2 + 10) * 1e-6), abs=90e-6)
    assert band.x1 < at < axes.get_xlim()[1]
    lo = next(line for line in compared("moved").result.lines if line.name == "LO")
    assert lo.u_shift_ppm is not None
    (ends,) = spread.get_segments()
    assert np.ptp(ends[:, 0]) == pytest.approx(4.0 * lo.u_shift_ppm * 1e-6 * at, rel=1e-3)
    assert marker.get_marker() == ours.LIKENESSES[Likeness.MOVED].marker


def test_a_missing_line_shows_from_which_level_on_it_would_be_seen() -> None:
    figure = figure_of("the LO is missing")
    lo = next(line for line in compared("missing").result.lines if line.name == "LO")
    axes = panel(figure, "LO")
    (mark,) = [
        line for line in axes.lines if line.get_label() == "would be seen from this level on"
    ]
    assert np.asarray(mark.get_ydata()) == pytest.approx([lo.would_see_suspect_dbfs] * 2)
    assert np.mean(np.asarray(mark.get_xdata())) == pytest.approx(LO_MHZ)
    assert not bars(axes)
    assert markers(axes, ours.LIKENESSES[Likeness.ONLY_GOOD])
    assert "would be seen from this level on" in legend(figure)
    assert "would be seen from this level on" not in legend(figure_of("the LO is weak"))


def test_the_strip_shows_each_difference_with_its_u_and_what_the_loop_explains() -> None:
    axes = strip(figure_of("the LO is weak"))
    comparison = compared("weak")
    names = [tick.get_text() for tick in axes.get_xticklabels()]
    assert names == ["LO", "crystal", "crystal × 2", "second LO × 3"]
    lo = bars(axes)[0]
    marker, _, (spread,) = lo.lines
    assert float(np.asarray(marker.get_ydata())[0]) == pytest.approx(-WEAKER_DB, abs=0.3)
    (ends,) = spread.get_segments()
    assert np.ptp(ends[:, 1]) == pytest.approx(12.0, abs=0.05)  # ±6 dB, as stated, and the noise
    band = axes.patches[0].get_extents().transformed(axes.transData.inverted())
    limit_db = comparison.result.places[0].weak_below_db
    assert (band.y0, band.y1) == pytest.approx((-limit_db, limit_db))


def test_what_only_one_set_has_is_a_bound_with_an_arrow() -> None:
    figure = figure_of("the LO is missing")
    axes = strip(figure)
    lo = next(line for line in compared("missing").result.lines if line.name == "LO")
    assert lo.would_see_suspect_dbfs is not None
    assert lo.good_dbfs is not None
    at_most = lo.would_see_suspect_dbfs - lo.good_dbfs + 6.0  # U, as stated of placements
    ((x, y),) = markers(axes, ours.LIKENESSES[Likeness.ONLY_GOOD])
    assert (x, y) == pytest.approx((0.0, at_most), abs=0.05)
    assert f"below {at_most:.1f} dB".replace("-", "−") in words_of("the LO is missing")
    (arrow,) = [text for text in axes.texts if getattr(text, "arrow_patch", None)]
    tip = axes.transData.transform((0.0, at_most))[1] - 11.0 / 72.0 * figure.dpi
    assert axes.get_window_extent().y0 < tip
    assert arrow.xyann == (0.0, -11.0)  # type: ignore[attr-defined]


def test_places_share_one_scale_of_differences_so_that_a_weak_feed_stands_out() -> None:
    figure = figure_of("two places")
    strips = [axes for axes in figure.axes if axes.get_ylabel() == "difference, dB"]
    assert len(strips) == 2
    assert strips[0].get_ylim() == strips[1].get_ylim()
    said = words_of("two places")
    assert said.index("At feed A: alike") < said.index("At feed B: differs")


def test_of_several_places_only_wanted_lines_have_panels() -> None:
    panels = [a for a in figure_of("two places").axes if a.get_ylabel() == "level, dBFS"]
    # The LO and the second LO are wanted; no tuner shows the second, of 10.245 MHz.
    assert len(panels) == 2


def test_a_line_seen_in_neither_has_a_row_and_no_panel() -> None:
    comparison = compared("none")
    lines = tuple(
        replace(
            line,
            good_hz=None,
            suspect_hz=None,
            good_dbfs=None,
            suspect_dbfs=None,
            difference_db=None,
            state=Likeness.NEITHER,
        )
        if line.name == "crystal"
        else line
        for line in comparison.result.lines
    )
    result = replace(comparison.result, lines=lines)
    figure = draw_comparison(replace(comparison, result=result))
    heads = [text.get_text() for text in figure.texts]
    assert "crystal × 2: in-both" in heads
    assert not any(head.startswith("crystal: ") for head in heads)
    assert "neither" in heads


def test_a_wide_u_does_not_take_a_panel_beyond_what_was_heard() -> None:
    """256 kHz about a centre near the LO; ±10 000 ppm would be 1.7 MHz."""
    comparison = compared("none")
    lines = tuple(
        replace(each, u_shift_ppm=5000.0) if each.name == "LO" else each
        for each in comparison.result.lines
    )
    result = replace(comparison.result, lines=lines)
    axes = panel(draw_comparison(replace(comparison, result=result)), "LO")
    low, high = axes.get_xlim()
    assert 0.256 <= high - low < 2 * 0.256  # both sets' tunings, which stand apart a little


def wide(figure: Figure) -> Axes:
    """The panel of a whole tuning: the widest."""
    return max(figure.axes, key=lambda axes: axes.get_position().width)


def test_lines_besides_the_plan_are_named_over_the_whole_tuning() -> None:
    figure = figure_of("lines besides the plan")
    named = [text.get_text() for text in labelled(figure, "line-")]
    plain = [name.replace("\N{NO-BREAK SPACE}", " ").replace("\n", " ") for name in named]
    assert plain == [
        "line at 83.55 MHz only-suspect",
        "line at 83.57 MHz stays",
        "house stays",
        "LO only-good",
        "2 LO − carrier in-both",
    ]
    assert "good set, MHz (moved by −1.8 MHz)" in words_of("lines besides the plan")


def test_what_stays_is_marked_where_it_is_in_each_set() -> None:
    """On the suspect's axis the good set's part of it lies 1.8 MHz lower."""
    axes = wide(figure_of("lines besides the plan"))
    stays = sorted(x for x, _ in markers(axes, ours.STAYS))
    assert stays == pytest.approx([83.57, 83.58])  # the house's is at 85.38 - 1.8 in the good set
    assert ours.STAYS.words in legend(figure_of("lines besides the plan"))


def test_the_room_is_not_among_the_differences() -> None:
    axes = strip(figure_of("lines besides the plan"))
    names = [tick.get_text().replace("\n", " ") for tick in axes.get_xticklabels()]
    assert "2 LO − carrier" in names
    assert "house" not in names


def test_without_lines_besides_the_plan_there_is_no_whole_tuning() -> None:
    hidden = with_rows(compared("none"), row(Likeness.HIDDEN, good_hz=85.42e6, good_dbfs=-75.0))
    figure = draw_comparison(hidden)
    assert not any(str(text.get_gid()).startswith("line-") for text in figure.texts)


def test_what_finds_no_room_is_told_of() -> None:
    assert "24 more lines besides the plan: --json lists all" in words_of(
        "more lines than find room"
    )


def test_what_was_not_observed_is_a_gap_and_no_level() -> None:
    suspect = drawn(figure_of("a gap"), "suspect")
    levels = np.asarray(suspect.get_ydata(), dtype=np.float64)
    assert np.isnan(levels).any()
    assert np.nanmin(levels) > -120.0


def test_the_good_set_is_lifted_by_what_the_gains_differ() -> None:
    both = pair_of("none")
    heard = replace(
        both,
        good=replace(both.good, gain_db=30.0),
        suspect=replace(both.suspect, gain_db=36.0),
    )
    lifted = panel(draw_comparison(compare([heard], ONE_CLOCK)), "LO")
    as_it_is = panel(figure_of("alike"), "LO")
    assert top_of(area(lifted))[1] - top_of(area(as_it_is))[1] == pytest.approx(6.0)


def test_without_a_plan_the_whole_tuning_is_shown() -> None:
    figure = figure_of("no plan")
    assert wide(figure).get_position().width > 0.8
    assert "taken to be on the same frequency" in words_of("no plan")


@pytest.mark.parametrize("state", list(Likeness))
def test_every_state_has_a_shape_of_its_own(state: Likeness) -> None:
    shapes = [ours.LIKENESSES[other] for other in Likeness if other is not state]
    mine = ours.LIKENESSES[state]
    assert (mine.marker, mine.fill_style) not in [(s.marker, s.fill_style) for s in shapes]
    assert isinstance(Line2D([], [], **mine.line()), Line2D)
