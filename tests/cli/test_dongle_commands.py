"""The commands on a dongle: the real wrapper over the native stand-in, in a process of its own."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Answer
from tests.standin.build import SITE, rtlsdr_library

__all__ = ["rtlsdr_library"]

AT_100_MHZ = ("--from", "dongle", "--center", "100M", "--gain", "20.7", "--seconds", "0.3")


@pytest.fixture
def on_dongle(rtlsdr_library: Path) -> Callable[..., Answer]:
    """Run ``sniff WORDS`` with a dongle that hears a tone at 100.1 MHz; `answers` is typed in."""

    def call(*words: object, answers: str = "", **variables: object) -> Answer:
        stand_in = {"tone_hz": 100.1e6, "tone_dbfs": -40, "noise_dbfs": -75, "pace": 4, **variables}
        done = subprocess.run(
            [sys.executable, "-m", "sniff", *map(str, words)],
            env={
                **os.environ,
                "PYTHONPATH": str(SITE),
                "STANDIN_LIBRARY": str(rtlsdr_library),
                **{f"STANDIN_{name.upper()}": str(value) for name, value in stand_in.items()},
            },
            capture_output=True,
            input=answers,
            text=True,
            timeout=60,
            check=False,
        )
        assert "Traceback" not in done.stderr, done.stderr
        return Answer(done.returncode, done.stdout, done.stderr)

    return call


def test_devices_lists_what_is_there_and_the_cautions(on_dongle: Callable[..., Answer]) -> None:
    answer = on_dongle("devices", count=2, serials="00000007,00000008")
    assert answer.code == 0
    assert "00000007" in answer.out
    assert "R820T" in answer.out
    assert "0 to 49.6 dB in 29 steps" in answer.out
    assert "+10 dBm" in answer.out


def test_devices_says_why_there_is_none(on_dongle: Callable[..., Answer]) -> None:
    answer = on_dongle("devices", count=0)
    assert answer.code == 4
    assert "No dongle is seen" in answer.out


def test_a_look_reads_the_tone_where_it_is_by_the_clock_given(
    on_dongle: Callable[..., Answer],
) -> None:
    """The stand-in's crystal runs 30 ppm fast: uncorrected, 100.1 MHz reads 3,003 Hz too low."""
    answer = on_dongle("look", "--json", *AT_100_MHZ, "--ppm", 30, "--u-ppm", 0.01, ppm=30)
    assert answer.code == 0
    data = json.loads(answer.out)
    best = next(peak for peak in data["result"]["peaks"] if not peak["marks"])
    assert best["frequency_hz"] == pytest.approx(100.1e6, abs=3)
    assert best["indicated_hz"] == pytest.approx(100.1e6 - 3_003, abs=3)
    assert data["source"]["kind"] == "dongle"
    assert data["source"]["serial"] == "00000001"


def test_a_probe_tunes_so_that_the_line_is_off_the_centre(on_dongle: Callable[..., Answer]) -> None:
    answer = on_dongle(
        "probe",
        "--json",
        "--from",
        "dongle",
        "--gain",
        20.7,
        "--seconds",
        0.3,
        "--carrier",
        "100.1M",
        "--tolerance",
        "20ppm",
        "--ppm",
        0,
        "--u-ppm",
        0.1,
    )
    assert answer.code == 0
    (line,) = json.loads(answer.out)["result"]["lines"]
    assert line["state"] == "present"
    assert line["error_hz"] == pytest.approx(0, abs=3)


def test_an_unknown_tuner_widens_every_reading_by_its_step(
    on_dongle: Callable[..., Answer],
) -> None:
    known, unknown = (
        json.loads(
            on_dongle("look", "--json", *AT_100_MHZ, "--ppm", 0, "--u-ppm", 0, tuner=tuner).out
        )["result"]["peaks"][0]
        for tuner in ("r820t", "fc2580")
    )
    assert known["u_hz"] < 1.0
    assert unknown["u_hz"] > 10 * known["u_hz"]


@pytest.mark.parametrize(
    ("variables", "words"),
    [
        ({"count": 0}, "no dongle is seen"),
        ({"open": -3}, "may not use it"),
        ({"open": -6}, "another program"),
    ],
)
def test_a_dongle_that_cannot_be_opened_is_one_line(
    on_dongle: Callable[..., Answer], variables: dict[str, object], words: str
) -> None:
    answer = on_dongle("look", *AT_100_MHZ, **variables)
    assert answer.code == 4
    assert len(answer.err.strip().splitlines()) == 1
    assert words in answer.err


