"""The picture of a batch: all figures where they belong, from one recording to two thousand."""

import warnings
from typing import Any

import numpy as np
import pytest
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from sniff.batch.nouns import Answer
from sniff.batch.summary import summarised
from sniff.batch.table import flattened
from sniff.report.plots import draw_batch, render
from sniff.report.plots.batch_names import short_names
from sniff.report.plots.foreign_words import elided
from sniff.report.plots.page import text_width_mm
from tests.batch.told import answer, board, board_line, carrier, envelope, look, unread, watch
from tests.report.reading import labelled, legend, overlapping, texts, words
from tests.values import pictures


def _draw(question: str, answers: list[Answer]) -> Figure:
    table = flattened(answers)
    return draw_batch(table, summarised(table, question=question))


def _carriers(count: int) -> list[Answer]:
    """Errors from -6 to 6 ppm by chance; one of 40 fails, one of 50 is undecided."""
    rng = np.random.default_rng(1)
    told = []
    for n, error in enumerate(rng.normal(0.0, 2.0, count)):
        verdict = "fail" if n % 40 == 7 else "undecided" if n % 50 == 9 else "pass"
        off = 40.0 + 0.1 * n if verdict == "fail" else 19.5 if verdict == "undecided" else error
        told.append(answer(n, carrier(float(off), verdict=verdict)))
    return [*told, unread(count)]


def _boards(count: int) -> list[Answer]:
    rng = np.random.default_rng(2)
    told = []
    for n in range(count):
        gone = board_line("LO", None, state="absent", would_see_dbfs=-84.0)
        there = board_line("LO", float(rng.normal(-39.0, 1.0)))
        second = board_line("2nd LO", float(rng.normal(-50.0, 1.0)))
        told.append(answer(n, board(gone if n % 30 == 11 else there, second)))
    return told


def _watches(count: int) -> list[Answer]:
    return [
        answer(n, watch(3 * n if n % 9 == 4 else 0, 0.5 * (1 + n % 4)), exit_code=n % 9 == 4)
        for n in range(count)
    ]


def _looks(count: int) -> list[Answer]:
    return [
        answer(n, look(-98.0 + (30.0 if n == 5 else 0.1 * (n % 7)), (72.9e6, -30.0 - n % 5, "")))
        for n in range(count)
    ]


def _comparisons(count: int) -> list[Answer]:
    names = ("LO", "second harmonic of the crystal of the house's $transmitter$", "crystal × 2")
    lines = [
        [
            {
                "name": name,
                "wanted": True,
                "state": "in-both",
                "difference_db": -0.5 * (n % 5),
                "u_difference_db": 1.5,
                "expanded_difference_db": 3.5,
            }
            for name in names
        ]
        for n in range(count)
    ]
    return [
        answer(n, envelope("compare", {"verdict": "alike", "sentence": "", "lines": each}))
        for n, each in enumerate(lines)
    ]


FLEETS = {
    "carrier": _carriers,
    "probe": _boards,
    "watch": _watches,
    "look": _looks,
    "compare": _comparisons,
}
COUNTS = {
    "carrier": (1, 3, 40, 2000),
    "probe": (40,),
    "watch": (40,),
    "look": (40,),
    "compare": (3,),
}
FIGURES = {
    f"{question} of {count}": _draw(question, FLEETS[question](count))
    for question, counts in COUNTS.items()
    for count in counts
}
figures = pytest.mark.parametrize("figure", FIGURES.values(), ids=FIGURES.keys())


@figures
def test_no_text_covers_another(figure: Figure) -> None:
    assert overlapping(texts(figure)) == []


@figures
def test_all_text_lies_on_the_sheet_and_is_large_enough(figure: Figure) -> None:
    for text in texts(figure):
        box = text.get_window_extent()
        assert box.x0 >= figure.bbox.x0, text
        assert box.x1 <= figure.bbox.x1, text
        assert box.y0 >= figure.bbox.y0, text
        assert text.get_fontsize() >= pictures.SMALLEST_TYPE_PT, text
    width_mm, height_mm = figure.get_size_inches() * 25.4
    assert width_mm < pictures.A4_MM[0]
    assert height_mm < pictures.A4_MM[1] - 20.0


def _points(figure: Figure, axes: int = 0) -> list[tuple[float, float, Line2D]]:
    """Value and height of each marker that stands for a recording."""
    return [
        (float(x), float(y), line)
        for line in figure.axes[axes].lines
        if line.get_marker() not in ("None", "", None) and line.get_label() != "unlike the others"
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    ]


