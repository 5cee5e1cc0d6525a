"""``sniff sweep``: the bench, its recording, the dongle's stand-in, and mistakes."""

import csv
import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from sigmf import sigmffile

from sniff.job.entries import FileKind
from sniff.job.folder import open_job
from tests.cli.conftest import Answer, Run
from tests.cli.test_bad_input import assert_one_line
from tests.cli.test_dongle_commands import on_dongle
from tests.standin.build import rtlsdr_library

__all__ = ["on_dongle", "rtlsdr_library"]

SCENE = """
title = "A receiver on 72.9 MHz among other things"
seed = 5
rate_hz = "2.4M"
center_hz = "85.3M"
gain_db = 40.2
[dongle]
error_ppm = 12.0
spur_dbfs = -58
noise_dbfs_per_hz = -105
[[emitters]]
name = "crystal and tripler"
oscillator_hz = 27866666.6667
off_ppm = 4.0
lines = [{ times = 3, level_dbfs = -38 }, { times = 2, level_dbfs = -60 }]
[[emitters]]
name = "house transmitter"
oscillator_hz = "72.9M"
off_ppm = -1.8
lines = [{ level_dbfs = -46 }]
[[emitters]]
name = "a switching supply, which no plan explains"
oscillator_hz = "61.234M"
lines = [{ level_dbfs = -50 }]
"""
SET = ("--carrier", "72.9M", "--if", "10.7M", "--side", "high", "--multiplier", "3")
CLOCK = ("--ppm", 12, "--u-ppm", 0.25)
TRUTH = {
    "LO": 83.6e6 * (1 + 4e-6),
    "crystal × 2": 83.6e6 * 2 / 3 * (1 + 4e-6),
    "carrier": 72.9e6 * (1 - 1.8e-6),
    None: 61.234e6,
    # A clock 12 ppm fast makes its own harmonic 12 ppm too high on the air.
    "2 × 28.8 MHz of the dongle's clock": 57.6e6 * (1 + 12e-6),
    "3 × 28.8 MHz of the dongle's clock": 86.4e6 * (1 + 12e-6),
}


@pytest.fixture
def scene(tmp_path: Path) -> Path:
    path = tmp_path / "set.toml"
    path.write_text(SCENE)
    return path


def names(data: dict[str, object]) -> dict[str | None, dict[str, object]]:
    """Lines that were seen twice, by their likeliest name."""
    peaks = data["result"]["peaks"]  # type: ignore[index]
    return {
        next((e["name"] for e in peak["explanations"] if e["likely"]), None): peak
        for peak in peaks
        if peak["stay"] == "refined"
    }


def test_every_line_of_the_bench_is_found_named_and_within_its_u(run: Run, scene: Path) -> None:
    answer = run(
        "sweep", "--from", f"bench:{scene}", "54M:88M", "--rbw", "5k", *SET, *CLOCK, "--json"
    )
    assert answer.code == 0
    data = json.loads(answer.out)
    assert data["schema"] == "sniff/1"
    assert data["command"] == "sweep"
    found = names(data)
    assert set(found) == set(TRUTH)
    for name, truth_hz in TRUTH.items():
        line = found[name]
        assert abs(line["frequency_hz"] - truth_hz) <= 2.0 * line["u_hz"], name
    result = data["result"]
    assert result["start_hz"] == pytest.approx(54e6, abs=5e3)
    assert result["stop_hz"] == pytest.approx(88e6, abs=5e3)
    assert result["rbw_hz"] == pytest.approx(5e3, rel=0.025)
    assert result["mixing_order"] == 5
    # The unexplained come first.
    assert result["peaks"][0]["explanations"] == []
    for peak in result["peaks"]:
        assert peak["stay"] in ("refined", "gone", "too-weak")


def test_the_text_puts_the_unexplained_first(run: Run, scene: Path) -> None:
    answer = run("sweep", "--from", f"bench:{scene}", "54M:88M", "--rbw", "5k", *SET, *CLOCK)
    assert answer.code == 0
    unexplained, explained = answer.out.split("Explained, mixing products up to order 5 tried:")
    assert "Unexplained:" in unexplained
    assert "61.23400" in unexplained
    assert explained.index("LO") < explained.index("carrier")


def test_without_a_plan_the_dongle_and_the_air_explain(run: Run, scene: Path) -> None:
    answer = run("sweep", "--from", f"bench:{scene}", "55M:64M", "--rbw", "5k", *CLOCK)
    lines, known = answer.out.split("Lines that may be known:")
    assert "61.23400" in lines
    assert "2 × 28.8 MHz of the dongle's clock" in known


