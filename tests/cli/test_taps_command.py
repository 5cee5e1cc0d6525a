"""``sniff watch --taps``: from lists, annotations and keys, with and without the sibling."""

import json
from pathlib import Path
from typing import Any

import pytest

from sniff.cli.tapfiles import read_taps
from sniff.cli.tapping import parse_label
from sniff.taps.nouns import Provocation, Tap
from tests.cli.conftest import Answer, Run

CLOCK = ("--ppm", 0, "--u-ppm", 0.5)
LINE = ("--line", "83.6M")
BROKEN_S = (1.6, 3.1, 4.6, 6.1, 7.6)
"""When the joint opens: a tenth of a second after the stick touches C14."""

SCENE = """
title = "a joint that opens when it is tapped"
seed = {seed}
rate_hz = "230k"
center_hz = "83.58M"
gain_db = 40.2
[[emitters]]
name = "LO"
oscillator_hz = "83.6M"
lines = [{{ level_dbfs = -40 }}]
{joint}
"""
JOINT = "[emitters.joint]\nbreaks = [" + ", ".join(
    f"{{at_s = {at_s}, for_s = 0.03}}" for at_s in BROKEN_S
)


def scene(folder: Path, name: str, *, cracked: bool, seed: int = 4) -> str:
    path = folder / f"{name}.toml"
    path.write_text(SCENE.format(seed=seed, joint=f"{JOINT}]" if cracked else ""))
    return f"bench:{path}"


def csv(folder: Path, rows: list[tuple[float, str, str]]) -> Path:
    path = folder / "taps.csv"
    lines = [f"{at_s},{spot},{by}" for at_s, spot, by in rows]
    path.write_text("\n".join(["at_s,spot,by", *lines]) + "\n")
    return path


TAPS = [
    *((at_s - 0.1, "C14", "stick") for at_s in BROKEN_S),
    *((at_s, "L3", "stick") for at_s in (9.0, 10.5, 12.0, 13.5, 15.0)),
]
SECONDS = 17


def result_of(answer: Answer) -> dict[str, Any]:
    taps: dict[str, Any] = json.loads(answer.out)["result"]["taps"]
    return taps


def test_the_cracked_spot_is_found_against_the_sibling(run: Run, tmp_path: Path) -> None:
    taps = csv(tmp_path, TAPS)
    words = ("watch", *LINE, *CLOCK, "--seconds", SECONDS, "--quiet", "--json", "--taps", taps)
    sibling = run(*words, "--from", scene(tmp_path, "good", cracked=False))
    (tmp_path / "sibling.json").write_text(sibling.out)
    answer = run(
        *words, "--from", scene(tmp_path, "bad", cracked=True),
        "--control", tmp_path / "sibling.json",
    )  # fmt: skip
    assert answer.code == 1
    first, second = result_of(answer)["spots"]
    assert (first["spot"], first["verdict"], first["control"]) == ("C14", "reacts", "sibling")
    # 5 of 5 against 0 of 5: 1 / C(10, 5), twice for two spots.
    assert first["p"] == pytest.approx(1 / 252)
    assert first["p_adjusted"] == pytest.approx(2 / 252)
    assert (second["spot"], second["verdict"]) == ("L3", "not-shown")
    strokes = result_of(answer)["strokes"]
    assert [s["after_s"] for s in strokes[:5]] == pytest.approx([0.1] * 5, abs=2e-3)


def test_without_a_sibling_the_text_says_what_untouched_time_can_show(
    run: Run, tmp_path: Path
) -> None:
    answer = run(
        "watch", *LINE, *CLOCK, "--from", scene(tmp_path, "bad", cracked=True),
        "--seconds", 34, "--quiet", "--taps", csv(tmp_path, TAPS),
    )  # fmt: skip
    row = next(line for line in answer.out.splitlines() if line.startswith("C14"))
    assert "● reacts" in row
    assert "5 of 5" in row
    assert "untouched 0 of" in row
    assert "only the sibling shows" in row
    assert "A drop-out answers a tap when it begins within 1 s after it" in answer.out
    assert "for 2 spots tested (Holm)" in answer.out


def test_a_hand_is_no_evidence_on_the_command_line_either(run: Run, tmp_path: Path) -> None:
    hands = csv(tmp_path, [(at_s, "C14", "hand") for at_s, _, _ in TAPS[:5]])
    answer = run(
        "watch", *LINE, *CLOCK, "--from", scene(tmp_path, "bad", cracked=True),
        "--seconds", 17, "--quiet", "--taps", hands,
    )  # fmt: skip
    assert "– no evidence" in answer.out
    assert "Only a hand was used, which shows nothing" in answer.out


