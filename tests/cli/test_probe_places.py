"""``sniff probe --at`` and ``--repeat``: places of the board, and the loop placed again and again.

The sets are the bench's diversity receivers, whose comments in their scenes tell the truth.
"""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from sniff.job.folder import open_job
from tests.cli.conftest import Answer, Run
from tests.cli.test_dongle_commands import on_dongle, rtlsdr_library
from tests.standin.build import SITE

__all__ = ["on_dongle", "rtlsdr_library"]

PLAN = """\
carrier = "184.6M"
if = "10.7M"
side = "high"
multiplier = 3
tolerance = "50ppm"

[[places]]
name = "LO B"
carrier = "186.2M"
lines = [{ name = "LO", level = "-36dBFS" }]

[[places]]
name = "feed A"
lines = [{ name = "LO", level = "-43dBFS" }]

[[places]]
name = "feed B"
carrier = "186.2M"
lines = [{ name = "LO", level = "-43dBFS", within = "4dB" }]
"""
CLOCK = ("--ppm", -21, "--u-ppm", 0.5)
SET = ("--from", "bench:diversity-receiver", "--seconds", 0.1)
SIBLING = ("--sibling", "bench:diversity-good", "--sibling-carrier", "188.2M")


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "diversity.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


@pytest.fixture
def at(run: Run, plan: Path) -> Callable[..., Answer]:
    def call(place: str, *words: object) -> Answer:
        return run("probe", *SET, *CLOCK, "--plan", plan, "--at", place, *words)

    return call


def result_of(answer: Answer) -> dict[str, object]:
    result = json.loads(answer.out)["result"]
    assert isinstance(result, dict)
    return result


def test_the_weak_feed_is_found_and_its_output_is_sound(at: Callable[..., Answer]) -> None:
    """LO B −36 dBFS in both sets, feed B −60 against −43: 17 dB, each within 4 · 1.5 dB."""
    output = at("LO B", "--json", *SIBLING)
    assert output.code == 0
    feed = at("feed B", "--json", *SIBLING)
    assert feed.code == 1
    result = result_of(feed)
    assert result["place"] == "feed B"
    (line,) = result["lines"]  # type: ignore[misc]
    assert line["state"] == "weak"
    assert line["expected_hz"] == pytest.approx(196.9e6)
    assert line["stated_dbfs"] == -43.0
    assert line["versus_stated_db"] == pytest.approx(-17, abs=6)
    assert line["versus_sibling_db"] == pytest.approx(-17, abs=8.5)  # 4 · 1.5 · sqrt(2)
    assert at("feed A", "--json").code == 0


def test_a_place_asks_for_its_own_lines_only(at: Callable[..., Answer]) -> None:
    answer = at("feed a")
    assert answer.out.startswith("bench:diversity-receiver at feed A: tuned to ")
    assert "crystal" not in answer.out
    assert "vs plan" in answer.out
    assert "levels against the plan hold for the same gain and the same place" in answer.err


def test_a_place_that_the_plan_does_not_name_is_told_with_those_it_names(
    at: Callable[..., Answer],
) -> None:
    answer = at("feed C")
    assert answer.code == 2
    assert answer.err == ("sniff: the plan names no place 'feed C'; it has LO B, feed A, feed B\n")


def test_without_places_in_the_plan_any_name_will_do(run: Run, shipped: Path) -> None:
    words = ("--carrier", "72.9M", "--if", "10.7M", "--side", "high", "--ppm", 31, "--u-ppm", 0.5)
    recording = shipped / "tour-guide-mended.sigmf-meta"
    answer = run("probe", "--from", recording, *words, "--at", " mixer   one", "--json")
    assert answer.code == 0
    assert result_of(answer)["place"] == "mixer one"
    assert run("probe", "--from", recording, *words, "--at", "").code == 2


