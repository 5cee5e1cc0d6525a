"""What the report says of comparisons with a good set, before and after the repair."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from sniff.compare import Comparison, Likeness, Origin
from sniff.job.entries import FileKind, KeptFile, Reading, Stage
from sniff.job.folder import Job
from sniff.report.envelope import plain
from sniff.report.html import View
from sniff.report.html.comparisons import ComparedPair
from sniff.report.job_text import print_job
from tests.report.compared import WEAKER_DB, at_two_places, compared, row, with_rows
from tests.report.html.conftest import Filed, board
from tests.report.html.test_view import Tags

Shown = Callable[..., tuple[View, str]]
BEFORE, AFTER = Stage.ARRIVAL, Stage.AFTER


def told(comparison: Comparison) -> dict[str, Any]:
    """The result as the command files it."""
    result = plain(comparison.result)
    assert isinstance(result, dict)
    return result


@pytest.fixture
def mended(filed: Filed) -> list[Reading]:
    """Compared when it came in, weak and then without its LO, and after the repair."""
    return [
        filed("compare", told(compared("weak")), BEFORE),
        filed("compare", told(compared("missing")), BEFORE),
        filed("compare", told(compared("none")), AFTER),
    ]


def line(view: View, name: str) -> ComparedPair:
    (pair,) = view.comparisons
    (place,) = pair.places
    return next(each for each in place.lines if each.name == name)


def test_the_latest_comparison_of_each_side_is_laid_beside_the_other(
    mended: list[Reading], shown: Shown
) -> None:
    view, text = shown(mended)
    (pair,) = view.comparisons
    assert (pair.before, pair.after) == (mended[1], mended[2])
    assert pair.against == "the good set planted on 74.7 MHz; this one on 72.9 MHz"
    lo = line(view, "LO")
    assert lo.wanted
    assert lo.expected == "expected 83.6 MHz, in the good set 85.4 MHz"
    assert lo.before is not None
    assert lo.after is not None
    assert (lo.before.state, lo.before.sign, lo.before.tone) == ("only-good", "○", "faulty")
    assert (lo.after.state, lo.after.sign, lo.after.tone) == ("in-both", "●", "fine")
    assert lo.before.reading == ""
    assert lo.before.level.startswith("would be seen from −8")
    assert "Beside a good set, before and after" in text


def test_a_difference_carries_its_u(filed: Filed, shown: Shown) -> None:
    """2 ppm apart by 1.4 ppm of U for one clock, −17 dB by 6 dB of placing the loop."""
    view, _ = shown([filed("compare", told(compared("weak")), BEFORE)])
    lo = line(view, "LO").before
    assert lo is not None
    assert lo.error.startswith("+2.0 ± 1.4 ppm against the good set's at 85.400")
    size, rest = lo.sibling.split(" ", 1)
    assert float(size.replace("−", "-")) == pytest.approx(-WEAKER_DB, abs=0.3)
    assert rest == "± 6.0 dB against the good set's"


def test_a_reading_shows_no_more_digits_than_its_u_allows(filed: Filed, shown: Shown) -> None:
    """By 0.5 ppm of the clock U is 84 Hz at 83.6 MHz: to the hertz. Fifty times that: 4.2 kHz."""
    result = told(compared("none"))
    rough = [
        {**each, "u_suspect_hz": 50.0 * each["u_suspect_hz"]} if each["u_suspect_hz"] else each
        for each in result["lines"]
    ]
    readings = [
        filed("compare", {**result, "lines": lines}, BEFORE) for lines in (result["lines"], rough)
    ]
    fine, coarse = (line(shown([each])[0], "LO").before for each in readings)
    only = line(shown([filed("compare", told(compared("missing")), BEFORE)])[0], "LO").before
    assert fine is not None
    assert coarse is not None
    assert only is not None
    assert len(fine.reading) == len("83.600280 MHz")
    assert len(coarse.reading) == len("83.6003 MHz")
    assert only.error.startswith("the good set's at 85.400")


def test_page_one_says_the_sentence_and_the_stamp_follows_it(
    mended: list[Reading], shown: Shown
) -> None:
    view, _ = shown(mended)
    before, after = (compared(fault).result.sentence for fault in ("missing", "none"))
    assert view.finding == (
        f"Before the repair a comparison with a good set said: {before}.",
        f"After the repair a comparison with a good set said: {after}.",
    )
    assert "lacks the LO" in view.finding[0]
    assert (view.stamp_tone, view.stamp) == ("fine", "As expected after the repair")


@pytest.mark.parametrize(
    ("verdict", "tone"), [("alike", "fine"), ("differs", "faulty"), ("undecided", "open")]
)
def test_the_stamp_is_the_worst_of_all_after_the_repair(
    filed: Filed, shown: Shown, verdict: str, tone: str
) -> None:
    sound = filed("probe", board("present", "as-expected"), AFTER)
    said = filed("compare", {**told(compared("none")), "verdict": verdict}, AFTER)
    assert shown([sound, said])[0].stamp_tone == tone


def test_each_place_is_told_by_itself(filed: Filed, shown: Shown) -> None:
    view, text = shown([filed("compare", told(at_two_places()), BEFORE)])
    (pair,) = view.comparisons
    assert [place.place for place in pair.places] == ["feed A", "feed B"]
    verdicts = [place.before.verdict for place in pair.places if place.before]
    assert verdicts == ["alike", "differs"]
    states = [
        next(each for each in place.lines if each.name == "LO").before for place in pair.places
    ]
    assert [state.state for state in states if state] == ["in-both", "only-good"]
    assert "At feed B" in text
    assert all(place.after is None for place in pair.places)


def test_comparisons_of_two_carriers_are_two(filed: Filed, shown: Shown) -> None:
    other = {**told(compared("none")), "suspect_carrier_hz": 74.3e6}
    view, _ = shown(
        [filed("compare", told(compared("none")), BEFORE), filed("compare", other, BEFORE)]
    )
    assert [pair.against[-8:] for pair in view.comparisons] == ["72.9 MHz", "74.3 MHz"]


def test_what_differs_besides_the_plan_is_named_and_the_room_is_not(
    filed: Filed, shown: Shown
) -> None:
    comparison = with_rows(
        compared("none"),
        row(Likeness.ONLY_GOOD, Origin.ROOM, name="house", good_hz=85.3e6),
        row(Likeness.HIDDEN, good_hz=85.2e6),
        *(row(Likeness.ONLY_SUSPECT, suspect_hz=83.5e6 + 1e4 * n) for n in range(9)),
    )
    view, text = shown([filed("compare", told(comparison), BEFORE)])
    (place,) = view.comparisons[0].places
    assert place.before is not None
    assert place.before.besides[0] == "line at 83.5000 MHz, only-suspect"
    assert place.before.besides[6:] == ("and 3 more",)
    assert "house" not in text
    assert "85.2" not in text


def test_what_a_comparison_leaves_open_is_said(
    mended: list[Reading], filed: Filed, shown: Shown
) -> None:
    repeat = "how it compares with the good set after the repair"
    assert repeat in shown(mended[:2])[0].not_checked
    both = shown([*mended, filed("probe", board("present", "as-expected"), AFTER)])[0]
    assert repeat not in both.not_checked
    assert "levels against a working sibling" not in both.not_checked


def test_its_picture_is_shown_with_the_sentence_for_who_cannot_see_it(
    job: Job, filed: Filed, shown: Shown
) -> None:
    file = KeptFile(kind=FileKind.PICTURE, path="pictures/c-plot.png", sha256="s", bytes=1)
    view, _ = shown([filed("compare", told(compared("missing")), BEFORE, files=(file,))])
    (picture,) = view.pictures
    assert picture.alt.startswith("Picture of the compare before: the suspect lacks the LO")


def test_the_list_of_readings_has_the_sentence(
    job: Job, mended: list[Reading], shown: Shown, capsys: pytest.CaptureFixture[str]
) -> None:
    sentence = compared("missing").result.sentence
    view, _ = shown(mended)
    assert view.rows[1].words == sentence
    print_job(job, mended, ())
    assert "the suspect lacks the LO" in capsys.readouterr().out


def test_nobody_reads_whose_home_a_recording_lies_in(filed: Filed, shown: Shown) -> None:
    result = {**told(compared("none")), "good": str(Path.home() / "good.sigmf-meta")}
    view, text = shown([filed("compare", result, BEFORE)])
    assert view.comparisons[0].against.startswith("the good set ~/good.sigmf-meta on")
    assert str(Path.home() / "good") not in text


def test_words_of_a_user_are_shown_and_not_obeyed(filed: Filed, shown: Shown) -> None:
    result = told(compared("none"))
    nasty = "<script>alert(1)</script>"
    result["good"] = nasty
    for each in (*result["places"], *result["lines"]):
        each.update(place=nasty, sentence=nasty, why=nasty, name=nasty)
    _, text = shown([filed("compare", result, BEFORE)])
    page = Tags(text)
    assert "script" not in [tag for tag, _ in page.tags]
    assert nasty in "".join(page.texts)


@pytest.mark.parametrize(
    "broken",
    [
        {"places": None},
        {"lines": "none"},
        {"places": [{}], "lines": [{}]},
        {"places": [{"place": None}], "lines": [{"planned": True, "name": "LO", "good_hz": "x"}]},
        {"good_carrier_hz": None},
    ],
)
def test_a_result_of_another_version_is_shown_as_far_as_it_goes(
    filed: Filed, shown: Shown, broken: dict[str, Any]
) -> None:
    _, text = shown([filed("compare", {**told(compared("none")), **broken}, BEFORE)])
    assert "Repair report" in text


def test_states_of_the_filed_result_all_have_a_sign(filed: Filed, shown: Shown) -> None:
    comparison = compared("none")
    for state in Likeness:
        lines = tuple(replace(each, state=state) for each in comparison.result.lines)
        result = replace(comparison.result, lines=lines)
        view, _ = shown([filed("compare", told(replace(comparison, result=result)), BEFORE)])
        side = line(view, "LO").before
        assert side is not None
        assert side.sign != "?"
