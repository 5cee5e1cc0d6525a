"""What the report says: which readings it pairs, what it concludes, and what it owns up to."""

import base64
import json
from collections.abc import Callable
from datetime import timedelta
from html.parser import HTMLParser
from io import BytesIO
from itertools import pairwise
from math import inf

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from PIL import Image

from sniff.job.entries import FileKind, KeptFile, Note, NoteKind, Reading, Stage
from sniff.job.folder import Job
from sniff.report.html import View
from sniff.report.html.background import numbers
from sniff.report.html.fields import number
from sniff.report.html.figures import figures_of
from sniff.report.html.ruler import ruler_of
from sniff.sureness import Change
from tests.report.html.conftest import STARTED, Filed, board, line, watch
from tests.values.report import NO_FAILURE_95

Shown = Callable[..., tuple[View, str]]
BEFORE, AFTER = Stage.ARRIVAL, Stage.AFTER


def test_the_latest_board_of_each_side_is_laid_beside_the_other(filed: Filed, shown: Shown) -> None:
    readings = [
        filed("probe", board("absent", "fault"), Stage.ARRIVAL),
        filed("probe", board("unsteady", "fault"), Stage.BEFORE),
        filed("probe", board("weak", "fault"), Stage.AFTER),
        filed("probe", board("present", "as-expected"), Stage.SOAK),
        filed("probe", board("absent", "fault"), None),
    ]
    view, _ = shown(readings)
    (pair,) = view.boards
    assert pair.before is readings[1]
    assert pair.after is readings[3]
    (lo,) = pair.lines
    assert lo.before is not None
    assert lo.after is not None
    assert (lo.before.state, lo.after.state) == ("unsteady", "present")
    assert lo.before.reading == "83.600469 MHz ± 50 Hz"
    assert view.unstaged == 1


def test_a_reading_of_before_overtakes_those_of_after(filed: Filed, shown: Shown) -> None:
    """The first repair did not help: what was taken after it is no evidence for the second."""
    view, text = shown(
        [
            filed("probe", board("absent", "fault"), BEFORE),
            filed("probe", board("present", "as-expected"), AFTER),
            filed("probe", board("unsteady", "fault"), Stage.BEFORE),
        ]
    )
    assert view.overtaken == 1
    assert view.boards[0].after is None
    assert view.stamp == "Not measured after a repair yet"
    assert "not measured yet" in view.finding[1]
    assert "and so not counted: 1" in text


def test_boards_of_another_set_are_left_out(filed: Filed, shown: Shown) -> None:
    sibling = board("present", "as-expected", expected_hz=85.4e6)
    view, _ = shown(
        [
            filed("probe", board("absent", "fault"), BEFORE),
            filed("probe", sibling, BEFORE),
        ]
    )
    (pair,) = view.boards
    assert pair.lines[0].expected == "83.6 MHz"


def test_boards_of_two_places_are_two(filed: Filed, shown: Shown) -> None:
    view, text = shown(
        [
            filed("probe", board("present", "as-expected"), AFTER, place="feed A"),
            filed("probe", board("weak", "fault"), AFTER, place="feed B"),
        ]
    )
    assert [pair.place for pair in view.boards] == ["feed A", "feed B"]
    assert view.stamp_tone == "faulty"
    assert "At feed B" in text


def test_the_finding_tells_how_it_was_and_how_it_is(filed: Filed, shown: Shown) -> None:
    view, _ = shown(
        [
            filed("probe", board("unsteady", "fault", why="gone 3 times"), BEFORE),
            filed("watch", watch(30, 7200.0), BEFORE),
            filed("probe", board("present", "as-expected"), AFTER),
            filed("watch", watch(0, 3600.0), AFTER),
        ]
    )
    assert view.finding == (
        "Before the repair the LO at 83.6 MHz was unsteady (gone 3 times), and it dropped out 30 "
        "times in 2 h.",
        "After the repair every line that must be there is there and within its tolerance, and no "
        "drop-out has been seen in 60 min.",
    )


def test_a_board_that_could_not_be_decided_is_not_called_good(filed: Filed, shown: Shown) -> None:
    result = {**board("present", "undecided"), "why": "calibrate the clock. Then go on"}
    view, _ = shown([filed("probe", result, AFTER)])
    assert view.finding[1] == "After the repair it could not be decided: calibrate the clock."
    assert view.stamp == "Not decided yet"


def test_one_drop_out_after_the_repair_is_enough_for_a_faulty_stamp(
    filed: Filed, shown: Shown
) -> None:
    view, _ = shown(
        [
            filed("probe", board("present", "as-expected"), AFTER),
            filed("watch", watch(1, 3600.0), AFTER),
        ]
    )
    assert view.stamp == "The fault is still there"