def test_its_help_tells_its_own_time_at_a_hop_and_how_it_ends(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """40 spectra, 50 ms at least (`sniff.sweep.hops`); the other commands' 1 s was told before."""
    monkeypatch.setenv("COLUMNS", "80")
    text = run("sweep", "--help").out
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.split())
    assert "at each hop; a recording is read whole [default: 50 ms, or 40 spectra where" in words
    assert "1 s]" not in words
    assert "--order N" in words
    assert "--repeat N Passes over the span. [default: 1; 1<=x<=1000]" in words
    assert "Exit code 0: swept; 4: the source failed on the way; 130: Ctrl-C." in words


def test_a_recorded_sweep_is_swept_again_with_the_same_lines(
    run: Run, scene: Path, tmp_path: Path
) -> None:
    stem = tmp_path / "first"
    words = ("56.5M:64M", "--rbw", "5k", *CLOCK, "--json")
    live = run("sweep", "--from", f"bench:{scene}", *words, "--record", stem)
    assert live.code == 0
    # The sigmf package reads it: one capture per hop.
    recording = sigmffile.fromfile(f"{stem}.sigmf-meta")
    captures = recording.get_captures()
    hops = json.loads(live.out)["result"]["hops"]
    assert len(captures) == hops == len({capture["core:frequency"] for capture in captures})
    again = run("sweep", "--from", f"{stem}.sigmf-meta", *words)
    assert again.code == 0
    first, second = names(json.loads(live.out)), names(json.loads(again.out))
    assert set(first) == set(second) == {None, "2 × 28.8 MHz of the dongle's clock"}
    for name, line in first.items():
        other = second[name]
        apart_hz = abs(line["frequency_hz"] - other["frequency_hz"])
        # The clock is common to both; what is left is what noise makes.
        assert apart_hz <= 3.0 * np.hypot(line["u_indicated_hz"], other["u_indicated_hz"])
        assert other["level_dbfs"] == pytest.approx(line["level_dbfs"], abs=0.7)
    finer = run("sweep", "--from", f"{stem}.sigmf-meta", "56.5M:64M", "--rbw", "1k", *CLOCK)
    assert "61.23400" in finer.out


def test_of_a_recording_what_it_does_not_hold_is_told(
    run: Run, scene: Path, tmp_path: Path
) -> None:
    stem = tmp_path / "narrow"
    run("sweep", "--from", f"bench:{scene}", "55M:58M", *CLOCK, "--record", stem, "--quiet")
    recording = f"{stem}.sigmf-meta"
    wide = run("sweep", "--from", recording, "50M:70M", *CLOCK)
    assert wide.code == 0
    assert "the recording does not hold what lies below 54.9" in wide.err
    assert_one_line(run("sweep", "--from", recording, "80M:90M"), 4, "this recording holds, 54.9")


def test_a_recording_of_two_tunings_tells_holes_and_spikes(run: Run, tmp_path: Path) -> None:
    """Two captures 2 MHz apart at 1 MS/s: 0.8 MHz of each count, and neither sees the other."""
    rng = np.random.default_rng(2)
    noise = rng.normal(127.5, 10.0, 4 * 120_000).clip(0, 255).round().astype(np.uint8)
    (tmp_path / "two.sigmf-data").write_bytes(noise.tobytes())
    captures = [
        {"core:sample_start": 0, "core:frequency": 80e6},
        {"core:sample_start": 120_000, "core:frequency": 82e6},
    ]
    top = {"core:datatype": "cu8", "core:sample_rate": 1e6, "core:version": "1.2.0"}
    (tmp_path / "two.sigmf-meta").write_text(
        json.dumps({"global": top, "captures": captures, "annotations": []})
    )
    answer = run("sweep", "--from", tmp_path / "two.sigmf-meta", "79.7M:82.3M", *CLOCK, "--json")
    result = json.loads(answer.out)["result"]
    (hole,) = result["unobserved"]
    assert hole["low_hz"] == pytest.approx(80.4e6, abs=15e3)
    assert hole["high_hz"] == pytest.approx(81.6e6, abs=15e3)
    blind = result["interpolated"]
    middles = [(span["low_hz"] + span["high_hz"]) / 2.0 for span in blind]
    assert middles == pytest.approx([80e6, 82e6], abs=10e3)
    assert "not observed: 1.2 MHz about 81" in answer.err
    assert "would not be seen" in answer.err


