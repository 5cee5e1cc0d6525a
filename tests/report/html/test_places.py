"""What the report says of places on the board, and of a loop that was placed again and again."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from sniff.job.entries import FileKind, KeptFile, Reading, Stage
from sniff.job.folder import Job, start_job
from sniff.job.sheet import Sheet
from sniff.report.html import View, view_of
from sniff.superhet.place import PlacedLine, PlannedPlace
from tests.report.html.conftest import PLAN, STARTED, Filed, board

Shown = Callable[..., tuple[View, str]]
BEFORE, AFTER = Stage.ARRIVAL, Stage.AFTER
PLACED = replace(
    PLAN,
    places=(
        PlannedPlace(name="LO output", lines=(PlacedLine(name="LO"),)),
        PlannedPlace(name="feed B", lines=(PlacedLine(name="LO"),), carrier_hz=74.7e6),
        PlannedPlace(name="mixer", lines=(PlacedLine(name="LO"),)),
    ),
)
AT_FEED_B = {"expected_hz": 85.4e6, "frequency_hz": 85_400_100.0, "error_hz": 100.0}


def placed_job(tmp_path: Path) -> Job:
    sheet = Sheet(set_name="Two channels", fault="one deaf", started=STARTED, plan=PLACED)
    return start_job(tmp_path / "placed", sheet)


def view_at(job: Job, *readings: Reading) -> View:
    return view_of(job, readings, (), (), now=STARTED)


def test_the_finding_tells_of_the_place_that_is_at_fault(filed: Filed, tmp_path: Path) -> None:
    """A board of another channel belongs to the set, since its plan has that place."""
    sound, weak = board("present", "as-expected"), board("weak", "fault", **AT_FEED_B)
    mended = board("present", "as-expected", **AT_FEED_B)
    view = view_at(
        placed_job(tmp_path),
        filed("probe", sound, BEFORE, place="LO output"),
        filed("probe", weak, BEFORE, place="feed B"),
        filed("probe", sound, AFTER, place="LO output"),
        filed("probe", mended, AFTER, place="feed B"),
    )
    assert [pair.place for pair in view.boards] == ["LO output", "feed B"]
    assert view.finding == (
        "Before the repair the LO at 85.4 MHz was weak at feed B (why it is so).",
        "After the repair every line that must be there is there and within its tolerance at LO "
        "output, feed B.",
    )
    assert view.stamp_tone == "fine"
    assert "how it is after the repair at mixer" in view.not_checked
    assert view.plan.endswith("places LO output, feed B, mixer")


def test_a_place_at_fault_that_was_not_measured_again_leaves_it_open(
    filed: Filed, tmp_path: Path
) -> None:
    view = view_at(
        placed_job(tmp_path),
        filed("probe", board("weak", "fault", **AT_FEED_B), BEFORE, place="feed B"),
        filed("probe", board("present", "as-expected"), AFTER, place="LO output"),
    )
    assert view.stamp_tone == "open"
    assert view.finding[1].endswith("Not measured again, though it was at fault: feed B.")


def test_scatter_and_spread_of_several_placings_are_shown(filed: Filed, shown: Shown) -> None:
    """k = 2.87 for 4 degrees: JCGM 100:2008, table G.2 (from memory); 2.87 · 1.5 dB = 4.3 dB."""
    repeated = board(
        "present", "as-expected", level_sd_db=1.4, placings=5, seen_in=4, versus_stated_db=-2.3
    )
    measured = {"placings": 5, "placing_sd_db": 1.5, "placing_degrees": 4, "placing_lines": 2}
    view, text = shown([filed("probe", {**repeated, **measured}, AFTER)])
    (lo,) = view.boards[0].lines
    assert lo.after is not None
    assert lo.after.level == "−39.0 dBFS (mean of 4 of 5 placings, scatter 1.4 dB)"
    assert lo.after.plan == "−2.3 dB against the plan"
    said = "after the repair: one placing ±4.3 dB (95 %, k = 2.9), from 5 placings of 2 lines"
    assert view.boards[0].spread == (said,)
    assert said in text
    assert "−2.3 dB against the plan" in text


@pytest.mark.parametrize("degrees", [None, 0, -1, "four", 1e-9])
def test_a_spread_that_makes_no_sense_is_not_shown(
    filed: Filed, shown: Shown, degrees: object
) -> None:
    odd = {**board("present", "as-expected"), "placing_sd_db": 1.5, "placing_degrees": degrees}
    view, _ = shown([filed("probe", odd, AFTER)])
    assert view.boards[0].spread == ()


def test_a_picture_tells_at_which_place_it_was_taken(filed: Filed, tmp_path: Path) -> None:
    picture = KeptFile(
        kind=FileKind.PICTURE, path="pictures/board-plot.png", sha256="0" * 64, bytes=1
    )
    weak = board("weak", "fault", **AT_FEED_B)
    view = view_at(
        placed_job(tmp_path), filed("probe", weak, BEFORE, place="feed B", files=(picture,))
    )
    (shown,) = view.pictures
    assert shown.caption.startswith("Before: probe at feed B, reading 1")
    assert shown.alt.startswith("Picture of the probe at feed B before")