def test_annotations_of_a_recording_are_taps(run: Run, tmp_path: Path) -> None:
    run(
        "record", "--from", scene(tmp_path, "bad", cracked=True), "--seconds", 10,
        "--out", tmp_path / "r", "--quiet",
    )  # fmt: skip
    metadata = json.loads((tmp_path / "r.sigmf-meta").read_text())
    metadata["annotations"] = [
        {"core:sample_start": round(230_000 * (at_s - 0.05)), "core:label": "tap stick C14"}
        for at_s in BROKEN_S
    ] + [{"core:sample_start": 100, "core:label": "cold start"}]
    metadata["annotations"].sort(key=lambda entry: entry["core:sample_start"])
    (tmp_path / "r.sigmf-meta").write_text(json.dumps(metadata))
    answer = run(
        "watch", *LINE, *CLOCK, "--from", tmp_path / "r.sigmf-meta", "--json",
        "--taps", "annotations", "--quiet",
    )  # fmt: skip
    (spot,) = result_of(answer)["spots"]
    assert (spot["spot"], spot["by"], spot["answered"], spot["taps"]) == ("C14", "stick", 5, 5)
    assert any("is not labelled like" in c["text"] for c in json.loads(answer.out)["cautions"])


def test_counts_of_the_control_may_be_written_by_hand(run: Run, tmp_path: Path) -> None:
    control = tmp_path / "control.toml"
    control.write_text('[[spots]]\nspot = "C14"\nby = "stick"\ntaps = 12\nanswered = 1\n')
    answer = run(
        "watch", *LINE, *CLOCK, "--from", scene(tmp_path, "bad", cracked=True),
        "--seconds", SECONDS, "--quiet", "--json", "--taps", csv(tmp_path, TAPS[:5]),
        "--control", control,
    )  # fmt: skip
    (spot,) = result_of(answer)["spots"]
    # Six answers among 17 taps, five or more of them in the first five: C(6, 5) / C(17, 5).
    assert spot["p"] == pytest.approx(6 / 6188)


def test_a_list_in_toml_reads_as_one_in_csv(tmp_path: Path) -> None:
    listed = tmp_path / "taps.toml"
    listed.write_text(
        "".join(f'[[taps]]\nat_s = {a}\nspot = "{s}"\nby = "{b}"\n' for a, s, b in TAPS)
    )
    assert read_taps(listed) == read_taps(csv(tmp_path, TAPS))


@pytest.mark.parametrize(
    ("label", "must_say_tap", "tap"),
    [
        ("stick C14", False, ("C14", Provocation.STICK)),
        ("Tap COLD  Q2, near the coil ", True, ("Q2, near the coil", Provocation.COLD)),
        ("cold start", True, None),
        ("stick", False, None),
        ("sticky C14", False, None),
        ("hammer C14", False, None),
        ("stick \x1b[2J", False, None),
        ("", False, None),
    ],
)
def test_labels_are_taps_when_they_say_by_what_and_where(
    label: str, must_say_tap: bool, tap: tuple[str, Provocation] | None
) -> None:
    expected = None if tap is None else Tap(at_s=3.0, spot=tap[0], by=tap[1])
    assert parse_label(label, at_s=3.0, must_say_tap=must_say_tap) == expected


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("t.csv", "spot,by\nC14,stick\n", "its first line must be at_s,spot,by"),
        ("t.csv", "at_s,spot,by\n1.0,C14,hammer\n", "line 2: is no tap"),
        ("t.csv", "at_s,spot,by\n1.0,C14,stick,5\n", "line 2: is no tap"),
        ("t.csv", "at_s,spot,by\nsoon,C14,stick\n", "line 2: is no tap"),
        ("t.csv", "at_s,spot,by\n", "lists no tap"),
        ("t.csv", "\xff\xfe", "is no text in UTF-8"),
        ("t.toml", '[[taps]]\nat_s = 1\nspot = "C14"\nby = "hammer"\n', "line 4"),
        ("t.toml", '[[taps]]\nat_s = -1\nspot = "C14"\nby = "stick"\n', "line 2"),
        ("t.toml", "taps = []\n", "taps"),
        ("t.txt", "", "ends in .toml or .csv"),
    ],
)
def test_a_bad_list_is_told_before_anything_is_watched(
    run: Run, tmp_path: Path, name: str, text: str, says: str
) -> None:
    path = tmp_path / name
    path.write_text(text, encoding="latin-1")
    answer = run("watch", *LINE, *CLOCK, "--from", "bench:room", "--taps", path)
    assert answer.code in (2, 4)
    assert says in answer.err
    assert answer.err.count("\n") == 1
    assert answer.out == ""


@pytest.mark.parametrize(
    "text",
    ["{}", "[1]", '{"result": {"taps": null}}', "nonsense", '{"result": {"taps": {"spots": [1]}}}'],
)
def test_a_control_that_is_none_is_told(run: Run, tmp_path: Path, text: str) -> None:
    control = tmp_path / "control.json"
    control.write_text(text)
    answer = run(
        "watch", *LINE, *CLOCK, "--from", "bench:room", "--taps", csv(tmp_path, TAPS),
        "--control", control,
    )  # fmt: skip
    assert answer.code == 4
    assert "is no answer of 'sniff watch --taps ... --json'" in answer.err


def test_keys_without_marks_leave_the_watch_as_it_is(run: Run, tmp_path: Path) -> None:
    answer = run(
        "watch", *LINE, *CLOCK, "--from", scene(tmp_path, "good", cracked=False),
        "--seconds", 3, "--taps", "keys", "--json",
    )  # fmt: skip
    assert answer.code == 0
    data = json.loads(answer.out)
    assert any(caution["code"] == "no-taps" for caution in data["cautions"])
    assert data["result"]["verdict"] == "steady"
