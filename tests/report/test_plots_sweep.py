"""The picture of a sweep: what was planted can be read off it, and nothing covers anything."""

from itertools import product as pairs
from pathlib import Path

import numpy as np
import pytest
from matplotlib.patches import Polygon, Rectangle

from calib.correction import Correction
from sniff.model import Caution
from sniff.naming import Explanation, Family
from sniff.report.plots.save import save
from sniff.report.plots.sweep import draw_sweep
from sniff.sweep.hops import Span
from sniff.sweep.stitch import Stitched
from sniff.sweep.swept import Stay, Sweep, SweepResult, SweptLine
from sniff.windows import Window
from tests.report.reading import crosses, drawn, labelled, leaders, legend, overlapping, words

CLOCK = Correction(ppm=12.0, u_ppm=0.25, origin="planted")
BIN_HZ = 4e3
FIRST, POINTS = 15_000, 12_501  # 60 to 110 MHz
NOISE_DBFS_PER_HZ = -105.0


def named(name: str, family: Family = Family.OSCILLATOR, *, likely: bool = True) -> Explanation:
    return Explanation(
        name=name,
        family=family,
        order=1,
        expected_hz=80e6,
        error_hz=0.0,
        window_hz=100.0,
        chance=0.01 if likely else 0.4,
        likely=likely,
    )


def line(
    hz: float, dbfs: float, *explanations: Explanation, stay: Stay = Stay.REFINED
) -> SweptLine:
    return SweptLine(
        frequency_hz=hz,
        u_hz=25.0,
        indicated_hz=CLOCK.indicate(hz),
        u_indicated_hz=0.1,
        level_dbfs=dbfs,
        snr_db=20.0,
        width_hz=0.0,
        stay=stay,
        hops=2,
        explanations=explanations,
    )


def sweep(
    *lines: SweptLine, hold: bool = False, hole: bool = False, cautions: tuple[Caution, ...] = ()
) -> Sweep:
    rng = np.random.default_rng(7)
    noise = np.full(POINTS, 10.0 ** (NOISE_DBFS_PER_HZ / 10.0))
    psd = noise * rng.gamma(200.0, 1.0 / 200.0, POINTS)
    rbw_hz = 1.5 * BIN_HZ
    for one in lines:
        psd[round(one.indicated_hz / BIN_HZ) - FIRST] += 10.0 ** (one.level_dbfs / 10.0) / rbw_hz
    hops = np.full(POINTS, 2, dtype=np.uint8)
    threshold = 1.6 * noise
    if hole:
        for array in (psd, noise, threshold):
            array[5_000:6_000] = np.nan
        hops[5_000:6_000] = 0
    stitched = Stitched(
        first_bin=FIRST,
        bin_hz=BIN_HZ,
        psd=psd,
        max_hold=4.0 * psd if hold else None,
        hop_low=psd.astype(np.float32),
        hop_high=psd.astype(np.float32),
        hops=hops,
        centers_hz=(80e6,),
        strongest=np.zeros(POINTS, dtype=np.int32),
        interpolated=np.zeros(POINTS, dtype=bool),
        window=Window.HANN,
        averages=200,
        most_averages=400,
        effective_averages=140.0,
    )
    result = SweepResult(
        start_hz=60e6,
        stop_hz=110e6,
        rbw_hz=rbw_hz,
        window="hann",
        bin_hz=BIN_HZ,
        points=POINTS,
        hops=56,
        passes=1,
        seconds=2.8,
        stay_seconds=1.0,
        noise_dbfs_per_hz=NOISE_DBFS_PER_HZ,
        false_alarm_rate=1e-3,
        equalised=True,
        unobserved=(Span(low_hz=80e6, high_hz=84e6),) if hole else (),
        interpolated=(Span(low_hz=70e6, high_hz=70.1e6),) if hole else (),
        peaks=tuple(lines),
        mixing_order=5,
    )
    return Sweep(
        result=result, stitched=stitched, noise=noise, threshold=threshold, cautions=cautions
    )


UNEXPLAINED = line(67.1234e6, -52.0)
LO = line(93.6e6, -38.0, named("LO"))
BROADCAST = line(101.3e6, -60.0, named("fm 101.3 MHz", Family.REFERENCE))
GONE = line(75.5e6, -80.0, stay=Stay.GONE)


def test_each_label_tells_name_reading_and_u() -> None:
    figure = draw_sweep(sweep(UNEXPLAINED, LO, BROADCAST, GONE), clock=CLOCK)
    texts = [
        text.get_text().replace("\N{NO-BREAK SPACE}", " ") for text in labelled(figure, "line-")
    ]
    assert texts == [
        "unexplained\n67.123400 MHz\n± 50 Hz",
        "LO\n93.600000 MHz\n± 50 Hz",
        "may be fm\n101.3 MHz\n101.300000 MHz\n± 50 Hz",
    ]


def test_an_unlikely_explanation_is_none() -> None:
    doubtful = line(93.6e6, -38.0, named("5 LO − 4 carrier", Family.PRODUCT, likely=False))
    (label,) = labelled(draw_sweep(sweep(doubtful), clock=CLOCK), "line-")
    assert label.get_text().startswith("unexplained\n")


