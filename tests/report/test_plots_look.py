"""The picture of a look: what it shows, that it can be read, that nothing covers anything."""

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_rgb

from calib.correction import Correction
from sniff.look import Look
from sniff.model import Caution, Mark
from sniff.report.plots import draw_look, render
from sniff.report.plots import style as ours
from sniff.units import format_reading
from tests.report import planted
from tests.report.reading import (
    crosses,
    drawn,
    labelled,
    leaders,
    legend,
    overlapping,
    texts,
    words,
)
from tests.values import pictures

FINE_CLOCK = Correction(ppm=0.3, u_ppm=0.0, origin="planted")


def _forty() -> Look:
    rng = np.random.default_rng(5)
    tones = [(82.05e6 + 2.25e6 * x, -90.0 + 50.0 * y) for x, y in rng.random((36, 2))]
    tones += [(82.0005e6, -31.0), (84.3995e6, -32.0), (83.6e6, -30.0), (83.601e6, -33.0)]
    marks = {
        0: (Mark.OWN_SPUR,),
        36: (Mark.EDGE,),
        37: (Mark.IMAGE, Mark.OWN_SPUR),
        38: (Mark.OVERLOAD,),
        39: (Mark.DC,),
    }
    return planted.look(tones, marks=marks)


CROWDS = {
    "few": planted.look([(83.6e6, -32.0), (82.8e6, -70.0), (84.05e6, -66.0)]),
    "forty": _forty(),
    "comb across the span": planted.look([(82.05e6 + 0.2e6 * n, -50.0 + n) for n in range(12)]),
    "ten within a label at the left edge, long readings": planted.look(
        [(1088.81e6 + 5e3 * n, -50.0 + n) for n in range(10)],
        center_hz=1090e6,
        clock=FINE_CLOCK,
        u_indicated_hz=0.0025,
    ),
    "two lines in one bin": planted.look([(83.6e6, -30.0), (83.6e6 + 10.0, -31.0)]),
    "wide and narrow U": planted.look([(84.39e6, -30.0)], clock=Correction.unknown_dongle()),
}
crowds = pytest.mark.parametrize("look", CROWDS.values(), ids=CROWDS.keys())


@crowds
def test_no_text_covers_another(look: Look) -> None:
    assert overlapping(texts(draw_look(look))) == []


@crowds
def test_all_text_lies_on_the_sheet(look: Look) -> None:
    figure = draw_look(look)
    sheet = figure.bbox
    for text in texts(figure):
        box = text.get_window_extent()
        assert sheet.x0 <= box.x0, text
        assert box.x1 <= sheet.x1, text
        assert sheet.y0 <= box.y0, text
        assert box.y1 <= sheet.y1, text


@crowds
def test_no_leader_runs_through_a_label(look: Look) -> None:
    figure = draw_look(look)
    labels = labelled(figure, "line-")
    lines = leaders(figure)
    assert len(lines) == len(labels) > 0
    for leader in lines.values():
        assert not [t.get_text() for t in labels if crosses(leader, t.get_window_extent())]


@crowds
def test_each_leader_ends_over_its_own_line(look: Look) -> None:
    figure = draw_look(look)
    axes = figure.axes[0]
    for number, label in enumerate(labelled(figure, "line-")):
        leader = leaders(figure)[number]
        end = leader.get_transform().transform(np.column_stack(leader.get_data())[-1])
        at_hz = axes.transData.inverted().transform(end)[0] * 1e6
        pixel_hz = look.spectrum.rate_hz / axes.bbox.width
        nearest = [p for p in look.result.peaks if abs(p.frequency_hz - at_hz) < pixel_hz]
        readings = [format_reading(p.frequency_hz, p.expanded_hz) for p in nearest]
        first_lines = " ".join(label.get_text().split("\n")[:2])
        assert first_lines in readings
        heights = axes.transData.transform([[0.0, p.level_dbfs] for p in nearest])[:, 1]
        assert (
            np.min(np.abs(end[1] - heights)) < 40.0
        )  # a marker over its level, or over two in one bin


def test_the_ten_strongest_lines_carry_their_reading_and_u() -> None:
    look = _forty()
    shown = [" ".join(t.get_text().split("\n")[:2]) for t in labelled(draw_look(look), "line-")]
    strongest = sorted(look.result.peaks[:10], key=lambda line: line.frequency_hz)
    assert shown == [format_reading(p.frequency_hz, p.expanded_hz) for p in strongest]


def test_every_line_has_a_marker_and_the_weak_ones_are_ticks() -> None:
    look = _forty()
    markers = [line for line in draw_look(look).axes[0].lines if line.get_marker() != "None"]
    assert len(markers) == 40
    # Five of the forty carry marks, four of them among the ten strongest.
    assert (
        sum(line.get_marker() == "v" and line.get_markerfacecolor() != "white" for line in markers)
        == 6
    )
    assert sum(line.get_marker() == "|" for line in markers) == 29


