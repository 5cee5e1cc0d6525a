"""``sniff calibrate``: planted clock errors recovered, kept, and applied by themselves."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Answer, Run
from tests.cli.test_dongle_commands import on_dongle
from tests.standin.build import rtlsdr_library

__all__ = ["on_dongle", "rtlsdr_library"]

SCENE = """
title = "two references"
seed = {seed}
rate_hz = "2.4M"
center_hz = "100M"
gain_db = 33.8
[dongle]
error_ppm = {ppm}
[[emitters]]
name = "reference"
oscillator_hz = "100.3M"
off_ppm = {off}
lines = [{{ level_dbfs = -40 }}]
[[emitters]]
name = "set"
oscillator_hz = "270.9M"
lines = [{{ level_dbfs = -40 }}]
"""


@pytest.fixture(autouse=True)
def own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


def test_a_planted_clock_error_is_found_kept_and_applied(run: Run) -> None:
    """Truth of the scene: 50.3 ppm when switched on; 97.7, 98.2 and 99.1 MHz exact."""
    words = ("--reference", "97.7M", "--reference", "98.2M", "--reference", "99.1M")
    answer = run(
        "calibrate",
        "--json",
        "--from",
        "bench:room",
        *words,
        "--accuracy",
        "0.1ppm",
        "--save",
        "mine",
    )
    assert answer.code == 0
    result = json.loads(answer.out)["result"]
    assert result["ppm"] == pytest.approx(50.3, abs=0.15)
    assert result["u_ppm"] == pytest.approx(0.0577, abs=0.001)
    assert [line["used"] for line in result["references"]] == [True] * 3
    looked = run("look", "--json", "--from", "bench:room", "--clock", "mine")
    best = json.loads(looked.out)["result"]["peaks"][0]
    assert best["frequency_hz"] == pytest.approx(99.1e6, abs=2 * best["u_hz"])
    # Two ppm of warmth, rectangular, are added to what the references leave.
    assert best["u_hz"] == pytest.approx(99.1 * np.hypot(0.0577, 2 / 3**0.5), rel=0.01)
    assert "mine" in run("calibrate", "list").out


def test_a_set_far_from_the_reference_is_right_to_0_15_ppm(run: Run, tmp_path: Path) -> None:
    """The reference within 0.1 ppm, the set at 2.7 times its frequency; thirty random benches.
    ±U of the set's reading covers the truth."""
    rng = np.random.default_rng(1)
    right = 0
    for seed in range(30):
        ppm, off = rng.uniform(-60, 60), rng.uniform(-0.1, 0.1)
        scene = tmp_path / "scene.toml"
        scene.write_text(SCENE.format(seed=seed + 1, ppm=round(ppm, 3), off=round(off, 4)))
        source = f"bench:{scene}"
        run(
            "calibrate",
            "--quiet",
            "--from",
            source,
            "--reference",
            "100.3M",
            "--accuracy",
            "0.1ppm",
            "--save",
            "c",
            "--temperature",
            25,
            "--seconds",
            0.2,
        )
        looked = run(
            "look",
            "--json",
            "--from",
            source,
            "--center",
            "270.8M",
            "--clock",
            "c",
            "--temperature",
            25,
            "--seconds",
            0.2,
        )
        peaks = json.loads(looked.out)["result"]["peaks"]
        line = min(peaks, key=lambda peak: abs(peak["frequency_hz"] - 270.9e6))
        error_hz = line["frequency_hz"] - 270.9e6
        assert abs(error_hz) < 0.15e-6 * 270.9e6
        right += abs(error_hz) <= 2 * line["u_hz"]
    assert right >= 28


def test_a_dongles_own_profile_is_applied_by_itself(
    on_dongle: Callable[..., Answer],
) -> None:
    made = on_dongle(
        "calibrate",
        "--json",
        "--from",
        "dongle",
        "--gain",
        20.7,
        "--seconds",
        0.3,
        "--reference",
        "100.1M",
        "--accuracy",
        "0.1ppm",
        ppm=30,
    )
    assert made.code == 0
    assert json.loads(made.out)["result"]["ppm"] == pytest.approx(30, abs=0.05)
    looked = on_dongle(
        "look",
        "--json",
        "--from",
        "dongle",
        "--center",
        "100M",
        "--gain",
        20.7,
        "--seconds",
        0.3,
        ppm=30,
    )
    data = json.loads(looked.out)
    assert "calibrated" in data["clock"]["origin"]
    # Most dongles bear this serial number from the factory.
    assert "common-serial" in [caution["code"] for caution in data["cautions"]]
    best = next(peak for peak in data["result"]["peaks"] if not peak["marks"])
    assert best["frequency_hz"] == pytest.approx(100.1e6, abs=5)
    other = on_dongle(
        "look",
        "--json",
        "--from",
        "dongle",
        "--center",
        "100M",
        "--gain",
        20.7,
        "--seconds",
        0.3,
        serials="00000099",
    )
    assert "not calibrated" in json.loads(other.out)["clock"]["origin"]


