"""``sniff compare``: two sets of the bench and of recordings, by exit code and sentence.

Truth: the scenes' own headers (invented sets, simulated).
"""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Answer, Run
from tests.cli.test_dongle_commands import on_dongle, rtlsdr_library

__all__ = ["on_dongle", "rtlsdr_library"]

SET = ("--if", "10.7M", "--side", "high", "--multiplier", 3, "--tolerance", "50ppm")
CARRIERS = ("--good-carrier", "74.7M", "--suspect-carrier", "72.9M")
GOOD = ("--good", "bench:tour-guide-good")
CLOCK = ("--ppm", 31, "--u-ppm", 0.5)
SHORT = ("--rate", "1.024M", "--seconds", 0.1)
DIVERSITY = """
carrier = "184.6M"
if = "10.7M"
side = "high"
multiplier = 3

[[places]]
name = "feed A"
lines = [{ name = "LO" }]

[[places]]
name = "feed B"
carrier = "186.2M"
lines = [{ name = "LO" }, { name = "crystal" }]
"""


def result(answer: Answer) -> dict[str, object]:
    found = json.loads(answer.out)
    assert found["command"] == "compare"
    assert isinstance(found["result"], dict)
    return found["result"]


def test_a_dead_lo_is_what_the_suspect_lacks(run: Run) -> None:
    answer = run(
        "compare", *GOOD, "--suspect", "bench:tour-guide-dead", *CARRIERS, *SET, *CLOCK, *SHORT
    )
    assert answer.code == 1
    assert "DIFFERS: the suspect lacks the LO that the good one has at 85.4" in answer.out
    assert "it should be at 83.6 MHz" in answer.out


def test_a_mended_set_is_alike(run: Run) -> None:
    answer = run(
        "compare",
        "--json",
        *GOOD,
        "--suspect",
        "bench:tour-guide-mended",
        *CARRIERS,
        *SET,
        *CLOCK,
        *SHORT,
    )
    assert answer.code == 0
    found = result(answer)
    assert found["verdict"] == "alike"
    assert found["shift_hz"] == pytest.approx(-1.8e6)


def test_without_a_calibrated_clock_it_is_undecided_unless_one_dongle_did_both(run: Run) -> None:
    words = ("compare", *GOOD, "--suspect", "bench:tour-guide-mended", *CARRIERS, *SET, *SHORT)
    answer = run(*words)
    assert answer.code == 3
    assert "measure both with one dongle, or calibrate it" in " ".join(answer.out.split())
    assert run(*words, "--one-clock").code == 0


def test_the_weak_feed_shows_at_its_place(run: Run, tmp_path: Path) -> None:
    """Channel B of the scene is 17 dB weaker; the loop is placed three times at each place."""
    plan = tmp_path / "plan.toml"
    plan.write_text(DIVERSITY)
    answer = run(
        "compare",
        "--json",
        "--good",
        "bench:diversity-good",
        "--good-carrier",
        "188.2M",
        "--suspect",
        "bench:diversity-receiver",
        "--plan",
        plan,
        "--at",
        "feed a",
        "--at",
        "feed B",
        "--repeat",
        3,
        "--ppm",
        -22.4,
        "--u-ppm",
        0.5,
        "--one-clock",
        "--seconds",
        0.1,
    )
    assert answer.code == 1
    found = result(answer)
    places = {place["place"]: place for place in found["places"]}  # type: ignore[attr-defined]
    assert list(places) == ["feed A", "feed B"]
    assert places["feed A"]["verdict"] == "alike"
    assert places["feed B"]["verdict"] == "differs"
    assert places["feed B"]["degrees"] > 0
    (weak,) = [line for line in found["lines"] if line["state"] == "weak"]  # type: ignore[attr-defined]
    assert (weak["name"], weak["place"]) == ("LO", "feed B")
    # Placing spread 1.5 dB, three at each: 1.2 dB (k = 1) of the difference.
    assert weak["difference_db"] == pytest.approx(-17.0, abs=4.0)


def test_recordings_are_compared_as_they_are(run: Run, shipped: Path) -> None:
    words = (
        "compare",
        "--good",
        shipped / "tour-guide-good.sigmf-meta",
        *CARRIERS,
        *SET[:4],
        "--ppm",
        28.8,
        "--u-ppm",
        0.3,
        "--one-clock",
    )
    deaf = run(*words, "--suspect", shipped / "tour-guide-deaf.sigmf-meta")
    assert deaf.code == 1
    assert "has the LO coming and going" in deaf.out
    assert run(*words, "--suspect", shipped / "tour-guide-mended.sigmf-meta").code == 0


