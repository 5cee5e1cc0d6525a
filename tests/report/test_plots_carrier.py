"""The picture of a carrier check shows what was measured, at its own place."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from calib.correction import Correction
from sniff.channels import Channel
from sniff.report.plots import draw_carrier, render
from sniff.transmitter.judging import judge
from sniff.transmitter.nouns import CarrierRequest, Transmitter
from sniff.units import parse_tolerance
from tests.modulation.measuring import measured
from tests.modulation.signals import frequency_modulated, in_noise

RATE_HZ = 64e3
CLOCK = Correction(ppm=10.0, u_ppm=0.1, origin="planted")


def checked(*, on_from_s: float = 0.0, drift_hz_per_s: float = 0.0) -> Transmitter:
    """3 kHz of deviation by 1 kHz, 9.1 kHz below 100 MHz as indicated."""
    t = np.arange(int(2 * RATE_HZ)) / RATE_HZ
    samples = frequency_modulated(
        t.size,
        rate_hz=RATE_HZ,
        offset_hz=-9_100.0,
        tones=[(3e3, 1e3)],
        swing_hz=drift_hz_per_s * (t - 1.0),
    )
    rng = np.random.default_rng(1)
    noisy = in_noise(rng, samples * (t >= on_from_s), rate_hz=RATE_HZ, snr_db=30.0, width_hz=8e3)
    carrier = measured(noisy, rate_hz=RATE_HZ)
    request = CarrierRequest(
        channels=(Channel(name="", frequency_hz=99.992e6),), tolerance=parse_tolerance("10ppm")
    )
    result, cautions = judge(carrier, request, CLOCK, u_center_hz=0.0, observed_s=2.0)
    return Transmitter(result=result, measured=carrier, cautions=cautions)


def axes_of(figure: Figure, name: str) -> Axes:
    return next(axes for axes in figure.axes if axes.get_gid() == name)


def words_of(figure: Figure) -> str:
    return " ".join(text.get_text() for text in figure.texts)


def test_the_course_stands_where_the_corrected_frequency_was() -> None:
    """99.9909 MHz as indicated is 99.99190 MHz with a clock 10 ppm fast: 100 Hz below nominal."""
    picture = draw_carrier(checked(drift_hz_per_s=20.0), clock=CLOCK)
    axes = axes_of(picture, "time")
    x, y = axes.lines[0].get_data()
    x, y = np.asarray(x, float), np.asarray(y, float)
    unit = 1.0 if axes.get_ylim()[1] > 20 else 1e3
    expected = (99.9909e6 * 1.00001 - 99.992e6 + 20.0 * (x - 1.0)) / unit
    assert np.abs(y - expected).max() * unit < 5.0


def test_the_spectrum_shows_the_bandwidth_that_was_measured_and_the_one_asked_for() -> None:
    seen = checked()
    picture = draw_carrier(seen, clock=CLOCK, asked_width_hz=12.5e3)
    axes = axes_of(picture, "spectrum")
    (span,) = axes.patches
    box = axes.transData.inverted().transform_bbox(span.get_window_extent())
    assert box.width == pytest.approx(8.0, rel=0.03)
    marks = [
        line.get_xdata()[0] for line in axes.lines if line.get_label() == "bandwidth asked for"
    ]
    assert marks == pytest.approx([-6.25, 6.25])
    assert "8.0" in words_of(picture)


def test_the_audio_shows_some_periods_of_the_tone() -> None:
    picture = draw_carrier(checked(), clock=CLOCK)
    x, y = axes_of(picture, "audio").lines[0].get_data()
    assert np.asarray(x)[-1] == pytest.approx(6.0, abs=0.2)  # ms: six periods of 1 kHz
    assert np.abs(y).max() == pytest.approx(3.0, rel=0.15)  # kHz
    f, level = axes_of(picture, "audio-spectrum").lines[0].get_data()
    assert np.asarray(f)[np.argmax(level)] == pytest.approx(1.0, abs=0.01)


def test_a_carrier_that_was_off_leaves_a_gap_in_time() -> None:
    picture = draw_carrier(checked(on_from_s=0.8), clock=CLOCK)
    axes = axes_of(picture, "time")
    x = np.asarray(axes.lines[0].get_xdata(), float)
    assert x.min() > 0.8
    assert axes.get_xlim() == pytest.approx((0.0, 2.0), abs=0.02)


def test_its_title_says_the_verdict_and_its_bytes_are_a_picture() -> None:
    picture = draw_carrier(checked(), clock=CLOCK)
    assert "within ±1.0 kHz" in words_of(picture).replace("\N{NO-BREAK SPACE}", " ")
    assert render(picture, "png").startswith(b"\x89PNG")


def test_without_a_carrier_there_is_nothing_to_draw() -> None:
    seen = checked()
    with pytest.raises(ValueError, match="no carrier"):
        draw_carrier(replace(seen, measured=None))