def test_every_mark_is_in_the_legend_and_beside_its_line_in_words() -> None:
    figure = draw_look(_forty())
    for mark in Mark:
        assert [entry for entry in legend(figure) if entry.startswith(f"{mark.value}:")], mark
    by_line = "\n".join(label.get_text() for label in labelled(figure, "line-"))
    for mark in Mark:
        assert mark.value in by_line


def test_the_legend_names_no_mark_that_is_not_there() -> None:
    figure = draw_look(planted.look([(83.6e6, -32.0), (82.8e6, -60.0)], marks={1: (Mark.IMAGE,)}))
    assert [e for e in legend(figure) if ":" in e] == ["image: mirror of a stronger line"]
    assert "weaker line found" not in legend(figure)


def test_marks_and_states_differ_in_shape_and_not_in_colour_alone() -> None:
    for shapes in (
        [ours.FOUND, ours.WEAKER, *ours.MARKS.values()],
        list(ours.STATES.values()),
    ):
        looks = {(shape.marker, shape.filled, shape.fill_style) for shape in shapes}
        assert len(looks) == len(shapes)


def test_strokes_that_meet_in_one_picture_differ_in_dash_or_weight() -> None:
    strokes = [ours.TRACE_STROKE, ours.HOLD_STROKE, ours.NOISE_STROKE, ours.THRESHOLD_STROKE]
    assert len({(str(s.get("linestyle", "-")), s["linewidth"]) for s in strokes}) == len(strokes)


@pytest.mark.parametrize(
    ("color", "least"),
    [
        (ours.INK, pictures.CONTRAST_OF_TEXT),
        (ours.PALE_INK, pictures.CONTRAST_OF_TEXT),
        (ours.TRACE, pictures.CONTRAST_OF_GRAPHICS),
        (ours.HOLD, pictures.CONTRAST_OF_GRAPHICS),
        (ours.FLOOR, pictures.CONTRAST_OF_GRAPHICS),
        (ours.FINE, pictures.CONTRAST_OF_GRAPHICS),
        (ours.FAULTY, pictures.CONTRAST_OF_GRAPHICS),
        (ours.OPEN_QUESTION, pictures.CONTRAST_OF_GRAPHICS),
    ],
)
def test_colours_stand_out_from_the_paper(color: str, least: float) -> None:
    ink = pictures.relative_luminance(*to_rgb(color))
    assert pictures.contrast(ink, pictures.relative_luminance(1.0, 1.0, 1.0)) >= least


def test_no_type_is_smaller_than_eight_points_and_the_sheet_fits_a4() -> None:
    figure = draw_look(_forty())
    assert min(t.get_fontsize() for t in texts(figure)) >= pictures.SMALLEST_TYPE_PT
    width_mm, height_mm = figure.get_size_inches() * 25.4
    assert width_mm < pictures.A4_MM[0]
    assert height_mm < pictures.A4_MM[1]


def test_a_line_is_drawn_at_its_true_frequency_and_level() -> None:
    indicated_hz, dbfs = 82.6e6, -41.0  # below the centre: a mirrored axis would show
    look = planted.look([(indicated_hz, dbfs)])
    mhz, level = (np.asarray(a) for a in drawn(draw_look(look), "mean level").get_data())
    top = int(np.argmax(level))
    true_hz = indicated_hz * (1.0 + 42e-6)
    assert mhz[top] * 1e6 == pytest.approx(true_hz, abs=look.spectrum.bin_hz / 2.0)
    assert level[top] == pytest.approx(dbfs, abs=0.02)


def test_the_threshold_lies_as_far_over_the_noise_as_it_was_set() -> None:
    figure = draw_look(planted.look())
    noise = np.asarray(drawn(figure, "noise floor").get_ydata())
    threshold = np.asarray(drawn(figure, "detection threshold").get_ydata())
    # In one RBW of 1.5 × 2.4 MHz / 4096 = 878.9 Hz: −110 + 29.44 dB; 1.6 is 2.04 dB.
    assert noise == pytest.approx(-110.0 + 29.44, abs=0.01)
    assert threshold - noise == pytest.approx(2.04, abs=0.01)


def test_the_axis_says_whether_it_is_corrected() -> None:
    assert "frequency, MHz (clock-corrected)" in words(draw_look(planted.look([(83e6, -40.0)])))
    bare = draw_look(planted.look())
    assert "frequency, MHz (as indicated)" in words(bare)
    assert "clock: not corrected" in words(bare)