def test_several_recordings_of_a_set_are_placings_of_the_loop(
    run: Run, shipped: Path, tmp_path: Path
) -> None:
    good, mended = (shipped / f"tour-guide-{name}.sigmf-meta" for name in ("good", "mended"))
    again = tmp_path / "again.sigmf-meta"
    for half in (".sigmf-meta", ".sigmf-data"):
        again.with_suffix(half).write_bytes(good.with_suffix(half).read_bytes())
    answer = run(
        "compare",
        "--json",
        *("--good", good, "--good", again, "--suspect", mended),
        *CARRIERS,
        *SET[:4],
        "--one-clock",
    )
    assert answer.code == 0
    (place,) = result(answer)["places"]  # type: ignore[misc, attr-defined]
    assert (place["good_placings"], place["suspect_placings"]) == (2, 1)
    # Of 6 dB (k = 2) for one placing at each, two and one leave sqrt(1/2 + 1) / sqrt(2).
    assert place["u_difference_db"] == pytest.approx(3.0 * (1.5 / 2.0) ** 0.5)


def test_what_is_said_of_raw_samples_holds_for_them_alone(
    run: Run, shipped: Path, tmp_path: Path
) -> None:
    """The mended set's LO without its metadata, 2.5 s at 256 kS/s; the good one says 1.024 MS/s."""
    raw = tmp_path / "mended.cu8"
    raw.write_bytes((shipped / "tour-guide-mended.sigmf-data").read_bytes()[: 2 * 640_000])
    good = tmp_path / "good"
    kept = run(
        "record", "--from", "bench:tour-guide-good", "--rate", "1.024M", "--center", "85.3M",
        "--seconds", 0.2, "--out", good, "--quiet",
    )  # fmt: skip
    assert kept.code == 0, kept.err
    words = ("--rate", "256k", "--center", "83.56M", "--ppm", 28.8, "--u-ppm", 0.3)
    answer = run(
        "compare", "--good", f"{good}.sigmf-meta", "--suspect", raw, *CARRIERS, *SET, *words
    )
    assert answer.code == 0, answer.out
    raw.write_bytes(b"\x80" * 100)
    short = run(
        "compare", "--good", f"{good}.sigmf-meta", "--suspect", raw, *CARRIERS, *SET, *words
    )
    assert short.code == 2
    assert f"{raw}: 50 samples are too few" in short.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((*GOOD, "--suspect", "b.wav", "--agree", "nan"), "is no number"),
        ((*GOOD, "--suspect", "b.wav", "--placement", "inf"), "is no number"),
        (("--suspect", "bench:tour-guide-dead"), "Give --good SOURCE"),
        ((*GOOD, "--suspect", "bench:tour-guide-dead", *SET), "a plan needs --suspect-carrier"),
        (
            (*GOOD, "--suspect", "bench:tour-guide-dead", "--suspect-carrier", "72.9M"),
            "Give --good-carrier",
        ),
        (
            (*GOOD, "--suspect", "bench:tour-guide-dead", "--good-carrier", "72.9M"),
            "go together",
        ),
        (
            (*GOOD, "--suspect", "bench:tour-guide-dead", "--repeat", 3),
            "--repeat needs to know which lines count",
        ),
        (
            (*GOOD, "--suspect", "a.wav", "--at", "feed A", "--at", "feed B"),
            "Write PLACE=a.wav",
        ),
        (
            (*GOOD, "--good", "bench:tour-guide-dead", "--suspect", "a.wav"),
            "several sources are for recordings",
        ),
        (("--good", "a.wav", "--good", "a.wav", "--suspect", "b.wav"), "no second placing"),
        (
            (*GOOD, *CARRIERS, "--suspect", "b.sigmf-meta", "--suspect", "./b.sigmf-data"),
            "no second placing",
        ),
        (("--good", "a.wav", "--suspect", "./a.wav"), "agrees with itself"),
        (("--good", "a.wav", "--good", "c.wav", "--suspect", "b.wav"), "which lines count"),
        (("--good", "feed A=a.wav", "--suspect", "feed A=b.wav"), "a place is named by --at"),
        ((*GOOD, "--suspect", "nowhere.wav"), "nowhere.wav"),
        ((*GOOD, "--suspect", "bench:tour-guide-dead", "--span", "9M:1M"), "lower end first"),
    ],
)
def test_words_that_do_not_go_together_are_told_in_one_line(
    run: Run, words: tuple[object, ...], said: str
) -> None:
    answer = run("compare", *words, *SHORT)
    assert answer.code in (2, 4)
    assert answer.err.count("\n") == 1
    assert said in answer.err
    assert answer.out == ""