@pytest.mark.parametrize("count", [3, 40, 2000])
def test_every_carrier_is_drawn_once_and_in_order(count: int) -> None:
    figure = FIGURES[f"carrier of {count}"]
    shown = sorted((y, x) for x, y, _ in _points(figure))
    assert len(shown) == count
    errors = sorted(
        one.told["result"]["error_ppm"] for one in _carriers(count) if one.told is not None
    )
    low, high = figure.axes[0].get_xlim()
    assert [x for _, x in shown] == pytest.approx(np.clip(errors, low, high))
    assert "of 1 not read" in words(figure)


def test_each_error_has_its_u_as_the_json_tells_it() -> None:
    figure = FIGURES["carrier of 40"]
    (bars,) = [c for c in figure.axes[0].collections if isinstance(c, LineCollection)]
    drawn = {round(float(s[:, 0].mean()), 9): float(np.ptp(s[:, 0])) for s in bars.get_segments()}
    for one in _carriers(40):
        if one.told is not None:
            result = one.told["result"]
            expanded_ppm = result["expanded_hz"] / result["nominal_hz"] * 1e6
            assert drawn[round(result["error_ppm"], 9)] == pytest.approx(2.0 * expanded_ppm)


def test_each_difference_has_its_u_too() -> None:
    figure = FIGURES["compare of 3"]
    (bars,) = [c for c in figure.axes[0].collections if isinstance(c, LineCollection)]
    drawn = sorted(tuple(segment[:, 0]) for segment in bars.get_segments())
    assert drawn == [pytest.approx((x - 3.5, x + 3.5)) for x in (-1.0, -0.5, 0.0)]


def test_the_tolerance_is_drawn_as_wide_as_each_file_has_it() -> None:
    told = [
        answer(n, carrier(0.1 * n, tolerance_ppm=tolerance))
        for n, tolerance in enumerate([20.0, 20.0, 5.0, None, 5.0])
    ]
    figure = _draw("carrier", told)
    boxes = [
        patch.get_paths()[0].get_extents()
        for patch in figure.axes[0].collections
        if patch.get_label() == "allowed error"
    ]
    assert sorted(round(box.width / 2.0, 6) for box in boxes) == [5.0, 5.0, 20.0]
    assert "allowed error" in legend(figure)


def test_verdicts_are_told_by_shape_and_word_beside_colour() -> None:
    figure = FIGURES["carrier of 40"]
    shapes = {line.get_label(): line.get_marker() for _, _, line in _points(figure)}
    assert {"as expected", "undecided"} <= set(shapes)
    assert len(set(shapes.values())) == len(shapes)
    for word in ("as expected", "failed", "undecided", "unlike the others", "± U (95 %)"):
        assert word in legend(figure)


def test_whom_the_summary_names_is_ringed() -> None:
    told = [answer(n, carrier(0.1 * n)) for n in range(12)]
    told.append(answer(12, carrier(9.0)))
    (rings,) = [
        line
        for line in _draw("carrier", told).axes[0].lines
        if line.get_label() == "unlike the others"
    ]
    assert list(rings.get_xdata()) == [9.0]


def test_few_rows_are_all_named_beside_their_points() -> None:
    figure = FIGURES["look of 40"]
    names = labelled(figure, "row-")
    assert len(names) == 40
    axes = figure.axes[0]
    heights = sorted(axes.transData.transform((0.0, y))[1] for _, y, _ in _points(figure))
    for name, height in zip(names, heights, strict=True):
        box = name.get_window_extent()
        assert box.y0 < height < box.y1


def test_of_many_rows_those_that_matter_are_named() -> None:
    figure = FIGURES["carrier of 2000"]
    names = [name.get_text() for name in labelled(figure, "row-")]
    assert 20 <= len(names) <= 30
    failed = {f"set-{n:03d}" for n in range(7, 2000, 40)}
    assert len(failed.intersection(names)) >= 10
    assert f"named are {len(names)} that failed" in words(figure).replace("\n", " ")


def test_what_lies_far_out_leaves_the_others_legible_and_is_told_in_words() -> None:
    told = [answer(n, carrier(0.1 * n)) for n in range(30)]
    told.append(answer(30, carrier(900.0, verdict="fail"), exit_code=1))
    figure = _draw("carrier", told)
    low, high = figure.axes[0].get_xlim()
    assert high < 60.0
    assert low < -20.0
    assert "+900.00 ppm" in words(figure)
    assert "beyond the axis" in legend(figure)


def test_figures_that_agree_are_not_drawn_as_if_they_did_not() -> None:
    """Nearer than 1 dB to the median nothing stands out, and nothing should look as if it did."""
    for count in (3, 12):
        told = [answer(n, carrier(0.1 * n, level_dbfs=-47.0 + 0.01 * n)) for n in range(count)]
        low, high = _draw("carrier", told).axes[1].get_xlim()
        assert high - low > 2.0


