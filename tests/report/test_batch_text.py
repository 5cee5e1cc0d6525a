"""A batch's text: the worst first, long lists cut with what is left out, numbers as planted."""

import re

import pytest

from sniff.batch.nouns import Answer
from sniff.batch.summary import summarised
from sniff.batch.table import flattened
from sniff.report.batch_text import print_batch
from sniff.report.file_names import common_folder, within
from tests.batch.told import answer, carrier, look, unread, watch


def _printed(capsys: pytest.CaptureFixture[str], question: str, answers: list[Answer]) -> list[str]:
    print_batch(summarised(flattened(answers), question=question))
    return capsys.readouterr().out.splitlines()


def test_the_worst_come_first_and_all_are_summed_up(capsys: pytest.CaptureFixture[str]) -> None:
    errors = [-1.5, -1.1, -0.8, -0.4, -0.1, 0.2, 0.5, 0.7, 1.0, 1.6]
    answers = [answer(n, carrier(error)) for n, error in enumerate(errors)]
    answers += [
        answer(10, carrier(25.0, verdict="fail"), exit_code=1),
        answer(11, carrier(-41.0, verdict="fail"), exit_code=1),
        answer(12, carrier(None, verdict="undecided"), exit_code=3),
        unread(13, "cut short; record it again"),
    ]
    lines = _printed(capsys, "carrier", answers)
    assert lines[0] == "sniff carrier, asked of 14 recordings; those named lie in fleet/."
    at = lines.index("Failed, worst first:")
    assert lines[at + 2].split() == ["set-011.sigmf-meta", "fail", "-41.0", "ppm", "off"]
    assert lines[at + 3].startswith("set-010.sigmf-meta")
    at = lines.index("Undecided:")
    assert lines[at + 2].split()[:2] == ["set-012.sigmf-meta", "undecided"]
    assert lines[at + 2].endswith("no carrier there")
    at = lines.index("Unlike the others, whatever their verdict, farthest out first:")
    assert "set-011.sigmf-meta  carrier's error: −41.00 ppm, 41 ppm below the" in lines[at + 2]
    assert lines[at + 4].startswith("By modified z score beyond ±3.5")
    at = lines.index("Not read:")
    assert lines[at + 2] == "set-013.sigmf-meta  cut short; record it again"
    assert lines[-1] == ("Of 14 recordings 2 failed, 1 undecided, 1 not read, 10 as expected.")


def test_a_long_list_is_cut_and_says_how_much_is_left_out(
    capsys: pytest.CaptureFixture[str],
) -> None:
    answers = [answer(n, carrier(30.0 + n, verdict="fail"), exit_code=1) for n in range(230)]
    lines = _printed(capsys, "carrier", [*answers, *(unread(n) for n in range(230, 260))])
    assert "and 210 more; summary.json lists all" in lines
    assert "and 22 more; summary.json lists all" in lines
    assert len(lines) < 60
    assert lines[-1] == "Of 260 recordings 230 failed, 30 not read."


def test_a_question_without_verdicts_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    answers = [answer(n, look(-98.0, (72.9e6, -35.0, ""))) for n in range(8)]
    lines = _printed(capsys, "look", answers)
    assert not any("verdict" in line for line in lines)
    assert any(line.split()[:3] == ["strongest", "line", "8"] for line in lines)
    assert lines[-1] == "All 8 measured, not judged."


def test_rates_are_told_by_their_own_rule(capsys: pytest.CaptureFixture[str]) -> None:
    answers = [answer(n, watch(0, 2.0)) for n in range(20)]
    answers[4] = answer(4, watch(30, 2.0), exit_code=1, source="fleet/[bold]odd.wav")
    lines = _printed(capsys, "watch", answers)
    named = next(line for line in lines if "15 per hour" in line or "the other 19" in line)
    assert "odd.wav" in named
    assert "gone 30 times in 2 h; the other 19 together never" in named
    assert any("Przyborowski and Wilenski" in line for line in lines)
    assert not any("Iglewicz" in line for line in lines)
    assert any(line.startswith("fleet/[bold]odd.wav") for line in lines)


def test_one_recording_is_told_as_one(capsys: pytest.CaptureFixture[str]) -> None:
    lines = _printed(capsys, "carrier", [answer(0, carrier(1.0))])
    assert lines[0] == "sniff carrier, asked of 1 recording."
    assert lines[-1] == "1 as expected."


def test_on_a_terminal_failures_are_in_red_and_nothing_is_wider_than_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    answers = [answer(n, carrier(0.1 * n)) for n in range(10)]
    answers.append(answer(10, carrier(-41.0, verdict="fail"), exit_code=1))
    lines = _printed(capsys, "carrier", answers)
    assert any("\x1b[1;31mfail" in line for line in lines)
    bare = [re.sub(r"\x1b\[[0-9;]*m", "", line) for line in lines]
    assert max(len(line) for line in bare) <= 80


def test_a_narrow_terminal_cuts_no_number_and_no_name(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    names = [f"fleet/{'long' * 20}-{number}.wav" for number in range(10)]
    answers = [
        answer(n, carrier(0.5 * n, verdict="fail"), exit_code=1, source=name)
        for n, name in enumerate(names)
    ]
    lines = [re.sub(r"\x1b\[[0-9;]*m", "", x) for x in _printed(capsys, "carrier", answers)]
    assert max(len(line.rstrip()) for line in lines) <= 50
    assert not any("…" in line for line in lines)
    whole = " ".join(" ".join(lines).split())
    assert (
        "carrier's error of 10: median +2.25 ppm, scatter ± 1.9 ppm, lowest +0.00 ppm, highest "
        "+4.50 ppm"
    ) in whole


def test_one_figure_alone_has_no_scatter(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        summarised(flattened([answer(0, carrier(1.0))]), question="carrier").fleets[0].spread
        is None
    )
    lines = _printed(capsys, "carrier", [answer(0, carrier(1.0))])
    assert any(
        line.split()[:6] == ["carrier's", "error", "1", "+1.00", "ppm", "–"] for line in lines
    )


def test_a_name_with_signs_for_the_terminal_is_shown_by_their_escapes(
    capsys: pytest.CaptureFixture[str],
) -> None:
    source = "fleet/a\x1b[31m\nb µ.wav"
    lines = _printed(capsys, "carrier", [answer(0, carrier(None, verdict="fail"), source=source)])
    assert any(line.startswith("fleet/a\\x1b[31m\\nb µ.wav  fail") for line in lines)


@pytest.mark.parametrize(
    ("files", "folder"),
    [
        (["a/b/1.wav", "a/b/2.wav"], "a/b/"),
        (["a/b/1.wav", "a/bc/2.wav"], "a/"),
        (["/x/1.wav", "/y/2.wav"], "/"),
        (["1.wav", "a/2.wav"], ""),
        (["a/1.wav", "/a/2.wav"], ""),
        (["../a/1.wav", "../a/b/2.wav"], "../a/"),
        ([], ""),
    ],
)
def test_the_folder_of_all_is_found(files: list[str], folder: str) -> None:
    assert common_folder(files) == folder
    for file in files:
        assert f"{folder}{within(folder, file)}" == file
