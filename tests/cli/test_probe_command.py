"""``sniff probe``: the board on shipped recordings and on the simulated bench, by exit code."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Answer, Run

SET = (
    "--carrier",
    "72.9M",
    "--if",
    "10.7M",
    "--side",
    "high",
    "--multiplier",
    3,
    "--tolerance",
    "50ppm",
)
CLOCK = ("--ppm", 28.8, "--u-ppm", 0.3)
HAND_HELD = (
    "--carrier",
    "144.5M",
    "--tolerance",
    "20ppm",
    "--search",
    "20ppm",
    "--ppm",
    0,
    "--u-ppm",
    1,
)


def lines_of(answer: Answer) -> dict[str, dict[str, object]]:
    return {line["name"]: line for line in json.loads(answer.out)["result"]["lines"]}


def hand_held(run: Run, shipped: Path, *when: object) -> tuple[Answer, dict[str, object]]:
    recording = shipped / "nfm_voice_144.470M_280k.sigmf-meta"
    answer = run("probe", "--json", "--from", recording, *HAND_HELD, *when)
    return answer, lines_of(answer)["carrier"]


def test_the_real_carrier_is_present_between_key_up_and_key_off(run: Run, shipped: Path) -> None:
    """On from 0.9214 s to 4.5212 s (recordings/README.md: an independent script)."""
    answer, carrier = hand_held(run, shipped, "--start", 1.0, "--seconds", 3.5)
    assert answer.code == 0
    assert carrier["state"] == "present"
    assert carrier["present_fraction"] == 1.0
    assert carrier["error_hz"] == pytest.approx(268.9, abs=1.5)


def test_the_real_carrier_is_absent_before_with_a_would_see_level(run: Run, shipped: Path) -> None:
    answer, carrier = hand_held(run, shipped, "--start", 0, "--seconds", 0.9)
    assert answer.code == 1
    assert carrier["state"] == "absent"
    assert carrier["frequency_hz"] is None
    # Between the noise in one RBW (−45.1 dBFS over 280 kHz, README) and the carrier itself.
    noise_dbfs = -45.1 + 10 * -3.44
    assert noise_dbfs - 12 < carrier["would_see_dbfs"] < -60


def test_over_key_up_and_key_off_it_is_unsteady_for_the_right_part(run: Run, shipped: Path) -> None:
    answer, carrier = hand_held(run, shipped)
    assert answer.code == 1
    assert carrier["state"] == "unsteady"
    assert carrier["present_fraction"] == pytest.approx((4.5212 - 0.9214) / 6.1714, abs=0.01)


def test_the_deaf_receivers_lo_is_unsteady_and_the_menders_is_not(run: Run, shipped: Path) -> None:
    deaf = run("probe", "--json", "--from", shipped / "tour-guide-deaf.sigmf-meta", *SET, *CLOCK)
    mended = run(
        "probe", "--json", "--from", shipped / "tour-guide-mended.sigmf-meta", *SET, *CLOCK
    )
    assert (deaf.code, mended.code) == (1, 0)
    assert lines_of(deaf)["LO"]["state"] == "unsteady"
    lo = lines_of(mended)["LO"]
    assert lo["state"] == "present"
    # Truth of the scene: its crystal is 5.5 ppm high while still cool.
    assert lo["error_ppm"] == pytest.approx(5.5, abs=0.6)


def test_without_a_calibrated_clock_the_exit_is_undecided(run: Run, shipped: Path) -> None:
    answer = run("probe", "--from", shipped / "tour-guide-mended.sigmf-meta", *SET)
    assert answer.code == 3
    assert "UNDECIDED" in answer.out
    assert "calibrate the clock" in answer.out


def test_the_siblings_level_is_shown_beside(run: Run, shipped: Path) -> None:
    answer = run(
        "probe",
        "--json",
        "--from",
        shipped / "tour-guide-mended.sigmf-meta",
        *SET,
        *CLOCK,
        "--sibling",
        shipped / "tour-guide-good.sigmf-meta",
        "--sibling-carrier",
        "74.7M",
    )
    # Truth of the scenes: −39 and −38 dBFS.
    assert lines_of(answer)["LO"]["versus_sibling_db"] == pytest.approx(-1.0, abs=0.2)


@pytest.mark.parametrize(
    ("scene", "code", "state"),
    [
        ("tour-guide-mended", 0, "present"),
        ("tour-guide-dead", 1, "absent"),
        ("tour-guide-deaf", 1, "unsteady"),
    ],
)
def test_on_the_bench_every_line_gets_a_tuning_with_the_line_off_centre(
    run: Run, scene: str, code: int, state: str
) -> None:
    answer = run("probe", "--json", "--from", f"bench:{scene}", *SET, *CLOCK, "--seconds", 2.5)
    assert answer.code == code
    lines = lines_of(answer)
    assert lines["LO"]["state"] == state
    assert all(line["state"] != "out-of-view" for line in lines.values())


def test_a_plan_file_says_the_same_as_options(run: Run, shipped: Path, tmp_path: Path) -> None:
    plan = tmp_path / "set.toml"
    plan.write_text(
        'carrier = "72.9M"\nif = "10.7M"\nside = "high"\nmultiplier = 3\ntolerance = "50ppm"\n'
    )
    recording = shipped / "tour-guide-mended.sigmf-meta"
    by_file = run("probe", "--json", "--from", recording, "--plan", plan, *CLOCK)
    by_words = run("probe", "--json", "--from", recording, *SET, *CLOCK)
    assert json.loads(by_file.out)["result"] == json.loads(by_words.out)["result"]


def test_pictures_of_the_board(run: Run, shipped: Path, tmp_path: Path) -> None:
    board, course = tmp_path / "board.png", tmp_path / "course.png"
    run(
        "probe",
        "--from",
        shipped / "tour-guide-deaf.sigmf-meta",
        *SET,
        *CLOCK,
        "--plot",
        board,
        "--course",
        course,
    )
    assert board.read_bytes().startswith(b"\x89PNG")
    assert course.read_bytes().startswith(b"\x89PNG")


def test_where_a_recording_begins_is_not_said_of_a_live_sibling(run: Run, shipped: Path) -> None:
    sibling = ("--sibling", "bench:tour-guide-good", "--sibling-carrier", "74.7M")
    source = ("--from", shipped / "tour-guide-mended.sigmf-meta", "--start", 1.5)
    answer = run("probe", "--json", *source, *SET, *sibling, "--ppm", 28.8, "--u-ppm", 0.3)
    assert answer.code in (0, 1), answer.err
    assert json.loads(answer.out)["result"]["lines"][0]["versus_sibling_db"] is not None
