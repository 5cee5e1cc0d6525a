"""``sniff calibrate --level``: dBm where a known level was measured, and nowhere else."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Answer

Run = Callable[..., Answer]

# The simulated room states its levels at the converter at a gain of 40.2 dB: -44 dBFS at 97.7 MHz
# and -58 dBFS at 98.2 MHz, 14 dB apart; the truth here is that difference.
ROOM = ("--from", "bench:room", "--seconds", "0.3", "--gain", "33.8")
KNOWN = ("--level", "-60dBm", "--at", "97.7M", "--level-accuracy", "1dB")


def test_another_line_reads_its_true_level_within_its_uncertainty(run: Run) -> None:
    made = run("calibrate", *ROOM, *KNOWN, "--save", "mine")
    assert made.code == 0, made.err
    assert "So 0 dBFS is" in made.out
    seen = json.loads(run("look", *ROOM, "--clock", "mine", "--json").out)["result"]["peaks"]
    second = min(seen, key=lambda peak: abs(peak["frequency_hz"] - 98.2e6))
    assert abs(second["level_dbm"] - (-74.0)) <= 2 * second["u_level_db"]
    assert second["u_level_db"] < 2.0
    own = next(peak for peak in seen if "dc" in peak["marks"])
    assert own["level_dbm"] is None


def test_without_it_no_output_says_dbm(run: Run) -> None:
    for answer in (run("look", *ROOM), run("probe", *ROOM, "--carrier", "97.7M", "--if", "10.7M")):
        assert "dBm" not in answer.out + answer.err


def test_at_another_gain_no_output_says_dbm(run: Run) -> None:
    run("calibrate", *ROOM, *KNOWN, "--save", "mine")
    other = (*ROOM[:-1], "28", "--clock", "mine")
    assert "dBm" not in run("look", *other).out


def test_a_board_shows_levels_at_the_input(run: Run) -> None:
    run("calibrate", *ROOM, *KNOWN, "--save", "mine")
    plan = ("--carrier", "87.5M", "--if", "10.7M", "--side", "high")
    answer = run("probe", *ROOM, *plan, "--clock", "mine")
    assert "at the input" in answer.out
    assert "dBm ±" in answer.out


def test_it_is_shown_exported_imported_and_forgotten_with_its_dongle(
    run: Run, tmp_path: Path
) -> None:
    run("calibrate", *ROOM, *KNOWN, "--save", "mine")
    file = str(tmp_path / "mine.json")
    assert "97.7 MHz" in run("calibrate", "show", "mine").out
    assert run("calibrate", "export", "mine", file).code == 0
    assert run("calibrate", "forget", "mine").code == 0
    assert run("calibrate", "show", "mine").code != 0
    assert run("calibrate", "import", file, "--as", "yours").code == 0
    assert "97.7 MHz" in run("calibrate", "list").out
    assert "dBm" in run("look", *ROOM, "--clock", "yours").out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--level", "-60"), "write -30dBm"),
        (("--level", "-60dBm"), "--at F"),
        (("--level", "-60dBm", "--at", "97.7M"), "--level-accuracy"),
        (("--level", "17dBm", "--at", "97.7M", "--level-accuracy", "1dB"), "destroy"),
        ((*KNOWN, "--reference", "fm:97.7M"), "one at a time"),
        (("--level", "-60dBm", "--at", "97.1M", "--level-accuracy", "1dB"), "nothing is heard"),
        ((*KNOWN, "--gain", "auto"), "tied to one gain"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(run: Run, words: tuple[str, ...], said: str) -> None:
    answer = run("calibrate", *ROOM, *words, "--save", "mine")
    assert answer.code in (2, 4)
    assert said in answer.err
    assert len(answer.err.strip().splitlines()) == 1
