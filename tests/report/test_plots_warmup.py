"""The picture of a warm-up: units, the fit, holes, and the moment of trust."""

import numpy as np
import pytest
from matplotlib.figure import Figure

from sniff.report.plots import draw_warm_up, render
from tests.report.reading import drawn, labelled, legend, overlapping, texts, words
from tests.report.warming import warmed
from tests.values import pictures

ONCE = warmed((5.0, 240.0))
FIGURES = {
    "settled": draw_warm_up(ONCE),
    "two time constants and a hole": draw_warm_up(
        warmed((-4.0, 45.0), (1.5, 400.0), away=range(60, 90), lost=range(300, 310))
    ),
    "still bending": draw_warm_up(warmed((5.0, 3000.0))),
    "a wandering line": draw_warm_up(warmed(noise_ppm=0.4, jump_ppm=3.0)),
    "short": draw_warm_up(warmed((2.0, 10.0), steps=60, step_s=1.0)),
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
        assert text.get_fontsize() >= pictures.SMALLEST_TYPE_PT, text
    assert figure.get_size_inches()[0] * 25.4 < pictures.A4_MM[0]


@figures
def test_both_axes_name_their_unit(figure: Figure) -> None:
    said = words(figure)
    assert "clock error, ppm (above zero: fast)" in said
    assert "measured less fit, pp" in said
    assert "time since the first point, " in said


def test_points_and_fit_stand_where_they_were_measured() -> None:
    figure = FIGURES["settled"]
    points = drawn(figure, "measured")
    assert np.asarray(points.get_xdata()) == pytest.approx(ONCE.times_s / 60.0)
    assert np.asarray(points.get_ydata()) == pytest.approx(ONCE.ppm)
    fit = drawn(figure, "fit")
    minutes, ppm = np.asarray(fit.get_xdata()), np.asarray(fit.get_ydata())
    truth = -23.0 + 5.0 * np.exp(-minutes * 60.0 / 240.0)
    assert np.abs(ppm - truth).max() < 0.005
    rest = drawn(figure, "measured", axes=1)
    assert np.asarray(rest.get_ydata()).std() == pytest.approx(4.0, rel=0.1)  # ppb


def test_the_moment_of_trust_is_drawn_in_both_panels_and_named() -> None:
    figure = FIGURES["settled"]
    assert ONCE.trust.after_s is not None
    for number in (0, 1):
        line = drawn(figure, "trusted from here on", axes=number)
        assert np.asarray(line.get_xdata())[0] == pytest.approx(ONCE.trust.after_s / 60.0)
    assert "trusted from here on" in legend(figure)
    assert "± 0.50 ppm about the end" in legend(figure)
    (title,) = labelled(figure, "title-")
    assert title.get_text().startswith("The clock settles by −5.00 ppm in 4 min")
    assert "trusted from" in title.get_text()


def test_without_trust_none_is_drawn() -> None:
    figure = FIGURES["still bending"]
    assert "trusted from here on" not in legend(figure)
    assert "The clock still bends; not to be trusted yet" in words(figure)


def test_holes_are_hatched_and_named() -> None:
    figure = FIGURES["two time constants and a hole"]
    assert "not observed" in legend(figure)
    hatched = [patch for patch in figure.axes[0].patches if patch.get_hatch()]
    assert len(hatched) == 40
    assert "not observed" not in legend(FIGURES["settled"])


def test_what_is_in_no_band_is_said() -> None:
    assert "itself ± 0.12 ppm (k = 2), which is in no band here" in words(FIGURES["settled"])


def test_the_same_track_gives_the_same_file() -> None:
    assert render(draw_warm_up(ONCE), "png") == render(draw_warm_up(ONCE), "png")