def test_watches_of_one_line_are_pooled_and_compared(filed: Filed, shown: Shown) -> None:
    view, text = shown(
        [
            filed("watch", watch(20, 3600.0), BEFORE),
            filed("watch", watch(10, 3600.0), Stage.BEFORE),
            filed("watch", watch(0, 1800.0), AFTER),
            filed("watch", watch(0, 1800.0), Stage.SOAK),
        ]
    )
    (pair,) = view.watches
    assert pair.before is not None
    assert pair.after is not None
    assert pair.before.rate is not None
    assert pair.after.rate is not None
    assert pair.before.rate.value == pytest.approx(15.0)
    assert pair.before.kinds == "30 break"
    assert pair.after.rate.at_most == pytest.approx(NO_FAILURE_95, abs=1e-4)
    assert pair.change is not None
    assert pair.change.change is Change.BETTER
    assert "The repair helped" in text


def test_the_same_time_is_counted_once(filed: Filed, shown: Shown) -> None:
    """A recording that is watched again, a soak that went on."""
    recording = KeptFile(kind=FileKind.RECORDING, path="recordings/a", sha256="ab", bytes=1)
    began = "2026-11-25T13:00:00Z"
    view, _ = shown(
        [
            filed("watch", watch(3, 3600.0), BEFORE, files=(recording,)),
            filed("watch", watch(3, 3600.0), BEFORE, files=(recording,)),
            filed("watch", watch(0, 3600.0, began_utc=began), Stage.SOAK),
            filed("watch", watch(0, 7200.0, began_utc=began), Stage.SOAK),
        ]
    )
    (pair,) = view.watches
    assert pair.before is not None
    assert pair.before.events == "3"
    assert pair.after is not None
    assert pair.after.observed == "2 h"


def test_two_lines_are_not_pooled(filed: Filed, shown: Shown) -> None:
    view, _ = shown(
        [
            filed("watch", watch(3, 3600.0), BEFORE),
            filed("watch", watch(1, 3600.0, frequency_hz=27_866_822.0), BEFORE),
        ]
    )
    assert [pair.line for pair in view.watches] == ["83.6 MHz", "27.867 MHz"]


def test_a_transmitters_figures_stand_side_by_side(filed: Filed, shown: Shown) -> None:
    result = {
        "verdict": "fail",
        "why": "6 kHz off",
        "frequency_hz": 216_106_000.0,
        "u_hz": 50.0,
        "error_hz": 6000.0,
        "tolerance_hz": 5000.0,
        "modulation": {"kind": "fm", "deviation_positive_hz": 2500.0},
    }
    after = {**result, "verdict": "pass", "error_hz": 100.0}
    view, text = shown([filed("carrier", result, BEFORE), filed("carrier", after, AFTER)])
    (pair,) = view.others
    assert (pair.before_tone, pair.after_tone) == ("faulty", "fine")
    assert {f.name: f.before for f in pair.figures}["deviation up"] == "2.5 kHz"
    assert view.stamp_tone == "fine"
    assert view.finding[0] == (
        "Before the repair the carrier was outside its tolerance (6 kHz off)."
    )
    assert "Transmitter" in text


def test_the_error_is_drawn_to_scale_in_its_tolerance() -> None:
    """+469 Hz of 4.18 kHz is 11 % of the way from the middle to the band's edge."""
    ruler = ruler_of(line("unsteady"), line("present", error_hz=-2090.0, u_hz=0.0))
    assert ruler is not None
    assert ruler.before is not None
    assert ruler.after is not None
    half = ruler.high - 50.0
    assert (ruler.before.x - 50.0) / half == pytest.approx(469.2 / 4180.0)
    assert (ruler.after.x - 50.0) / half == pytest.approx(-0.5)
    assert ruler.words == (
        "Error against the allowed ± 4.2 kHz: before +11 % of it, after −50 % of it"
    )


def test_an_error_of_many_tolerances_stays_in_the_drawing() -> None:
    ruler = ruler_of(None, line("off-frequency", error_hz=4180e3))
    assert ruler is not None
    assert ruler.after is not None
    assert ruler.after.high <= 100.0
    assert ruler.high - ruler.low > 5.0


def test_what_was_not_checked_is_said(filed: Filed, shown: Shown) -> None:
    unseen = line("out-of-view", name="crystal × 2", wanted=False, expected_hz=55.733333e6)
    result = {**board("present", "as-expected"), "lines": [line("present"), unseen]}
    view, text = shown([filed("probe", result, AFTER)])
    said = "; ".join(view.not_checked)
    for words in ("before the repair", "crystal × 2 at 55.733333 MHz: out of view", "sibling"):
        assert words in said
    assert "none was watched" in said
    assert "Not checked" in text