def test_a_bench_without_that_place_says_which_it_has(run: Run) -> None:
    words = ("--carrier", "186.2M", "--if", "10.7M", "--side", "high")
    answer = run("probe", *SET, *words, "--at", "driver")
    assert answer.code == 4
    assert "has no place 'driver'; it has LO A, feed A, mixer A, LO B" in answer.err


def test_placings_are_combined_and_their_spread_is_told(at: Callable[..., Answer]) -> None:
    """The scene moves each level by 1.5 dB; by chi-square 99.9 % of s with 8 degrees lie from 0.45
    to 2.8 dB, with 4 degrees from 0.19 to 3.4 dB."""
    answer = at("feed B", "--repeat", 5, *SIBLING, "--json")
    assert answer.code == 1
    result = result_of(answer)
    (line,) = result["lines"]  # type: ignore[misc]
    assert (line["placings"], line["seen_in"]) == (5, 5)
    assert line["level_dbfs"] == pytest.approx(-60, abs=4 * 1.5 / 5**0.5)
    assert 0.19 < line["level_sd_db"] < 3.4
    assert (result["placings"], result["sibling_placings"]) == (5, 5)
    assert 0.45 < result["placing_sd_db"] < 2.8  # type: ignore[operator]
    assert result["placing_degrees"] == 8
    assert "within the placing spread, as measured" in answer.err


def test_the_spread_is_printed_and_drawn(at: Callable[..., Answer], tmp_path: Path) -> None:
    answer = at("LO B", "--repeat", 3, "--plot", tmp_path / "board.png")
    assert answer.code == 0
    assert "(3 of 3)" in answer.out
    assert "Placing spread: one placing ±" in answer.out
    assert "dB (95 %, k = 4.5), from 3 placings of 1 line." in answer.out  # JCGM 100, table G.2
    assert (tmp_path / "board.png").stat().st_size > 10_000


def test_a_placement_by_hand_wins_over_the_measured_one(at: Callable[..., Answer]) -> None:
    answer = at("feed B", "--repeat", 2, "--placement", 25, "--json")
    result = result_of(answer)
    (line,) = result["lines"]  # type: ignore[misc]
    assert line["state"] == "present"
    assert answer.code == 0
    assert result["placing_sd_db"] is not None


def test_the_budget_of_several_placings_adds_up_to_the_u_of_the_row(
    at: Callable[..., Answer],
) -> None:
    """JCGM 100:2008, 5.1.2: sqrt of the sum of squares, the digits shown (10 % of U, rectangular,
    hence 6 % of u) besides."""
    answer = at("LO B", "--repeat", 3, "--budget", "--json")
    (budget,) = json.loads(answer.out)["budgets"]
    (line,) = result_of(answer)["lines"]  # type: ignore[misc]
    assert budget["u_hz"] == pytest.approx(line["u_hz"], rel=0.01)
    assert budget["frequency_hz"] == pytest.approx(line["frequency_hz"], abs=1e-3)


def test_a_recording_cannot_be_placed_again(run: Run, shipped: Path) -> None:
    recording = shipped / "tour-guide-good.sigmf-meta"
    words = ("--carrier", "74.7M", "--if", "10.7M", "--side", "high")
    answer = run("probe", "--from", recording, *words, "--repeat", 2)
    assert answer.code == 2
    assert "the loop cannot be placed again; leave --repeat out, or give" in answer.err
    assert answer.out == ""


@pytest.mark.parametrize("count", [0, 1, 21, "two"])
def test_a_number_of_placings_that_makes_no_sense_is_refused(
    at: Callable[..., Answer], count: object
) -> None:
    assert at("feed B", "--repeat", count).code == 2