def test_a_capture_too_short_for_the_rbw_is_passed_over_and_told(
    run: Run, scene: Path, tmp_path: Path
) -> None:
    stem = tmp_path / "cut"
    run("sweep", "--from", f"bench:{scene}", "60M:63M", *CLOCK, "--record", stem, "--quiet")
    data = (tmp_path / "cut.sigmf-data").read_bytes()
    (tmp_path / "cut.sigmf-data").write_bytes(data[: len(data) - 2 * (120_000 - 50)])
    answer = run("sweep", "--from", f"{stem}.sigmf-meta", "60M:63M", *CLOCK)
    assert answer.code == 0
    assert "1 of 3 hops passed over: 50 samples are too few" in answer.err
    assert "61.23400" in answer.out
    finer = run("sweep", "--from", f"{stem}.sigmf-meta", "60M:63M", "--rbw", "20", "--quiet")
    assert_one_line(finer, 2, "are too few for a resolution bandwidth of 20 Hz")


def test_a_capture_too_short_for_a_stay_leaves_its_line_as_it_was_seen(
    run: Run, tmp_path: Path
) -> None:
    """The line stands 50 kHz off the first centre, and 250 kHz off the second, which would suit a
    stay better and holds 60 samples."""
    tone = 50.0 * np.exp(2j * np.pi * 0.05 * np.arange(100_000)).astype(np.complex128)
    noise = np.random.default_rng(4).normal(127.5, 8.0, 2 * 100_060)
    noise[: 2 * tone.size] += tone.view(np.float64)
    (tmp_path / "cut.sigmf-data").write_bytes(noise.clip(0, 255).round().astype(np.uint8).tobytes())
    captures = [
        {"core:sample_start": 0, "core:frequency": 80e6},
        {"core:sample_start": 100_000, "core:frequency": 79.8e6},
    ]
    top = {"core:datatype": "cu8", "core:sample_rate": 1e6, "core:version": "1.2.0"}
    (tmp_path / "cut.sigmf-meta").write_text(
        json.dumps({"global": top, "captures": captures, "annotations": []})
    )
    answer = run("sweep", "--from", tmp_path / "cut.sigmf-meta", "79.7M:80.3M", *CLOCK, "--json")
    assert answer.code == 0, answer.err
    line = max(json.loads(answer.out)["result"]["peaks"], key=lambda peak: peak["level_dbfs"])
    # A clock 12 ppm fast reads 80 MHz 960 Hz too low.
    assert line["frequency_hz"] == pytest.approx(80.05e6 + 960.0, abs=10e3)
    assert line["stay"] == "none"
    assert "no line was looked at again" in answer.err


def test_raw_samples_of_one_tuning_are_swept_where_the_user_says(run: Run, tmp_path: Path) -> None:
    t = np.arange(200_000)
    tone = 40.0 * np.exp(2j * np.pi * 0.1203 * t)
    noise = np.random.default_rng(3).normal(0.0, 8.0, 2 * t.size)
    codes = (tone.astype(np.complex128).view(np.float64) + noise + 127.5).clip(0, 255)
    codes.round().astype(np.uint8).tofile(tmp_path / "one.cu8")
    answer = run(
        *("sweep", "--from", tmp_path / "one.cu8", "--rate", "1M", "--center", "80M"),
        *("79.7M:80.3M", "--ppm", 0, "--u-ppm", 0.1, "--json"),
    )
    (line,) = json.loads(answer.out)["result"]["peaks"]
    assert line["frequency_hz"] == pytest.approx(80_120_300.0, abs=1.0)
    assert "would not be seen" in answer.err


