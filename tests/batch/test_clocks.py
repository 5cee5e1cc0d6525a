"""Equal sets heard by dongles whose clocks are off by planted errors: nobody is named for them."""

import pytest

from sniff.batch.nouns import Answer
from sniff.batch.summary import Summary, summarised
from sniff.batch.table import flattened
from tests.batch.told import answer, carrier

SETS_PPM = (-1.5, -1.1, -0.8, -0.4, -0.1, 0.2, 0.5, 0.7, 1.0, 1.6)
UNKNOWN_PPM = 100.0 / 3.0**0.5
"""Standard uncertainty of a crystal of ± 100 ppm (rectangular: JCGM 100:2008, 4.3.7)."""


def _fleet(*heard: tuple[str | None, float, float, tuple[float, ...]]) -> Summary:
    """Sets by the serial of the dongle that heard them, what that is off, and its u, ppm."""
    told: list[Answer] = []
    for serial, off_ppm, u_ppm, errors in heard:
        for error in errors:
            text = carrier(off_ppm + error, serial=serial, u_clock_ppm=u_ppm)
            told.append(answer(len(told), text))
    return summarised(flattened(told), question="carrier")


def _clocks(summary: Summary) -> list[str]:
    return [caution.text for caution in summary.cautions if caution.code == "clocks"]


@pytest.mark.parametrize("off_ppm", [41.0, -58.0])
def test_a_set_is_not_named_for_what_the_other_dongle_is_off(off_ppm: float) -> None:
    summary = _fleet(("A", 0.0, UNKNOWN_PPM, SETS_PPM), ("B", off_ppm, UNKNOWN_PPM, (0.3,)))
    assert summary.outliers == ()
    (text,) = _clocks(summary)
    assert text.startswith("several clocks have heard the fleet (dongle A: 10, dongle B: 1): ")
    assert "up to ± 163 ppm (k = 2)" in text  # 2 hypot(u, u)


def test_a_set_unlike_the_others_that_its_own_dongle_heard_is_named() -> None:
    summary = _fleet(
        ("A", 30.0, UNKNOWN_PPM, (*SETS_PPM, 14.2)), ("B", -20.0, UNKNOWN_PPM, SETS_PPM)
    )
    (named,) = summary.outliers
    assert (named.row, named.value) == (10, 44.2)
    assert named.sentence == (
        "carrier's error: +44.20 ppm, 14 ppm above the median of 11 heard by dongle A, +30.20 ppm"
    )
    (text,) = _clocks(summary)
    assert text.endswith("errors are compared among 8 or more that one clock has heard")


def test_several_calibrated_dongles_are_compared_within_their_doubt() -> None:
    each = SETS_PPM[::3]
    summary = _fleet(("A", 0.0, 0.5, each), ("B", 0.4, 0.5, each), ("C", -0.5, 0.5, (*each, 14.2)))
    assert [named.row for named in summary.outliers] == [12]
    assert "up to ± 1.4 ppm" in _clocks(summary)[0]


def test_one_clock_needs_no_caution() -> None:
    assert _clocks(_fleet(("A", 0.0, UNKNOWN_PPM, SETS_PPM))) == []
    assert _clocks(_fleet((None, 0.0, UNKNOWN_PPM, SETS_PPM))) == []
