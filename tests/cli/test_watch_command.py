"""``sniff watch``: shipped recordings and the simulated bench, by exit code and by JSON."""

import json
from pathlib import Path
from typing import Any

import pytest

from sniff.cli.marking import Marking
from sniff.cli.watching import until
from sniff.errors import UsageError
from sniff.units import format_moment
from tests.cli.conftest import Answer, Run

CLOCK = ("--ppm", 28.8, "--u-ppm", 0.3)
HAND_HELD = ("--line", "144.5M", "--ppm", 0, "--u-ppm", 1)

SCENE = """
title = "a hand and a crack"
seed = 3
rate_hz = "256k"
center_hz = "83.56M"
gain_db = 40.2
[[emitters]]
name = "LO"
oscillator_hz = 27866666.6667
off_ppm = 6.1
lines = [{ times = 3, level_dbfs = -39 }]
[emitters.hand]
course = [{at_s = 3, mm = 100}, {at_s = 4, mm = 2}, {at_s = 4.4, mm = 2}, {at_s = 5.2, mm = 100}]
pull_hz = "-900"
damp_db = 25
[emitters.joint]
breaks = [{at_s = 2, for_s = 0.05}, {at_s = 6, for_s = 0.3}]
"""


def result_of(answer: Answer) -> dict[str, Any]:
    result: dict[str, Any] = json.loads(answer.out)["result"]
    return result


def test_the_deaf_sets_lo_is_intermittent_by_breaks(run: Run, shipped: Path) -> None:
    """Truth in the scene: a cracked joint, mean of 0.2 s open; 510 Hz high (± U)."""
    deaf = shipped / "tour-guide-deaf.sigmf-meta"
    answer = run("watch", "--json", "--from", deaf, "--line", "83.6M", *CLOCK)
    result = result_of(answer)
    assert answer.code == 1
    assert result["verdict"] == "intermittent"
    assert [dropout["kind"] for dropout in result["dropouts"]] == ["break"] * 3
    assert abs(result["frequency_hz"] - 83_600_510.0) < 2.0 * result["u_hz"]
    assert result["level_dbfs"] == pytest.approx(-39.0, abs=0.5)
    assert None in result["dropouts"][0]["fall"]["offset_hz"]


def test_the_mended_sets_lo_of_the_plan_is_steady(run: Run, shipped: Path) -> None:
    mended = shipped / "tour-guide-mended.sigmf-meta"
    plan = ("--carrier", "72.9M", "--if", "10.7M", "--side", "high")
    answer = run("watch", "--from", mended, *plan, *CLOCK)
    assert answer.code == 0
    assert "STEADY: there all the time in 2.5 s." in answer.out
    assert "No drop-out was seen in 2.5 s." in answer.out


def test_the_real_carrier_comes_and_goes_when_it_was_keyed(run: Run, shipped: Path) -> None:
    """On from 0.9214 s to 4.5212 s (recordings/README.md: an independent script)."""
    recording = shipped / "nfm_voice_144.470M_280k.sigmf-meta"
    answer = run("watch", "--json", "--from", recording, *HAND_HELD)
    first, last = result_of(answer)["dropouts"]
    assert first["start_s"] + first["duration_s"] == pytest.approx(0.9214, abs=0.01)
    assert first["kind"] is None
    assert last["start_s"] == pytest.approx(4.5212, abs=2e-3)
    assert not last["ended"]


def test_before_it_was_keyed_it_is_absent_with_a_would_see_level(run: Run, shipped: Path) -> None:
    recording = shipped / "nfm_voice_144.470M_280k.sigmf-meta"
    answer = run("watch", "--json", "--from", recording, *HAND_HELD, "--seconds", 0.9)
    result = result_of(answer)
    assert answer.code == 1
    assert result["verdict"] == "absent"
    assert -95.0 < result["would_see_dbfs"] < -60.0
    assert result["present_fraction"] is None
    assert result["frequency_hz"] is None


def test_a_scenes_cracks_and_hand_are_told_apart(run: Run, tmp_path: Path) -> None:
    scene = tmp_path / "scene.toml"
    scene.write_text(SCENE)
    answer = run(
        "watch", "--from", f"bench:{scene}", "--line", "83.6M", "--ppm", 0, "--u-ppm", 1,
        "--seconds", 7, "--json", "--plot", tmp_path / "watch.png",
    )  # fmt: skip
    crack, hand, second = result_of(answer)["dropouts"]
    assert (crack["kind"], hand["kind"], second["kind"]) == ("break", "pull", "break")
    # The scene's time runs on while the dongle settles after tuning: no lengths but these.
    assert crack["duration_s"] == pytest.approx(0.05, abs=1.5e-3)
    assert second["start_s"] - crack["start_s"] == pytest.approx(4.0, abs=1e-3)
    assert second["duration_s"] == pytest.approx(0.3, abs=1.5e-3)
    assert hand["pull_hz"] < -500.0
    assert (tmp_path / "watch.png").read_bytes().startswith(b"\x89PNG")