def test_a_recorded_sibling_is_one_placing(
    run: Run, at: Callable[..., Answer], tmp_path: Path
) -> None:
    stem = tmp_path / "good"
    kept = run(
        "record", "--from", "bench:diversity-good", "--center", "200.3M", "--seconds", 0.2,
        "--out", stem, "--quiet",
    )  # fmt: skip
    assert kept.code == 0, kept.err
    sibling = ("--sibling", f"{stem}.sigmf-meta", "--sibling-carrier", "188.2M")
    result = result_of(at("feed B", "--repeat", 3, *sibling, "--json"))
    assert (result["placings"], result["sibling_placings"]) == (3, 1)
    assert result["placing_degrees"] == 2


def test_a_sibling_recorded_at_another_gain_is_compared_as_if_at_one(
    run: Run, tmp_path: Path
) -> None:
    """Two alike sets of the bench, one heard with 15.8 dB less gain: levels agree all the same."""
    stem = tmp_path / "good"
    kept = run(
        "record", "--from", "bench:tour-guide-good", "--center", "85.3M", "--seconds", 0.2,
        "--gain", 33.8, "--out", stem, "--quiet",
    )  # fmt: skip
    assert kept.code == 0, kept.err
    answer = run(
        "probe", "--from", "bench:tour-guide-mended", "--gain", 49.6, "--seconds", 0.2,
        "--sibling", f"{stem}.sigmf-meta", "--sibling-carrier", "74.7M",
        "--carrier", "72.9M", "--if", "10.7M", "--side", "high", "--multiplier", 3,
        "--ppm", 28.8, "--u-ppm", 0.3, "--json",
    )  # fmt: skip
    assert answer.code == 0, answer.err
    lo = next(line for line in result_of(answer)["lines"] if line["name"] == "LO")
    assert lo["versus_sibling_db"] == pytest.approx(-1.0, abs=1.0)  # as the scenes' headers have it
    assert "the sibling was heard at 33.8 dB of gain, the set at 49.6 dB" in answer.err


def test_a_sibling_that_cannot_be_read_costs_nothing_that_was_heard_live(
    run: Run, shipped: Path
) -> None:
    sibling = ("--sibling", "nowhere.sigmf-meta", "--sibling-carrier", "74.7M")
    words = ("--carrier", "72.9M", "--if", "10.7M", "--side", "high", "--multiplier", 3, *sibling)
    heard = run("probe", "--from", "bench:tour-guide-mended", "--seconds", 0.2, "--json", *words)
    assert heard.code == 4
    assert {line["name"] for line in result_of(heard)["lines"]} >= {"LO", "crystal"}
    assert "there are no levels of the sibling: nowhere.sigmf-meta" in heard.err
    read = run("probe", "--from", shipped / "tour-guide-mended.sigmf-meta", *words)
    assert (read.code, read.out) == (4, "")