def test_two_jobs_are_compared_by_what_was_filed_at_each_place(run: Run, tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(DIVERSITY)
    for name, scene, carrier in (
        ("good", "diversity-good", "188.2M"),
        ("bad", "diversity-receiver", "184.6M"),
    ):
        words = ("--set", name, "--fault", "weak", "--carrier", carrier, *SET[:6])
        assert run("job", "start", tmp_path / name, *words).code == 0
        sheet = tmp_path / name / "job.toml"
        places = DIVERSITY[DIVERSITY.index("[[places]]") :].replace("[[places]]", "[[plan.places]]")
        other = places.replace("186.2M", "189.8M") if name == "good" else places
        sheet.write_text(sheet.read_text() + other)
        for place in ("feed A", "feed B"):
            probed = run(
                "probe",
                *("--job", tmp_path / name, "--from", f"bench:{scene}", "--at", place),
                *("--ppm", -22.4, "--u-ppm", 0.5, "--seconds", 0.1, "--repeat", 3),
            )
            assert probed.code in (0, 1)
    words = ("--good", tmp_path / "good", "--suspect", tmp_path / "bad", "--no-job")
    answer = run("compare", "--json", *words)
    assert answer.code == 1, answer.err
    found = result(answer)
    verdicts = {place["place"]: place["verdict"] for place in found["places"]}  # type: ignore[attr-defined]
    assert verdicts["feed B"] == "differs"
    assert "at feed B, the suspect has the LO" in str(found["sentence"])
    told = run("compare", *words).out
    assert "on 186.2 MHz against good reading 2 of good on 189.8 MHz" in told  # B's own channel
    missing = run("compare", *words, "--at", "mixer A")
    assert missing.code == 2
    assert "mixer A" in missing.err


ONE_DONGLE = (
    *("--good", "dongle", "--good-carrier", "100.1M"),
    *("--suspect", "dongle", "--suspect-carrier", "100.1M", "--tolerance", "20ppm"),
    *("--gain", 20.7, "--seconds", 0.2, "--json"),
)


def test_where_a_recording_begins_is_not_said_of_the_live_set(run: Run, shipped: Path) -> None:
    recorded = ("--suspect", shipped / "tour-guide-mended.sigmf-meta")
    begun = ("--start", 1.5, "--ppm", 28.8, "--u-ppm", 0.3)
    answer = run("compare", *GOOD, *recorded, *CARRIERS, *SET, *begun)
    assert answer.code in (0, 1), answer.err
    both_live = run("compare", *GOOD, "--suspect", "bench:tour-guide-dead", *CARRIERS, *SET, *begun)
    assert both_live.code == 2
    assert "--start is for a recording" in both_live.err


def test_on_a_dongle_the_loop_goes_to_the_good_set_first(on_dongle: Callable[..., Answer]) -> None:
    """One dongle, never calibrated: its serial number says that one clock measured both."""
    answer = on_dongle("compare", *ONE_DONGLE, "--repeat", 2, answers="\n" * 4)
    assert answer.code == 0, answer.err
    asked = [line for line in answer.err.splitlines() if line.startswith("Place the loop")]
    assert [line.partition(";")[0] for line in asked] == [
        "Place the loop on the known-good set, placing 1 of 2",
        "Place the loop on the known-good set, placing 2 of 2",
        "Place the loop on the suspect, placing 1 of 2",
        "Place the loop on the suspect, placing 2 of 2",
    ]
    found = result(answer)
    assert found["one_clock"] is True
    assert found["verdict"] == "alike"


def test_a_suspect_placed_fewer_times_than_asked_is_compared_all_the_same(
    on_dongle: Callable[..., Answer],
) -> None:
    answer = on_dongle("compare", *ONE_DONGLE, "--repeat", 2, answers="\n" * 3)
    assert answer.code == 2
    (place,) = result(answer)["places"]  # type: ignore[misc, attr-defined]
    assert (place["good_placings"], place["suspect_placings"]) == (2, 1)
    assert "the suspect was placed once only" in answer.err


def test_when_it_ends_at_a_later_place_those_before_it_are_compared(
    on_dongle: Callable[..., Answer],
) -> None:
    """Good set at A and B, suspect at A; then nobody answers for B."""
    places = ("--at", "A", "--at", "B", "--seconds", 0.05)
    answer = on_dongle("compare", *ONE_DONGLE, *places, answers="\n" * 3)
    assert answer.code == 2
    assert [place["place"] for place in result(answer)["places"]] == ["A"]  # type: ignore[attr-defined]
    assert "the suspect was not measured at B: nobody answers" in answer.err


def test_who_ends_it_is_not_asked_for_the_next_place(on_dongle: Callable[..., Answer]) -> None:
    """Good set twice at A and B, suspect once at A; the answers end there."""
    places = ("--at", "A", "--at", "B", "--repeat", 2, "--seconds", 0.05)
    answer = on_dongle("compare", *ONE_DONGLE, *places, answers="\n" * 5)
    assert answer.code == 2
    (place,) = result(answer)["places"]  # type: ignore[misc, attr-defined]
    assert (place["place"], place["suspect_placings"]) == ("A", 1)
    assert answer.err.count("Place the loop on the suspect") == 2  # both at A
    assert "the suspect was not measured at B" in answer.err


def test_a_suspects_recording_that_cannot_be_read_is_told_before_a_loop_is_placed(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def placed(*_: object, **__: object) -> None:
        raise AssertionError("a loop was placed")

    monkeypatch.setattr("sniff.cli.compare_seeing.placed", placed)
    answer = run("compare", *GOOD, "--suspect", "nowhere.sigmf-meta", *CARRIERS, *SET)
    assert answer.code == 4
    assert answer.err.startswith("sniff: nowhere.sigmf-meta")
    assert answer.err.count("\n") == 1