def test_unplugged_in_the_middle_the_measurement_so_far_is_reported(
    on_dongle: Callable[..., Answer],
) -> None:
    answer = on_dongle(
        "look",
        "--from",
        "dongle",
        "--center",
        "100M",
        "--gain",
        20.7,
        "--seconds",
        3,
        unplug=4_000_000,
    )
    assert answer.code == 4
    assert "cut short" in answer.err
    assert "100.1" in answer.out


def test_unplugged_between_tunings_the_board_so_far_is_reported(
    on_dongle: Callable[..., Answer],
) -> None:
    answer = on_dongle(
        "probe",
        "--json",
        "--from",
        "dongle",
        "--gain",
        20.7,
        "--seconds",
        1,
        "--carrier",
        "50.05M",
        "--multiplier",
        2,
        "--tolerance",
        "20ppm",
        "--ppm",
        0,
        "--u-ppm",
        0.1,
        unplug=8_000_000,
        pace=20,
    )
    assert answer.code == 4
    data = json.loads(answer.out)
    assert "cut-short" in [caution["code"] for caution in data["cautions"]]


def test_a_stalled_dongle_is_told_and_not_waited_for_for_ever(
    on_dongle: Callable[..., Answer],
) -> None:
    answer = on_dongle("look", *AT_100_MHZ, stall=200_000)
    assert answer.code == 4


@pytest.mark.parametrize("rate", ["500k", "5M", "100"])
def test_a_rate_the_chip_cannot_do_is_refused(on_dongle: Callable[..., Answer], rate: str) -> None:
    answer = on_dongle("look", "--from", "dongle", "--center", "100M", "--rate", rate)
    assert answer.code == 2
    assert len(answer.err.strip().splitlines()) == 1


def test_a_frequency_below_the_tuner_points_to_direct_sampling(
    on_dongle: Callable[..., Answer],
) -> None:
    answer = on_dongle("look", "--from", "dongle", "--center", "10.7M")
    assert answer.code == 4
    assert "direct" in answer.err


def test_direct_sampling_hears_the_if(on_dongle: Callable[..., Answer]) -> None:
    answer = on_dongle(
        "look",
        "--json",
        "--from",
        "dongle",
        "--direct",
        "q",
        "--center",
        "10.6M",
        "--seconds",
        0.3,
        "--ppm",
        0,
        "--u-ppm",
        0,
        tone_hz=10.7e6,
    )
    assert answer.code == 0
    peaks = [peak for peak in json.loads(answer.out)["result"]["peaks"] if not peak["marks"]]
    assert peaks[0]["frequency_hz"] == pytest.approx(10.7e6, abs=10)


def test_automatic_gain_is_cautioned(on_dongle: Callable[..., Answer]) -> None:
    answer = on_dongle(
        "look", "--from", "dongle", "--center", "100M", "--gain", "auto", "--seconds", 0.2
    )
    assert "cannot be compared" in answer.err


def test_the_bias_supply_is_cautioned(on_dongle: Callable[..., Answer]) -> None:
    answer = on_dongle("look", *AT_100_MHZ, "--bias")
    assert answer.code == 0
    assert "a loop of coax is a short" in answer.err


def test_the_users_defaults_are_taken_and_shown(
    on_dongle: Callable[..., Answer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "sniff").mkdir()
    (tmp_path / "sniff" / "defaults.toml").write_text(
        'dongle = "00000008"\ngain = 20.7\npad = "10dB"\nppm = 30\nu_ppm = 0.01\n'
    )
    shown = on_dongle("devices", count=2, serials="00000007,00000008")
    assert "pad = 10.0" in shown.out
    answer = on_dongle(
        "look",
        "--json",
        "--from",
        "dongle",
        "--center",
        "100M",
        "--seconds",
        0.3,
        count=2,
        serials="00000007,00000008",
        ppm=30,
    )
    data = json.loads(answer.out)
    assert data["source"]["serial"] == "00000008"
    assert data["source"]["pad_db"] == 10.0
    assert data["source"]["gain_db"] == 20.7
    best = next(peak for peak in data["result"]["peaks"] if not peak["marks"])
    assert best["frequency_hz"] == pytest.approx(100.1e6, abs=3)
    overridden = on_dongle(
        "look",
        "--json",
        *AT_100_MHZ,
        "--pad",
        "0",
        "--ppm",
        0,
        "--u-ppm",
        1,
        count=2,
        serials="00000007,00000008",
        ppm=30,
    )
    assert json.loads(overridden.out)["source"]["pad_db"] == 0.0


def test_a_mistake_in_the_defaults_names_its_line(
    on_dongle: Callable[..., Answer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "sniff").mkdir()
    (tmp_path / "sniff" / "defaults.toml").write_text('gain = 20\npadd = "10dB"\n')
    answer = on_dongle("look", *AT_100_MHZ)
    assert answer.code == 4
    assert "line 2" in answer.err
