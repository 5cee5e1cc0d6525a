"""``sniff watch --soak``: begun, gone on with, told of; on the bench and on the dongle."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Answer, Run
from tests.cli.test_dongle_commands import on_dongle
from tests.soak.soaking import PERIOD_S, scene
from tests.standin.build import rtlsdr_library

__all__ = ["on_dongle", "rtlsdr_library"]

CLOCK = ("--ppm", 0, "--u-ppm", 0.5)
LINE = ("--line", "83.6M")


@pytest.fixture
def bench(tmp_path: Path) -> str:
    path = tmp_path / "scene.toml"
    path.write_text(scene())
    return f"bench:{path}"


def result_of(answer: Answer) -> dict[str, Any]:
    result: dict[str, Any] = json.loads(answer.out)["result"]
    return result


def test_a_soak_is_begun_and_gone_on_with_and_told_of(run: Run, bench: str, tmp_path: Path) -> None:
    folder = tmp_path / "soak"
    words = ("watch", "--from", bench, *LINE, *CLOCK, "--seconds", 5, "--soak", folder, "--quiet")
    first = run(*words)
    assert first.code == 1
    assert "16 drop-outs in" in first.out
    assert "INTERMITTENT: gone 16 times in 5 s of watching." in first.out
    run(*words)
    told = run("watch", "--soak", folder, "--json", "--plot", tmp_path / "soak.svg")
    assert (tmp_path / "soak.svg").read_text().startswith("<?xml")
    result = result_of(told)
    assert told.code == 1
    assert (result["runs"], result["dropout_count"]) == (2, 2 * int(5 / PERIOD_S))
    assert result["observed_s"] == pytest.approx(10.0, abs=1e-3)
    assert result["rate_per_hour"]["confidence"] == 0.95
    assert result["kinds"] == {"break": 32}


def test_a_line_on_the_centre_is_cautioned(run: Run, bench: str, tmp_path: Path) -> None:
    """The receiver's own line stands there and never goes, for as many nights as one likes."""
    words = ("watch", "--from", bench, *LINE, *CLOCK, "--center", "83.6M", "--seconds", 1)
    assert "the line lies on the centre" in run(*words, "--soak", tmp_path / "soak").err


def test_its_samples_are_the_receivers_own_whatever_lies_ahead(
    run: Run, bench: str, tmp_path: Path
) -> None:
    """The scene's line, -40 dBFS at the receiver, stands 20 dB higher ahead of a pad of 20 dB."""
    folder = tmp_path / "soak"
    words = ("watch", "--from", bench, *LINE, *CLOCK, "--seconds", 2, "--pad", "20dB", "--quiet")
    run(*words, "--soak", folder)
    first = min(folder.glob("*.sigmf-meta"))
    told = json.loads(first.read_text())["global"]
    assert (told["core:datatype"], told["sniff:pad_db"]) == ("cu8", 20.0)
    peaks = result_of(run("look", "--from", first, *CLOCK, "--json"))["peaks"]
    line = min(peaks, key=lambda peak: abs(peak["frequency_hz"] - 83.6e6))
    assert line["level_dbfs"] == pytest.approx(-20.0, abs=1.5)


def test_a_soak_after_the_repair_is_judged_against_the_one_before(
    run: Run, bench: str, tmp_path: Path, shipped: Path
) -> None:
    soak = ("watch", *LINE, *CLOCK, "--quiet", "--seconds", 5)
    run(*soak, "--from", bench, "--soak", tmp_path / "before")
    mended = shipped / "tour-guide-mended.sigmf-meta"
    after = run(
        "watch", *LINE, "--ppm", 28.8, "--u-ppm", 0.3, "--quiet", "--json", "--from", mended,
        "--soak", tmp_path / "after", "--before", tmp_path / "before",
    )  # fmt: skip
    result = result_of(after)
    assert after.code == 0
    # 16 in 4.7 s there before, none in 2.5 s after: p >= 0.05**(1/16), odds 4.86, times 0.53.
    assert result["against_before"]["change"] == "better"
    assert result["against_before"]["at_least_times"] == pytest.approx(2.6, abs=0.2)
    counted = run("watch", "--soak", tmp_path / "after", "--before", "16/4.7s")
    assert "The repair helped: with 95 % confidence it drops out at least 2." in counted.out