def test_the_table_holds_each_point_once_on_the_exact_grid(
    run: Run, scene: Path, tmp_path: Path
) -> None:
    path = tmp_path / "table.csv"
    answer = run(
        *("sweep", "--from", f"bench:{scene}", "60M:63M", "--ppm", 0, "--u-ppm", 1),
        *("--hold", "--csv", path, "--quiet"),
    )
    assert answer.code == 0
    with path.open() as file:
        rows = list(csv.DictReader(file))
    at_hz = np.array([float(row["indicated_hz"]) for row in rows])
    bin_hz = 2.4e6 / 360  # 10 kHz of a Hann window is 1.5 bins
    assert np.abs(at_hz / bin_hz - np.round(at_hz / bin_hz)).max() < 1e-6
    assert np.diff(at_hz) == pytest.approx(bin_hz, abs=2e-3)
    assert all(float(row["max_hold_dbfs"]) > float(row["mean_dbfs"]) for row in rows)
    top = max(rows, key=lambda row: float(row["mean_dbfs"]))
    # The bench's clock is 12 ppm fast: 61.234 MHz reads 735 Hz too low.
    assert float(top["frequency_hz"]) == pytest.approx(61.234e6 - 735.0, abs=bin_hz)


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["90M:80M"], 2, "lower end first"),
        (["80M:80M"], 2, "lower end first"),
        (["80M"], 2, "is not a span"),
        (["80M:90m"], 2, "is not a frequency"),
        (["80M:90M:95M"], 2, "is not a frequency"),
        (["nan:90M"], 2, "is not a frequency"),
        (["-5M:90M"], 2, "no such option"),
        (["1M:9M"], 4, "lies outside what it shows"),
        (["5G:6G"], 4, "lies outside what it shows"),
        (["80M:90M", "--rbw", "0"], 2, "above zero"),
        (["80M:90M", "--rbw", "-3k"], 2, "above zero"),
        (["80M:90M", "--rbw", "500k"], 2, "at most"),
        (["80M:90M", "--rbw", "60k"], 2, "at most 56 kHz"),
        (["80M:90M", "--rbw", "0.1"], 2, "at least"),
        (["30M:1.7G", "--rbw", "100"], 2, "2097152 can be held"),
        (["80M:90M", "--seconds", "0"], 2, "hears nothing"),
        (["80M:90M", "--seconds", "10us"], 2, "needs 0.15 ms"),
        (["80M:90M", "--stay", "10us"], 2, "--stay 0.01 ms at each line is too short"),
        (["80M:90M", "--plot", "x.gif"], 2, "x.gif"),
        (["80M:90M", "--plot", "none/x.png"], 4, "the folder none is not there"),
        (["80M:90M", "--csv", "none/x.csv"], 4, "the folder none is not there"),
        (["80M:90M", "--center", "85M"], 2, "--center does not go with a sweep"),
        (["80M:90M", "--start", "1"], 2, "--start does not go with a sweep"),
        (["80M:90M", "--repeat", "0"], 2, "--repeat"),
        (["80M:90M", "--order", "1"], 2, "--order"),
        (["80M:90M", "--if", "10.7M"], 2, "--carrier"),
        (["80M:90M", "--record", "/nowhere/at-all"], 4, "/nowhere"),
        (["80M:90M", "--record", "x.sigmf-meta"], 2, "without ending"),
        (["80M:90M", "--ppm", "3"], 2, "--u-ppm"),
    ],
)
def test_a_mistake_is_one_line(
    run: Run, scene: Path, words: list[str], code: int, says: str
) -> None:
    assert_one_line(run("sweep", "--from", f"bench:{scene}", *words), code, says)


@pytest.mark.parametrize("words", [["--repeat", "2"], ["--seconds", "1"], ["--gain", "20"]])
def test_what_a_recording_cannot_do_is_one_line(run: Run, shipped: Path, words: list[str]) -> None:
    recording = shipped / "nfm_voice_144.470M_280k.sigmf-meta"
    answer = run("sweep", "--from", recording, "144.4M:144.5M", "--rbw", "1k", *words)
    assert_one_line(answer, 2, words[0])


def test_what_a_job_files_of_a_sweep_is_its_recording_too(
    run: Run, scene: Path, tmp_path: Path
) -> None:
    job, stem = tmp_path / "job", tmp_path / "kept"
    assert run("job", "start", job, "--set", "one", "--fault", "deaf", *SET).code == 0
    words = ("sweep", "--job", job, "--quiet", *CLOCK)
    assert run(*words, "--from", f"bench:{scene}", "60M:61M", "--record", stem).code == 0
    assert run(*words, "--from", f"{stem}.sigmf-data", "60M:61M").code == 0
    with open_job(job).notebook() as notebook:
        filed = [reading.kept(FileKind.RECORDING) for reading in notebook.readings()]
    both = {"kept.sigmf-meta", "kept.sigmf-data"}
    assert [{file.name for file in files} for files in filed] == [both, both]


def test_a_recording_is_not_written_over_itself_or_another(
    run: Run, scene: Path, tmp_path: Path
) -> None:
    words = ("sweep", "--from", f"bench:{scene}", "60M:61M", "--record", tmp_path / "kept")
    assert run(*words, "--quiet").code == 0
    before = (tmp_path / "kept.sigmf-data").read_bytes()
    assert_one_line(run(*words), 2, "is there already")
    assert (tmp_path / "kept.sigmf-data").read_bytes() == before
    itself = ("--from", tmp_path / "kept.sigmf-meta", "60M:61M", "--record", tmp_path / "kept")
    assert_one_line(run("sweep", *itself, "--overwrite"), 2, "choose another name")
    assert run(*words, "--overwrite", "--quiet").code == 0


