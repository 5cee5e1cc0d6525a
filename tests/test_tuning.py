"""Tunings: every window in view, off the centre, in as few tunings as will do."""

from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.model import SourceInfo
from sniff.tuning import Window, choose_tunings


def tuner(*, rate_hz: float = 1e6, low_hz: float = 26e6, high_hz: float = 1.7e9) -> SourceInfo:
    return SourceInfo(
        kind="bench",
        name="test",
        datatype="cu8",
        rail=1.0,
        rate_hz=rate_hz,
        centers_hz=(100e6,),
        duration_s=None,
        tunable=True,
        range_hz=(low_hz, high_hz),
    )


def recording(*centers_hz: float, rate_hz: float = 1e6) -> SourceInfo:
    return SourceInfo(
        kind="recording",
        name="test",
        datatype="cu8",
        rail=1.0,
        rate_hz=rate_hz,
        centers_hz=centers_hz,
        duration_s=1.0,
        tunable=False,
    )


def about(hz: float, half_hz: float = 20e3) -> Window:
    return Window(low_hz=hz - half_hz, high_hz=hz + half_hz)


@settings(max_examples=200)
@given(st.lists(st.tuples(st.floats(30e6, 1.6e9), st.floats(1e3, 150e3)), min_size=1, max_size=8))
def test_every_window_is_shown_once_inside_the_usable_span_and_off_the_centre(
    places: list[tuple[float, float]],
) -> None:
    windows = [about(hz, half_hz) for hz, half_hz in places]
    tunings = choose_tunings(windows, tuner())
    assert sorted(n for tuning in tunings for n in tuning.windows) == list(range(len(windows)))
    for tuning in tunings:
        for number in tuning.windows:
            window = windows[number]
            assert window.low_hz >= tuning.center_hz - 0.4e6 - 1
            assert window.high_hz <= tuning.center_hz + 0.4e6 + 1
            clear = max(window.low_hz - tuning.center_hz, tuning.center_hz - window.high_hz)
            assert clear >= 0.02e6 - 1 or window.high_hz - window.low_hz > 0.35e6


def test_lines_that_fit_one_tuning_share_it() -> None:
    tunings = choose_tunings([about(83.6e6), about(83.9e6), about(27.87e6)], tuner())
    assert sorted(tuning.windows for tuning in tunings) == [(0, 1), (2,)]


def test_a_window_outside_the_tuners_range_is_in_no_tuning() -> None:
    assert choose_tunings([about(10.7e6)], tuner()) == ()


def test_a_window_wider_than_the_span_is_looked_at_about_its_middle() -> None:
    (tuning,) = choose_tunings([about(83.6e6, 2e6)], tuner())
    assert abs(tuning.center_hz - 83.6e6) < 0.1e6
    assert tuning.center_hz != 83.6e6


def test_a_recording_offers_the_captures_it_has() -> None:
    tunings = choose_tunings(
        [about(83.6e6), about(27.87e6), about(55.7e6)], recording(83.5e6, 27.9e6)
    )
    assert {tuning.center_hz: tuning.windows for tuning in tunings} == {83.5e6: (0,), 27.9e6: (1,)}


def test_of_two_captures_the_one_with_the_line_off_its_centre_is_taken() -> None:
    (tuning,) = choose_tunings([about(83.6e6)], recording(83.6e6, 83.4e6))
    assert tuning.center_hz == 83.4e6