def test_a_line_that_was_not_seen_is_drawn_as_a_limit() -> None:
    figure = FIGURES["probe of 40"]
    assert "not seen: lower than this" in legend(figure)
    assert "absent" in legend(figure) or "below −84.0 dBFS" in words(figure)
    axes = [each.get_xlabel() for each in figure.axes]
    assert axes == ["LO, dBFS", "2nd LO, dBFS"]


def test_rates_have_their_bounds_and_none_at_all_is_at_the_left_end() -> None:
    figure = FIGURES["watch of 40"]
    axes = figure.axes[0]
    assert axes.get_xscale() == "log"
    assert axes.get_xlabel() == "drop-outs, per hour (none: left end)"
    left = axes.get_xlim()[0]
    quiet = [x for x, _, line in _points(figure) if line.get_label() == "as expected"]
    assert quiet == [left] * len(quiet)
    bars = next(c for c in axes.collections if isinstance(c, LineCollection)).get_segments()
    expected = [one.told["result"]["rate_per_hour"] for one in _watches(40) if one.told is not None]
    highs = sorted(rate["high"] if rate["events"] else rate["at_most"] for rate in expected)
    assert sorted(float(bar[1, 0]) for bar in bars) == pytest.approx(highs)


def test_rates_within_a_decade_have_a_scale() -> None:
    """A tick alone on a logarithmic axis tells no distance."""
    axes = _draw("watch", [answer(n, watch(30 + n, 1.0)) for n in range(9)]).axes[0]
    low, high = axes.get_xlim()
    labels = axes.xaxis.get_majorticklabels()
    assert len([x for x in labels if x.get_text() and low <= x.get_position()[0] <= high]) >= 2


def test_recordings_without_any_figure_are_counted() -> None:
    told = [answer(n, carrier(0.1 * n)) for n in range(3)]
    told += [answer(3, carrier(None, verdict="undecided"), exit_code=3), unread(4), unread(5)]
    said = words(_draw("carrier", told))
    assert "3 recordings drawn, from fleet/" in said
    assert "nothing to draw of 1 undecided, 2 not read" in said


def test_a_batch_with_nothing_to_draw_is_a_title_and_says_so() -> None:
    figure = _draw("probe", [unread(0), unread(1)])
    assert figure.axes == []
    assert "Probe: all 2 not read" in words(figure)


def test_the_same_answers_give_the_same_picture_in_any_order() -> None:
    told = _carriers(20)
    assert render(_draw("carrier", told), "png") == render(_draw("carrier", told[::-1]), "png")


def test_any_name_can_be_drawn() -> None:
    names = ["a$b$c.wav", "字.wav", "a\nb\x07.wav", "$\\frac{$.wav", "\\$.wav", "$x$"]
    told = [answer(n, carrier(1.0 * n), source=f"$x$/{name}") for n, name in enumerate(names)]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = _draw("carrier", told)
        render(figure, "png")
    said = [name.get_text() for name in labelled(figure, "row-")]
    assert said == ["a$b$c.wav", "□.wav", "a□b□.wav", "$\\frac{$.wav", "\\$.wav", "$x$"]


def test_names_lose_what_all_share_and_their_middles() -> None:
    files = ["fleet/a/set-1.wav", "fleet/b/set-2.wav"]
    assert short_names(files) == ("fleet/", ["a/set-1", "b/set-2"])
    assert short_names(["fleet/.wav", "fleet/b.wav"])[1] == [".wav", "b.wav"]
    assert short_names(["one.wav"]) == ("", ["one"])
    assert elided("set-1", 40.0) == "set-1"
    short = elided("a-very-long-name-of-a-recording-made-in-the-old-theatre-0123", 40.0)
    assert short.startswith("a-very")
    assert short.endswith("0123")
    assert "…" in short
    assert text_width_mm(short) <= 40.0
    assert elided("WWWW", 1.0) == "…"


def test_a_column_for_which_there_is_no_room_is_said_to_be_left_out() -> None:
    def told(n: int) -> dict[str, Any]:
        lines = [board_line(name, -50.0 - n, wanted=name < "e") for name in "abcde"]
        return board(*lines)

    figure = _draw("probe", [answer(n, told(n)) for n in range(3)])
    assert [axes.get_xlabel() for axes in figure.axes] == ["a, dBFS", "b, dBFS", "c, dBFS"]
    assert "no room for level of d, level of e" in words(figure)