def test_the_title_counts_and_names_the_strongest_unexplained() -> None:
    text = words(draw_sweep(sweep(UNEXPLAINED, LO, GONE), clock=CLOCK))
    assert "2 lines between 60 MHz and 110 MHz; 1 unexplained: 67.123400 MHz at −52.0 dBFS" in text
    assert "1 line between 60 MHz and 110 MHz, all explained" in words(draw_sweep(sweep(LO)))
    assert "No line above the detection threshold" in words(draw_sweep(sweep()))
    two = sweep(UNEXPLAINED, line(88e6, -70.0))
    assert "2 unexplained, the strongest 67.123400 MHz" in words(draw_sweep(two, clock=CLOCK))


def test_the_markers_stand_where_the_lines_are() -> None:
    figure = draw_sweep(sweep(UNEXPLAINED, LO, GONE), clock=CLOCK)
    markers = {
        round(float(marker.get_xdata()[0]), 4): marker  # type: ignore[index]
        for marker in figure.axes[0].lines
        if marker.get_linestyle() == "None"
    }
    assert set(markers) == {67.1234, 93.6, 75.5}
    assert markers[67.1234].get_marker() == "D"
    assert markers[93.6].get_marker() == "v"
    assert markers[75.5].get_markerfacecolor() == "white"
    assert float(markers[93.6].get_ydata()[0]) == pytest.approx(-38.0, abs=0.1)  # type: ignore[index]


def test_the_trace_is_on_the_true_axis_and_breaks_at_a_hole() -> None:
    trace = drawn(draw_sweep(sweep(LO, hole=True), clock=CLOCK), "mean level")
    x, y = np.asarray(trace.get_xdata()), np.asarray(trace.get_ydata())
    top = int(np.nanargmax(y))
    assert x[top] == pytest.approx(93.6, abs=2 * BIN_HZ / 1e6)
    inside = (x > 80.3) & (x < 83.7)
    assert np.isnan(y[inside]).all()
    assert inside.any()


def test_what_was_not_seen_is_hatched_and_what_was_joined_is_shaded() -> None:
    figure = draw_sweep(sweep(LO, hole=True), clock=CLOCK)
    assert "not observed" in legend(figure)
    assert "under a hop's spike, interpolated" in legend(figure)
    spans = []
    for patch in figure.axes[0].patches:
        assert isinstance(patch, (Rectangle, Polygon))
        box = patch.get_extents().transformed(figure.axes[0].transData.inverted())
        spans.append((round(box.x0, 2), round(box.x1, 2)))
    assert (80.0, 84.0) in spans
    assert (70.0, 70.1) in spans
    without = legend(draw_sweep(sweep(LO), clock=CLOCK))
    assert "not observed" not in without


def test_max_hold_is_drawn_where_it_was_kept() -> None:
    assert "highest level (max-hold)" in legend(draw_sweep(sweep(LO, hold=True)))
    assert "highest level (max-hold)" not in legend(draw_sweep(sweep(LO)))


@pytest.mark.parametrize("crowd", [3, 9, 40])
@pytest.mark.parametrize("width_hz", [1e6, 45e6])
def test_no_label_covers_another_and_no_leader_crosses_one(crowd: int, width_hz: float) -> None:
    rng = np.random.default_rng(crowd)
    names = ["LO", "second LO × 11", "3 LO − 2 second LO", "2 × 28.8 MHz of the dongle's clock"]
    lines = [
        line(
            62e6 + width_hz * float(place),
            -50.0 - number,
            *([named(names[number % 4], Family.PRODUCT)] if number % 3 else []),
        )
        for number, place in enumerate(rng.uniform(0.0, 1.0, crowd))
    ]
    note = Caution(code="x", text="the span was cut: the tuner does not reach what lies below")
    figure = draw_sweep(sweep(*lines, cautions=(note,)), clock=CLOCK)
    figure.canvas.draw()
    shown = labelled(figure, "line-")
    assert len(shown) >= min(crowd, 7)
    assert overlapping(shown) == []
    boxes = {number: text.get_window_extent() for number, text in enumerate(shown)}
    for (number, box), (other, leader) in pairs(boxes.items(), leaders(figure).items()):
        if number != other:
            assert not crosses(leader, box)
    page = figure.bbox
    for box in boxes.values():
        assert page.x0 <= box.x0
        assert box.x1 <= page.x1
        assert box.y1 <= page.y1


def test_oscillators_are_labelled_before_products() -> None:
    products = [
        line(62e6 + 1e6 * number, -40.0, named(f"{number} LO", Family.PRODUCT))
        for number in range(30)
    ]
    weak = line(104e6, -75.0, named("crystal"))
    shown = labelled(draw_sweep(sweep(*products, weak), clock=CLOCK), "line-")
    assert any(text.get_text().startswith("crystal") for text in shown)


def test_it_is_saved_whole(tmp_path: Path) -> None:
    for suffix in ("png", "svg", "pdf"):
        path = tmp_path / f"sweep.{suffix}"
        save(draw_sweep(sweep(UNEXPLAINED, LO, hole=True, hold=True), clock=CLOCK), path)
        assert path.stat().st_size > 5_000