@pytest.fixture
def job(run: Run, plan: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    folder = tmp_path / "job"
    assert run("job", "start", folder, "--set", "7", "--fault", "deaf", "--plan", plan).code == 0
    return folder


def test_a_reading_is_filed_under_its_place_and_repeats(run: Run, job: Path) -> None:
    """The plan comes from the job's sheet; the bench is the same every time."""
    filed = run("probe", *SET, *CLOCK, "--at", "feed b", "--repeat", 2, "--job", job, "--quiet")
    assert filed.code == 1
    with open_job(job).notebook() as notebook:
        assert [reading.place for reading in notebook.readings()] == ["feed B"]
    assert "feed B" in run("job", "show", job).out
    assert "1 probe: the same" in run("job", "redo", job).out


def test_another_carrier_in_a_job_takes_its_channels_along(run: Run, job: Path) -> None:
    """The sibling, asked by its own carrier: LO B at 189.8 + 10.7 MHz, 3.6 MHz higher."""
    words = ("--from", "bench:diversity-good", "--seconds", 0.1, "--carrier", "188.2M")
    answer = run("probe", *words, *CLOCK, "--at", "feed B", "--job", job, "--quiet", "--json")
    assert answer.code == 0
    (line,) = result_of(answer)["lines"]  # type: ignore[misc]
    assert line["expected_hz"] == pytest.approx(200.5e6)


def test_samples_of_several_placings_are_not_kept_in_one_recording(
    run: Run, plan: Path, job: Path
) -> None:
    answer = run(
        "probe", *SET, "--plan", plan, "--at", "LO B", "--repeat", 2, "--job", job, "--keep-iq"
    )
    assert answer.code == 2
    assert "--keep-iq keeps one placing" in answer.err


ON_THE_TONE = (
    "probe", "--from", "dongle", "--gain", 20.7, "--seconds", 0.2, "--carrier", "100.1M",
    "--tolerance", "20ppm", "--ppm", 0, "--u-ppm", 0.1,
)  # fmt: skip


def test_on_a_dongle_somebody_is_asked_to_place_the_loop(
    on_dongle: Callable[..., Answer],
) -> None:
    answer = on_dongle(*ON_THE_TONE, "--at", "feed A", "--repeat", 3, "--json", answers="\n\n\n")
    assert answer.code == 0, answer.err
    for number in (1, 2, 3):
        asked = f"Place the loop on the set at feed A, placing {number} of 3; Enter when it is"
        assert asked in answer.err
    assert "Placing 2 of 3: carrier −19." in answer.err
    result = result_of(answer)
    assert (result["placings"], result["place"]) == (3, "feed A")
    (line,) = result["lines"]  # type: ignore[misc]
    assert line["error_hz"] == pytest.approx(0, abs=3)
    assert line["level_sd_db"] < 0.1  # the stand-in's tone does not move


def test_without_anybody_to_ask_nothing_is_measured(on_dongle: Callable[..., Answer]) -> None:
    answer = on_dongle(*ON_THE_TONE, "--repeat", 3)
    assert answer.code == 2
    assert answer.err.splitlines()[-1].startswith("sniff: nobody answers to place the loop")
    assert answer.out == ""


def test_when_the_answers_end_the_placings_till_then_count(
    on_dongle: Callable[..., Answer],
) -> None:
    answer = on_dongle(*ON_THE_TONE, "--repeat", 4, "--json", answers="\n\n")
    assert answer.code == 2
    assert result_of(answer)["placings"] == 2
    assert "the loop was placed 2 times, not 4 times: nobody answers" in answer.err


def test_a_sibling_on_the_same_dongle_is_asked_for(on_dongle: Callable[..., Answer]) -> None:
    words = (*ON_THE_TONE, "--sibling", "dongle", "--sibling-carrier", "100.1M", "--json")
    answer = on_dongle(*words, answers="\n")
    assert answer.code == 0, answer.err
    assert "Place the loop on the sibling; Enter when it is there" in answer.err
    (line,) = result_of(answer)["lines"]  # type: ignore[misc]
    assert line["versus_sibling_db"] == pytest.approx(0.0, abs=0.1)
    alone = on_dongle(*words)
    assert alone.code == 2
    assert result_of(alone)["lines"][0]["state"] == "present"  # type: ignore[index]
    assert "there are no levels of the sibling" in alone.err


def test_ctrl_c_between_two_placings_keeps_what_was_measured(rtlsdr_library: Path) -> None:
    stand_in = {"LIBRARY": rtlsdr_library, "TONE_HZ": 100.1e6, "TONE_DBFS": -40, "PACE": 4}
    with subprocess.Popen(
        [sys.executable, "-m", "sniff", *map(str, ON_THE_TONE), "--repeat", "5", "--json"],
        env={
            **os.environ,
            "PYTHONPATH": str(SITE),
            **{f"STANDIN_{name}": str(value) for name, value in stand_in.items()},
        },
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdin is not None
        assert process.stderr is not None
        process.stdin.write("\n")
        process.stdin.flush()
        said = ""
        while "placing 2 of 5; Enter when it is there: " not in said:
            said += process.stderr.read(1)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert json.loads(out)["result"]["placings"] == 1
    assert "interrupted: the loop was placed once, not 5 times" in err
    assert "Traceback" not in err
