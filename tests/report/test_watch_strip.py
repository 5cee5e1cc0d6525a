"""The live strip: what its head, its cells and its marks say."""

import pytest

from calib.correction import Correction
from sniff.report.watch_strip import cell, mark_row, strip_head
from sniff.watch.nouns import Instant, Mark, Row

CLOCK = Correction(ppm=10.0, u_ppm=0.5, origin="as planted")


def an_instant(there: bool | None, *, unobserved_s: float = 0.0) -> Instant:
    return Instant(
        time_s=12.5,
        level_dbfs=-39.04 if there is not None else None,
        indicated_hz=83.599e6 if there else None,
        there=there,
        dropouts=3,
        observed_s=12.4,
        unobserved_s=unobserved_s,
    )


def a_row(start_s: float, *, present_s: float, observed_s: float = 1.0, dropouts: int = 0) -> Row:
    return Row(
        start_s=start_s,
        observed_s=observed_s,
        present_s=present_s,
        median_dbfs=-39.0,
        lowest_dbfs=-60.0,
        highest_dbfs=-38.0,
        indicated_hz=83.599e6,
        dropouts=dropouts,
    )


def test_the_head_tells_corrected_frequency_level_state_and_count() -> None:
    head = strip_head(an_instant(True), CLOCK).plain
    assert "83.599836 MHz" in head  # 835.99 Hz higher: 10 ppm
    assert "−39.0 dBFS" in head
    assert "● there" in head
    assert "3 drop-outs" in head
    assert "lost" not in head


@pytest.mark.parametrize(("there", "words"), [(False, "○ gone"), (None, "◌ looked for")])
def test_a_line_that_is_not_there_has_no_frequency(there: bool | None, words: str) -> None:
    head = strip_head(an_instant(there), CLOCK).plain
    assert words in head
    assert "MHz" not in head


def test_lost_time_is_told() -> None:
    assert "700 ms lost" in strip_head(an_instant(True, unobserved_s=0.7), CLOCK).plain


def test_a_second_is_full_broken_empty_or_unobserved() -> None:
    rows = [
        a_row(0.0, present_s=1.0),
        a_row(1.0, present_s=0.95, dropouts=1),
        a_row(2.0, present_s=0.0),
        a_row(3.0, present_s=0.0, observed_s=0.0),
    ]
    assert "".join(cell(row)[0] for row in rows) == "█▒░ "


def test_marks_stand_below_their_second() -> None:
    rows = [a_row(float(n), present_s=1.0) for n in range(5)]
    assert mark_row(rows, [Mark(at_s=2.7, label="")]) == "  ▲  "