QUIET = {"noise_dbfs": -60, "pace": 1}
"""Noise over the converter's steps; and no faster than life, so that a busy machine keeps up."""
SWEPT = ("sweep", "--from", "dongle", "98M:103M", "--gain", 20.7)


def test_the_dongle_is_swept_and_its_tone_read_where_it_is(
    on_dongle: Callable[..., Answer],
) -> None:
    """The stand-in's crystal runs 30 ppm fast: uncorrected, 100.1 MHz reads 3,003 Hz too low."""
    answer = on_dongle(*SWEPT, "--json", "--ppm", 30, "--u-ppm", 0.01, ppm=30, **QUIET)
    assert answer.code == 0
    data = json.loads(answer.out)
    (line,) = (peak for peak in data["result"]["peaks"] if peak["stay"] == "refined")
    assert line["frequency_hz"] == pytest.approx(100.1e6, abs=3)
    assert line["indicated_hz"] == pytest.approx(100.1e6 - 3_003, abs=3)
    assert line["level_dbfs"] == pytest.approx(-40 + 20.7, abs=1.0)
    assert data["source"]["serial"] == "00000001"


def test_a_sweep_through_a_pad_is_recorded_as_received_and_read_as_it_was(
    on_dongle: Callable[..., Answer], run: Run, tmp_path: Path
) -> None:
    stem = tmp_path / "padded"
    ahead = ("--pad", "10dB", "--converter", "+20M")
    live = on_dongle(
        *("sweep", "--from", "dongle", "78M:83M", "--gain", 20.7, "--json", *ahead),
        *("--ppm", 0, "--u-ppm", 0.01, "--record", stem),
        **QUIET,
    )
    assert live.code == 0, live.err
    meta = json.loads((tmp_path / "padded.sigmf-meta").read_text())
    assert meta["global"]["core:datatype"] == "cu8"
    assert all(97e6 < capture["core:frequency"] < 104e6 for capture in meta["captures"])
    again = run(
        *("sweep", "--from", f"{stem}.sigmf-meta", "78M:83M", "--json", "--ppm", 0),
        *("--u-ppm", 0.01),
    )
    for answer in (live, again):
        (line,) = (
            peak for peak in json.loads(answer.out)["result"]["peaks"] if peak["stay"] == "refined"
        )
        assert line["frequency_hz"] == pytest.approx(80.1e6, abs=3)
        assert line["level_dbfs"] == pytest.approx(-40 + 20.7 + 10, abs=1.0)


def test_unplugged_in_the_middle_the_sweep_so_far_is_reported_and_kept(
    on_dongle: Callable[..., Answer], run: Run, tmp_path: Path
) -> None:
    stem = tmp_path / "part"
    answer = on_dongle(
        *("sweep", "--from", "dongle", "98M:170M", "--gain", 20.7, "--record", stem),
        unplug=14_000_000,  # 2.9 s, of which opening takes some; the whole sweep would take 6 s
        **QUIET,
    )
    assert answer.code == 4
    assert "cut short" in answer.err
    assert "not observed" in answer.err
    assert "100.1" in answer.out
    assert "100.1" in run("sweep", "--from", f"{stem}.sigmf-meta", "98M:102M").out


def test_where_the_synthesiser_does_not_lock_it_goes_on(on_dongle: Callable[..., Answer]) -> None:
    answer = on_dongle(*SWEPT, **QUIET, unlock_hz=101.5e6)
    assert answer.code == 0
    assert "passed over" in answer.err
    assert "not observed" in answer.err
    assert "100.1" in answer.out


def test_below_the_tuner_direct_sampling_is_named(on_dongle: Callable[..., Answer]) -> None:
    answer = on_dongle("sweep", "--from", "dongle", "1M:9M", "--gain", 20.7)
    assert answer.code == 4
    assert "--direct q" in answer.err
    assert len(answer.err.strip().splitlines()) == 1


def test_ctrl_c_ends_it_with_what_was_seen_and_recorded(scene: Path, tmp_path: Path) -> None:
    stem = tmp_path / "some"
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "sniff", "sweep", "--from", f"bench:{scene}", "40M:400M"),
            *("--rbw", "5k", "--record", str(stem)),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    deadline_s = time.monotonic() + 30.0
    while not any(
        path.stat().st_size > 2_000_000 for path in tmp_path.glob(".some.sigmf-data*.part")
    ):
        assert time.monotonic() < deadline_s
        assert process.poll() is None
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "Traceback" not in err
    assert "interrupted" in err
    assert "not observed" in err
    assert "40 MHz to 400 MHz" in out
    assert (tmp_path / "some.sigmf-meta").exists()