def test_a_clock_given_corrects_even_a_look_without_lines() -> None:
    figure = draw_look(planted.look(), clock=planted.CLOCK)
    assert "clock +42.0 ppm ± 3.0 ppm, planted" in words(figure)
    low, high = figure.axes[0].get_xlim()
    half_bin_mhz = 2.4 / 4096 / 2.0
    assert low == pytest.approx((83.2 - 1.2 - half_bin_mhz) * (1 + 42e-6), abs=1e-6)
    assert high == pytest.approx((83.2 + 1.2 - half_bin_mhz) * (1 + 42e-6), abs=1e-6)


def test_the_clock_is_read_back_from_the_lines() -> None:
    # u = 1.5 ppm was planted, hence 2 u = 3.0 ppm; with the indication's 80 Hz it would be 3.6.
    figure = draw_look(planted.look([(83e6, -40.0), (84e6, -50.0)], u_indicated_hz=80.0))
    assert "clock +42.0 ppm ± 3.0 ppm" in words(figure)


def test_the_shade_begins_where_the_usable_part_ends() -> None:
    axes = draw_look(planted.look(), usable_fraction=0.8).axes[0]
    spans = sorted(patch.get_window_extent().x1 for patch in axes.patches)
    inside = axes.transData.inverted().transform([[spans[0], 0.0]])[0][0]
    assert inside == pytest.approx(83.2 - 0.96, abs=1e-3)
    assert "outside the usable 80 %" in legend(axes.figure)  # type: ignore[arg-type]
    assert len(draw_look(planted.look(), usable_fraction=1.0).axes[0].patches) == 0


def test_max_hold_is_drawn_only_where_it_was_kept() -> None:
    with_hold = draw_look(planted.look([(83e6, -40.0)]))
    assert np.max(drawn(with_hold, "highest level (max-hold)").get_ydata()) == pytest.approx(
        -40.0 + 6.02, abs=0.05
    )
    without = draw_look(planted.look([(83e6, -40.0)], max_hold=False))
    assert "highest level (max-hold)" not in legend(without)


@pytest.mark.parametrize(
    ("look", "title"),
    [
        (planted.look(), "No line above the detection threshold between 82.0 MHz and 84.4 MHz"),
        (
            planted.look([(83.6e6, -32.0)]),
            "1 line between 82.0 MHz and 84.4 MHz: 83.60351 MHz ± 250 Hz at −32.0 dBFS",
        ),
        (
            planted.look([(83.2e6, -20.0), (83.6e6, -32.0)], marks={0: (Mark.DC,)}),
            "1 line between 82.0 MHz and 84.4 MHz: 83.60351 MHz ± 250 Hz at −32.0 dBFS; "
            "1 more made by the receiver itself",
        ),
        (
            planted.look([(83.2e6, -20.0)], marks={0: (Mark.DC,)}),
            "1 line between 82.0 MHz and 84.4 MHz, made by the receiver itself",
        ),
    ],
)
def test_the_title_says_what_the_picture_says(look: Look, title: str) -> None:
    lines = [t.get_text() for t in labelled(draw_look(look), "title-")]
    assert " ".join(lines).replace("\N{NO-BREAK SPACE}", " ") == title


def test_cautions_and_how_it_was_taken_stand_below() -> None:
    caution = Caution(code="overload", text="turn the gain down")
    said = words(draw_look(planted.look(cautions=(caution,))))
    assert "Caution: turn the gain down" in said
    assert "RBW 879 Hz · 200 averages · 171 ms · window hann" in said


def test_digital_silence_and_a_single_bin_are_drawn_without_a_warning() -> None:
    silent = planted.look(noise_dbfs_per_hz=-np.inf)
    assert render(draw_look(silent), "png")
    lone = planted.look(bins=1)
    assert np.ptp(np.asarray(drawn(draw_look(lone), "mean level").get_xdata())) == pytest.approx(
        2.4
    )


def test_a_million_bins_are_thinned_and_keep_a_line_one_bin_wide() -> None:
    look = planted.look([(82.6e6, -41.0)], bins=1 << 20)
    level = np.asarray(drawn(draw_look(look), "mean level").get_ydata())
    assert level.size < 4000
    assert level.max() == pytest.approx(-41.0, abs=0.02)


def test_a_line_under_the_noise_is_marked_over_the_trace() -> None:
    look = planted.look([(82.6e6, -90.0)])  # 9 dB under the noise in one RBW
    (marker,) = (m for m in draw_look(look).axes[0].lines if m.get_marker() == "v")
    assert float(np.asarray(marker.get_ydata())[0]) > -82.0


def test_drawing_leaves_the_users_settings_alone() -> None:
    with matplotlib.rc_context({"font.size": 23.0, "axes.facecolor": "black"}):
        before = dict(matplotlib.rcParams)
        figure = draw_look(planted.look([(83.6e6, -32.0)]))
        assert dict(matplotlib.rcParams) == before
    assert {t.get_fontsize() for t in labelled(figure, "line-")} == {8.0}
    assert to_rgb(figure.axes[0].get_facecolor()) == (1.0, 1.0, 1.0)