def test_it_is_not_gone_on_with_on_another_line(run: Run, bench: str, tmp_path: Path) -> None:
    words = ("watch", "--from", bench, *CLOCK, "--seconds", 1, "--soak", tmp_path / "s", "--quiet")
    run(*words, *LINE)
    answer = run(*words, "--line", "83.61M")
    assert answer.code == 2
    assert "holds a soak of 83.6 MHz" in answer.err
    assert answer.err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--soak", "nowhere"), "holds no soak"),
        (("--soak", "nowhere", "--line", "83.6M"), "--line needs --from"),
        (("--before", "3/2", "--from", "bench:room", "--line", "83.6M"), "goes with --soak"),
        (("--soak", "s", "--before", "many"), "many: holds no soak"),
        (("--soak", "s", "--before", "3/0"), "nothing was observed then"),
        (("--soak", "s", "--before", "3/x"), "not a duration"),
        (("--soak", "s", "--taps", "keys", "--from", "bench:room"), "do not go together"),
        (("--soak", "s", "--from", "bench:room", "--line", "1M", "--resolution", "2"), "0.1ms and"),
        ((), "which source?"),
    ],
)
def test_words_that_are_off_are_told_in_one_line(
    run: Run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    says: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    answer = run("watch", *words)
    assert answer.code in (2, 4)
    assert says in answer.err
    assert answer.err.count("\n") == 1


def test_a_text_that_looks_like_sql_is_a_text(run: Run, bench: str, tmp_path: Path) -> None:
    folder = tmp_path / "x'); DROP TABLE run; --"
    words = ("watch", "--from", bench, *LINE, *CLOCK, "--seconds", 1, "--soak", folder, "--quiet")
    assert run(*words).code == run(*words).code == 1
    assert result_of(run("watch", "--soak", folder, "--json"))["runs"] == 2


def test_recordings_of_drop_outs_can_be_watched_again(run: Run, bench: str, tmp_path: Path) -> None:
    folder = tmp_path / "soak"
    run(
        "watch", "--from", bench, *LINE, *CLOCK, "--seconds", 5, "--soak", folder, "--quiet",
        "--keep", "1MB",
    )  # fmt: skip
    recordings = sorted(folder.glob("*.sigmf-meta"))
    again = run("watch", "--from", recordings[0], *LINE, *CLOCK, "--json", "--quiet")
    assert again.code == 1
    assert {d["kind"] for d in result_of(again)["dropouts"]} <= {"break", None}
    assert sum(path.stat().st_size for path in folder.glob("*.sigmf-data")) < 1_200_000


def test_a_dongle_that_is_unplugged_and_comes_back_leaves_a_gap(
    on_dongle: Callable[..., Answer], tmp_path: Path
) -> None:
    answer = on_dongle(
        "watch", "--from", "dongle", "--line", "100.1M", "--rate", "250k", "--gain", 20.7,
        "--ppm", 0, "--u-ppm", 1, "--seconds", 5, "--soak", tmp_path / "soak", "--json",
        pace=1, unplug=2 * 250_000 * 2, **{"return": 1.2},
    )  # fmt: skip
    result = result_of(answer)
    assert answer.code == 0, answer.err
    assert result["verdict"] == "steady"
    assert result["dropout_count"] == 0
    # Away for 1.2 s, and a little more to be opened and to settle.
    assert 1.0 < result["unobserved_s"] < 3.0
    assert len(result["gaps"]) == 1
    assert result["observed_s"] + result["unobserved_s"] == pytest.approx(5.0, abs=0.1)