def test_clock_budget_and_cautions_reach_the_report(filed: Filed, shown: Shown) -> None:
    terms = [{"source": "noise, Hz", "u": 0.9, "distribution": "normal", "part_hz": 0.9}]
    budget = {"name": "83.600469 MHz", "expanded_hz": 50.2, "terms": terms}
    reading = filed("probe", board("present", "as-expected"), AFTER)
    reading = reading.renewed(told=reading.told[:-1] + f', "budgets": [{_json(budget)}]}}')
    calibration = filed(
        "calibrate", {"ppm": 28.8, "u_ppm": 0.3, "references": [{"name": "weather"}]}, None
    )
    view, text = shown([reading, calibration])
    assert "calibrated that morning" in text
    assert "± 0.60 ppm" in text
    assert view.budgets[0].expanded == "± 50 Hz"
    assert "levels hold for the same place" in text
    assert view.calibrations == (
        "2026-11-25 13:02 UTC, reading 2: +28.80 ppm ± 0.60 ppm (k = 2), by weather",
    )


@pytest.mark.parametrize(("stage", "said"), [(BEFORE, True), (None, False)])
def test_a_report_without_cautions_says_so(
    stage: Stage | None, said: bool, filed: Filed, shown: Shown
) -> None:
    """A reading of no stage is told of where the cautions are."""
    reading = filed("probe", board("present", "as-expected"), stage)
    told = json.loads(reading.told) | {"cautions": []}
    _, text = shown([reading.renewed(told=json.dumps(told))])
    assert ("None: no reading came with a caution." in text) is said


def test_a_command_that_is_not_known_is_listed(filed: Filed, shown: Shown) -> None:
    result = {"verdict": "odd", "some_level_dbfs": -12.0, "nested": {"wait_s": 0.5}}
    _, text = shown([filed("telepathy", result, BEFORE), filed("telepathy", result, AFTER)])
    assert "Telepathy" in text
    assert "−12.0 dBFS" in text
    assert "500 ms" in text


@pytest.mark.parametrize("value", [None, "12", True, inf, float("nan"), [1.0]])
def test_what_is_no_number_is_not_taken_for_one(value: object) -> None:
    assert number({"a": value}, "a") is None


def test_numbers_are_read_as_runs() -> None:
    assert numbers([1, 2, 3, 7, 9, 10]) == "1 to 3, 7, 9 to 10"


def test_figures_carry_their_units() -> None:
    assert figures_of({"drift_hz_per_s": 1.25, "occupied_bandwidth_hz": 12_500.0, "x": True}) == {
        "drift": "1.25 Hz/s",
        "occupied bandwidth": "12.5 kHz",
    }