def test_a_modulated_carrier_gives_its_mean_with_the_reference_s_wide_doubt(
    run: Run, tmp_path: Path
) -> None:
    scene = tmp_path / "fm.toml"
    scene.write_text(
        SCENE.format(seed=3, ppm=-20, off=0).replace(
            "-40 }]\n[[emitters]]",
            '-20 }]\n[emitters.modulation]\nspeech_deviation_hz = "30k"\n[[emitters]]',
        )
    )
    answer = run(
        "calibrate",
        "--json",
        "--from",
        f"bench:{scene}",
        "--reference",
        "fm:100.3M",
        "--seconds",
        3,
        "--no-save",
    )
    assert answer.code == 0
    result = json.loads(answer.out)["result"]
    assert result["u_ppm"] == pytest.approx(2000 / 3**0.5 / 100.3, rel=0.02)
    assert result["ppm"] == pytest.approx(-20, abs=2.0)


def test_a_weak_modulated_carrier_is_refused(run: Run) -> None:
    answer = run("calibrate", "--from", "bench:room", "--reference", "fm:98.2M")
    assert answer.code == 4
    assert "too weak" in answer.err


def test_two_lines_that_could_be_the_reference_are_both_named(run: Run, tmp_path: Path) -> None:
    scene = tmp_path / "two.toml"
    scene.write_text(SCENE.format(seed=4, ppm=0, off=0).replace("270.9M", "100.305M"))
    answer = run(
        "calibrate", "--from", f"bench:{scene}", "--reference", "100.3M", "--accuracy", "0.1ppm"
    )
    assert answer.code == 4
    assert "two lines could be it" in answer.err
    assert len(answer.err.strip().splitlines()) == 1


def test_a_reference_that_cannot_serve_is_refused_with_the_sum(run: Run) -> None:
    answer = run("calibrate", "--from", "bench:room", "--reference", "fm:98.2M", "--for", "20ppm")
    assert answer.code == 2
    assert "±20 ppm" in answer.err
    assert "U = 24 ppm" in answer.err


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((), 2, "--from"),
        (("--from", "bench:room"), 2, "--reference"),
        (("--from", "bench:room", "--reference", "98.2M"), 2, "--accuracy"),
        (("--from", "bench:room", "--reference", "moon:98.2M"), 2, "weather"),
        (("--from", "bench:room", "--reference", "120M", "--accuracy", "1ppm"), 4, "nothing"),
        (("--from", "bench:room", "--reference", "5M", "--accuracy", "1ppm"), 4, "outside"),
        (
            (
                "--from",
                "bench:room",
                "--reference",
                "98.2M",
                "--accuracy",
                "1ppm",
                "--converter",
                "1M",
            ),
            2,
            "converter",
        ),
        (("show", "nobody"), 4, "nobody"),
        (("forget", "nobody"), 4, "nobody"),
        (("import", "/nowhere.json"), 4, "cannot be read"),
    ],
)
def test_mistakes_are_one_line(run: Run, words: tuple[str, ...], code: int, said: str) -> None:
    answer = run("calibrate", *words)
    assert answer.code == code, answer
    assert said in answer.err
    assert len(answer.err.strip().splitlines()) == 1


def test_a_clock_that_is_not_there_and_one_beside_ppm(run: Run) -> None:
    unknown = run("look", "--from", "bench:room", "--clock", "nobody")
    assert unknown.code == 2
    assert "nobody" in unknown.err
    both = run("look", "--from", "bench:room", "--clock", "x", "--ppm", 1, "--u-ppm", 1)
    assert both.code == 2


def test_a_clock_goes_out_and_comes_back(run: Run, tmp_path: Path) -> None:
    run(
        "calibrate",
        "--quiet",
        "--from",
        "bench:room",
        "--reference",
        "99.1M",
        "--accuracy",
        "1ppm",
        "--save",
        "a",
    )
    assert run("calibrate", "export", "a", tmp_path / "a.json").code == 0
    assert run("calibrate", "forget", "a").code == 0
    assert "No clock" in run("calibrate", "list").out
    assert run("calibrate", "import", tmp_path / "a.json", "--as", "b").code == 0
    assert "50" in run("calibrate", "show", "b").out


def test_an_old_clock_is_a_caution(run: Run, tmp_path: Path) -> None:
    run(
        "calibrate",
        "--quiet",
        "--from",
        "bench:room",
        "--reference",
        "99.1M",
        "--accuracy",
        "1ppm",
        "--save",
        "a",
    )
    (path,) = (tmp_path / "data").rglob("a.json")
    path.write_text(path.read_text().replace("2026-", "2020-").replace("2027-", "2020-"))
    answer = run("look", "--json", "--from", "bench:room", "--clock", "a")
    data = json.loads(answer.out)
    assert "old-clock" in [caution["code"] for caution in data["cautions"]]
    assert data["clock"]["u_ppm"] > 3.0
