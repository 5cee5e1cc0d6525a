"""What a source can show: spans by arithmetic on centre and rate."""

from sniff.reach import centers_in_words, out_of_reach
from tests.test_tuning import recording, tuner


def test_a_tuner_says_how_far_it_goes() -> None:
    assert out_of_reach(tuner()) == "outside what this source can tune, 26 MHz to 1700 MHz"


def test_a_recording_says_what_it_holds_from_low_to_high() -> None:
    assert out_of_reach(recording(83.6e6, 27.9e6)) == (
        "not in this recording, which holds 27.4 MHz to 28.4 MHz, 83.1 MHz to 84.1 MHz"
    )


def test_hops_that_touch_are_one_span() -> None:
    hops = recording(*(60.5e6 + 0.5e6 * number for number in range(100)))
    assert out_of_reach(hops) == "not in this recording, which holds 60 MHz to 110.5 MHz"


def test_many_spans_and_many_centres_are_counted() -> None:
    centers_hz = [100e6 + 2e6 * number for number in range(40)]
    assert out_of_reach(recording(*centers_hz)) == (
        "not in this recording, which holds 40 parts of 99.5 MHz to 178.5 MHz"
    )
    assert centers_in_words(centers_hz) == "40 centres from 100 MHz to 178 MHz"
    assert centers_in_words(centers_hz[:2]) == "100 MHz, 102 MHz"