class Tags(HTMLParser):
    """Elements with their attributes, in order, and the texts between them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


# A report takes a tenth of a second: making a failing example small would take minutes.
NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
NASTY = st.one_of(
    st.text(max_size=40),
    st.sampled_from(
        [
            "<script>alert(1)</script>",
            '"><img src=x onerror=alert(1)>',
            "</style><script>",
            "{{ 7 * 7 }}{% raw %}",
            "javascript:alert(1)",
            "'; DROP TABLE readings; --",
            "]]><svg/onload=alert(1)>",
        ]
    ),
)


@settings(
    max_examples=60,
    phases=NO_SHRINKING,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(words=st.lists(NASTY, min_size=6, max_size=6))
def test_no_text_of_a_user_becomes_markup(words: list[str], filed: Filed, shown: Shown) -> None:
    name, why, note, place, path, command = words
    photo = KeptFile(kind=FileKind.PHOTO, path=f"photos/{path}", sha256=why, bytes=1)
    result = {**board(place, "as-expected", name=name, why=why), "why": why}
    plain = [filed("probe", board("present", "as-expected", name="LO", why="w"), AFTER, place="p")]
    nasty = [filed("probe", result, AFTER, place=place or "p", command_line=command)]
    texts = []
    for readings, text, file in ((plain, "n", "f"), (nasty, note, path)):
        kept = KeptFile(kind=FileKind.PHOTO, path=f"photos/x{file}", sha256="s", bytes=1)
        notes = [
            Note(at_utc=STARTED, kind=NoteKind.REPAIR, stage=None, text=text),
            Note(at_utc=STARTED, kind=NoteKind.PHOTO, stage=None, text=text, photo=kept),
        ]
        texts.append(shown(readings, notes, [photo, kept])[1])
    harmless, tried = (Tags(text) for text in texts)
    allowed = {tag for tag, _ in harmless.tags}
    assert {tag for tag, _ in tried.tags} <= allowed | {"svg", "rect", "line", "circle"}
    for tag, attributes in tried.tags:
        assert not any(attribute.startswith("on") for attribute in attributes), (tag, attributes)
    # What looks like a template is shown, not worked out.
    assert "{{ 7" not in note or note in "".join(tried.texts)


def test_the_report_asks_nothing_of_the_network(filed: Filed, shown: Shown) -> None:
    _, text = shown([filed("probe", board("present", "as-expected"), AFTER)])
    page = Tags(text)
    for tag, attributes in page.tags:
        assert tag not in ("script", "link", "iframe", "object", "form", "a")
        for name in ("src", "href", "action", "srcset"):
            assert (attributes.get(name) or "data:").startswith("data:")
    assert "url(" not in text
    assert "@import" not in text
    policy = [a["content"] for t, a in page.tags if t == "meta" and "http-equiv" in a]
    assert policy == ["default-src 'none'; img-src data:; style-src 'unsafe-inline'"]


def test_headings_go_down_one_step_at_a_time(filed: Filed, shown: Shown) -> None:
    _, text = shown(
        [
            filed("probe", board("unsteady", "fault"), BEFORE),
            filed("carrier", {"verdict": "pass", "x_hz": 1.0}, AFTER),
            filed("watch", {**watch(1, 60.0), "taps": {"says": "s", "spots": []}}, AFTER),
        ],
        [Note(at_utc=STARTED, kind=NoteKind.REPAIR, stage=None, text="soldered")],
    )
    page = Tags(text)
    levels = [int(tag[1]) for tag, _ in page.tags if tag in ("h1", "h2", "h3", "h4", "h5")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(lower - upper <= 1 for upper, lower in pairwise(levels))
    assert ("html", {"lang": "en"}) in page.tags


def picture(job: Job, name: str, size: tuple[int, int], *, noisy: bool = False) -> KeptFile:
    image = Image.effect_noise(size, 90) if noisy else Image.new("RGB", size, (29, 79, 124))
    image.convert("RGB").save(job.pictures / name)
    return KeptFile(kind=FileKind.PICTURE, path=f"pictures/{name}", sha256=name, bytes=1)


def test_pictures_are_inside_with_words_for_who_cannot_see_them(
    job: Job, filed: Filed, shown: Shown
) -> None:
    before = filed(
        "probe", board("unsteady", "fault"), BEFORE, files=(picture(job, "a-course.png", (90, 60)),)
    )
    _, text = shown([before])
    images = [attributes for tag, attributes in Tags(text).tags if tag == "img"]
    (image,) = images
    source = image["src"] or ""
    data = base64.b64decode(source.removeprefix("data:image/png;base64,"))
    assert Image.open(BytesIO(data)).size == (90, 60)
    assert image["alt"] == "Picture of the spectrum against time before: the board says"


def test_a_picture_outside_the_job_is_not_shown(job: Job, filed: Filed, shown: Shown) -> None:
    secret = job.folder.parent / "secret.png"
    Image.new("RGB", (5, 5)).save(secret)
    for name in ("../secret.png", str(secret), "pictures/gone.png"):
        file = KeptFile(kind=FileKind.PICTURE, path=name, sha256="s", bytes=1)
        _, text = shown([filed("probe", board("absent", "fault"), BEFORE, files=(file,))])
        assert "data:image" not in text
        assert "it cannot be read" in text


def test_many_large_pictures_leave_the_report_below_three_megabytes(
    job: Job, filed: Filed, shown: Shown
) -> None:
    files = tuple(picture(job, f"{n}.png", (1400, 900), noisy=True) for n in range(4))
    photos = []
    for n in range(4):
        Image.effect_noise((1600, 1200), 120).save(job.photos / f"{n}.jpg", quality=95)
        kept = KeptFile(kind=FileKind.PHOTO, path=f"photos/{n}.jpg", sha256=str(n), bytes=1)
        photos.append(
            Note(at_utc=STARTED, kind=NoteKind.PHOTO, stage=None, text="noise", photo=kept)
        )
    view, text = shown([filed("probe", board("absent", "fault"), BEFORE, files=files)], photos)
    assert len(view.pictures) == 4
    assert len(text.encode()) < 3_000_000
    assert "there is no room for more pictures" in text


def test_thousands_of_readings_are_listed_as_far_as_they_find_room(
    filed: Filed, shown: Shown
) -> None:
    one = filed("probe", board("present", "as-expected"), AFTER)
    many: list[Reading] = [
        one.renewed(number=n, filed_utc=STARTED + timedelta(minutes=n)) for n in range(1, 1001)
    ]
    view, text = shown(many)
    assert view.readings == 1000
    assert f"The latest {len(view.rows)} of 1000" in text
    assert view.rows[-1].number == 1000


def _json(data: object) -> str:
    import json

    return json.dumps(data)