def test_it_stops_after_so_many_dropouts(run: Run) -> None:
    answer = run(
        "watch", "--json", "--quiet", "--from", "bench:tour-guide-deaf", "--line", "83.6M", *CLOCK,
        "--until", "2 drop-outs", "--seconds", 30,
    )  # fmt: skip
    result = result_of(answer)
    assert result["dropout_count"] == 2
    assert result["observed_s"] < 5.0
    assert answer.err == ""


def test_each_dropout_is_a_line_where_there_is_no_terminal(run: Run) -> None:
    answer = run(
        "watch", "--from", "bench:tour-guide-deaf", "--line", "83.6M", *CLOCK, "--until", 1
    )
    assert "gone for" in answer.err
    assert answer.err.count("\n") == 1


def test_the_bell_rings_when_the_line_goes(run: Run) -> None:
    words = ("watch", "--from", "bench:tour-guide-deaf", "--line", "83.6M", *CLOCK, "--until", 2)
    assert run(*words, "--bell").err.count("\a") == 2
    assert "\a" not in run(*words).err


def test_a_line_too_weak_for_the_resolution_is_undecided_and_told_which_would_do(
    run: Run, tmp_path: Path
) -> None:
    scene = tmp_path / "weak.toml"
    scene.write_text(SCENE.replace("-39", "-66").split("[emitters.hand]")[0])
    words = ("watch", "--from", f"bench:{scene}", "--line", "83.6M", "--ppm", 0, "--u-ppm", 1)
    answer = run(*words, "--seconds", 4)
    assert answer.code == 3
    assert "UNDECIDED: too weak to be followed with a resolution of 1 ms" in answer.out
    coarser = answer.out.split("--resolution ")[1].split(" ")[0]
    better = run(*words, "--seconds", 6, "--resolution", coarser)
    assert better.code == 0


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        ((), 2, "which line?"),
        (("--line", "83.6M", "--carrier", "72.9M"), 2, "do not go together"),
        (("--line", "85M"), 4, "nothing was recorded about"),
        (("--line", "83.6M", "--until", "never"), 2, "is not a count"),
        (("--line", "83.6M", "--resolution", "1us"), 2, "0.1ms and 1s"),
        (("--line", "83.6M", "--within", "0"), 2, "--within must be above zero"),
    ],
)
def test_words_that_are_off_are_one_line(
    run: Run, shipped: Path, words: tuple[str, ...], code: int, told: str
) -> None:
    answer = run("watch", "--from", shipped / "tour-guide-deaf.sigmf-meta", *words)
    assert answer.code == code
    assert told in answer.err
    assert answer.err.count("\n") == 1


def test_overload_is_a_caution(run: Run, shipped: Path) -> None:
    """The first telegram overdrives the converter (recordings/README.md)."""
    recording = shipped / "wmbus_t1_868.950M_1600k.sigmf-meta"
    answer = run("watch", "--from", recording, "--line", "868.96M", "--within", "30k")
    assert "overload" in answer.err


def test_a_line_on_the_centre_is_cautioned(run: Run, shipped: Path) -> None:
    recording = shipped / "ook_433.800M_1000k.sigmf-meta"
    answer = run("watch", "--from", recording, "--line", "433.8M", "--ppm", 0, "--u-ppm", 0.1)
    assert "lies on the centre" in answer.err


def test_until_reads_a_count() -> None:
    assert until("3 drop-outs") == until("3") == until(" 3 dropouts ") == 3
    assert until(None) is None
    with pytest.raises(UsageError, match="not a count"):
        until("0")


def test_keys_mark_label_and_end() -> None:
    marking = Marking()
    marking.take_in(" lT4 emit\x7f\x7fitter\n", now_s=1.0)
    marking.take_in(" ", now_s=2.5)
    assert [(mark.at_s, mark.label) for mark in marking.marks] == [(1.0, ""), (2.5, "T4 emitter")]
    assert not marking.ended
    marking.take_in("lq\x1bq", now_s=3.0)
    assert marking.label == "T4 emitter"
    assert marking.ended


def test_a_moment_is_told_to_the_millisecond() -> None:
    assert format_moment(1.3427) == "1.343 s"
    assert format_moment(7987.25) == "2:13:07.250"
