"""``sniff record``: to the bit, around events, and whole whatever ends it."""

import json
import os
import resource
import signal
import subprocess
import sys
import tarfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from sigmf import sigmffile

from sniff.sources.opening import open_source
from tests.cli.conftest import Answer, Run
from tests.cli.test_dongle_commands import on_dongle
from tests.sources.recording.files import metadata, random_bytes, write_pair
from tests.standin.build import SITE, rtlsdr_library

__all__ = ["on_dongle", "rtlsdr_library"]


def samples_of(path: Path) -> np.ndarray:
    source = open_source(str(path))
    try:
        return np.concatenate([part.samples for part in source.stream(seconds=None)])
    finally:
        source.close()


def test_a_recording_is_the_bench_to_the_bit(run: Run, tmp_path: Path) -> None:
    answer = run(
        "record", "--json", "--from", "bench:room", "--seconds", 0.5, "--out", tmp_path / "room"
    )
    assert answer.code == 0
    result = json.loads(answer.out)["result"]
    bench = open_source("bench:room")
    played = np.concatenate([part.samples for part in bench.stream(seconds=0.5)])
    bench.close()
    assert np.array_equal(samples_of(tmp_path / "room.sigmf-meta"), played)
    assert result["samples"] == played.size
    assert result["bytes"] == 2 * played.size == (tmp_path / "room.sigmf-data").stat().st_size


def test_the_sigmf_package_validates_it_and_its_hash(run: Run, tmp_path: Path) -> None:
    run("record", "--from", "bench:room", "--seconds", 0.3, "--out", tmp_path / "r")
    handle = sigmffile.fromfile(str(tmp_path / "r.sigmf-meta"))
    handle.validate()
    assert handle.calculate_hash() == handle.get_global_field("core:sha512")
    assert handle.get_global_field("sniff:clock_u_ppm") == pytest.approx(57.735, abs=0.001)
    assert "sniff:unfinished" not in handle.get_global_info()


def test_what_came_before_a_drop_out_is_in_the_recording(run: Run, tmp_path: Path) -> None:
    answer = run(
        "record",
        "--json",
        "--from",
        "bench:tour-guide-deaf",
        "--seconds",
        20,
        "--out",
        tmp_path / "d",
        "--when",
        "absent",
        "--line",
        "83.6M",
        "--ppm",
        28.7,
        "--u-ppm",
        1,
        "--pre",
        "300ms",
        "--post",
        "200ms",
    )
    assert answer.code == 0
    data = json.loads(answer.out)
    (event,) = data["result"]["events"]
    assert data["result"]["stopped"] == "events"
    metadata = json.loads((tmp_path / "d.sigmf-meta").read_text())
    line, mark = metadata["annotations"]
    assert line["core:label"] == "line watched"
    assert line["core:freq_lower_edge"] < 83.6e6 / (1 + 28.7e-6) < line["core:freq_upper_edge"]
    rate_hz = metadata["global"]["core:sample_rate"]
    first = metadata["captures"][0]["core:global_index"]
    assert (first + mark["core:sample_start"]) / rate_hz == pytest.approx(event["at_s"], abs=1e-3)
    assert mark["core:sample_start"] / rate_hz >= 0.3
    # Before the mark the line is there, after it it is not.
    samples = samples_of(tmp_path / "d.sigmf-meta")
    center_hz = metadata["captures"][0]["core:frequency"]
    line = samples * np.exp(-2j * np.pi * (83.6e6 - center_hz) / rate_hz * np.arange(samples.size))
    at, stretch = mark["core:sample_start"], round(0.02 * rate_hz)
    near = np.abs(np.fft.fftfreq(stretch, 1 / rate_hz)) < 10e3
    power = [
        float(np.abs(np.fft.fft(line[a : a + stretch]))[near].max() / stretch)
        for a in (at - 3 * stretch, at + stretch // 4)
    ]
    assert power[0] > 5 * power[1]


def test_nothing_is_recorded_when_nothing_happens(run: Run, tmp_path: Path) -> None:
    answer = run(
        "record",
        "--from",
        "bench:tour-guide-mended",
        "--seconds",
        1,
        "--out",
        tmp_path / "n",
        "--when",
        "absent",
        "--line",
        "83.6M",
        "--ppm",
        28.7,
        "--u-ppm",
        1,
    )
    assert answer.code == 3
    assert "Nothing was recorded" in answer.out
    assert list(tmp_path.iterdir()) == []


def test_the_size_is_kept(run: Run, tmp_path: Path) -> None:
    answer = run(
        "record", "--json", "--from", "bench:room", "--max-size", "2MB", "--out", tmp_path / "s"
    )
    result = json.loads(answer.out)["result"]
    assert result["stopped"] == "max-size"
    assert result["bytes"] == 2_000_000 == (tmp_path / "s.sigmf-data").stat().st_size


def test_a_recording_is_not_overwritten_unless_asked(run: Run, tmp_path: Path) -> None:
    words = ("record", "--quiet", "--from", "bench:room", "--seconds", 0.1, "--out", tmp_path / "o")
    assert run(*words).code == 0
    again = run(*words)
    assert again.code == 2
    assert "--overwrite" in again.err
    assert run(*words, "--overwrite").code == 0


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--when", "absent"), 2),
        (("--line", "83.6M"), 2),
        (("--when", "level", "--line", "83.6M"), 2),
        (("--when", "absent", "--line", "99M"), 2),
        (("--when", "absent", "--line", "83.5M", "--ppm", 0, "--u-ppm", 0), 2),
        (("--max-size", "little"), 2),
    ],
)
def test_words_that_do_not_go_together(
    run: Run, tmp_path: Path, words: tuple[object, ...], code: int
) -> None:
    answer = run("record", "--from", "bench:tour-guide-deaf", "--out", tmp_path / "x", *words)
    assert answer.code == code
    assert len(answer.err.strip().splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there(run: Run, tmp_path: Path) -> None:
    answer = run("record", "--from", "bench:room", "--out", tmp_path / "no" / "x")
    assert answer.code == 4
    assert len(answer.err.strip().splitlines()) == 1


def recorded_on_a_full_disk(out: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """In a process that may write no file beyond 3 MB."""

    def little_room() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (3_000_000, 3_000_000))

    source = ("--from", "bench:room", "--seconds", "5")
    done = subprocess.run(
        [sys.executable, "-m", "sniff", "record", *source, "--out", str(out), *words],
        preexec_fn=little_room,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 4
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr
    return done


def test_a_full_disk_keeps_what_was_written(tmp_path: Path) -> None:
    recorded_on_a_full_disk(tmp_path / "f")
    kept = samples_of(tmp_path / "f.sigmf-meta")
    bench = open_source("bench:room")
    played = np.concatenate([part.samples for part in bench.stream(seconds=1.0)])
    bench.close()
    assert kept.size > 500_000
    assert np.array_equal(kept, played[: kept.size])


def test_a_full_disk_leaves_the_old_recording_and_what_was_to_replace_it(
    run: Run, tmp_path: Path
) -> None:
    run("record", "--from", "bench:room", "--seconds", 0.1, "--out", tmp_path / "f")
    before = state_of(tmp_path)
    done = recorded_on_a_full_disk(tmp_path / "f", "--overwrite")
    after = state_of(tmp_path)
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) == {"f.new.sigmf-data", "f.new.sigmf-meta"}
    assert str(tmp_path / "f.new.sigmf-meta") in done.stdout
    assert "kept as it was" in done.stderr
    assert samples_of(tmp_path / "f.new.sigmf-meta").size > 500_000


def state_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


WAITING = ("--when", "absent", "--line", "83.6M", "--ppm", 28.7, "--u-ppm", 1)


def test_a_recording_that_was_to_be_replaced_stays_when_nothing_happens(
    run: Run, tmp_path: Path
) -> None:
    words = ("record", "--from", "bench:tour-guide-mended", "--out", tmp_path / "o")
    run(*words, "--seconds", 0.2)
    before = state_of(tmp_path)
    answer = run(*words, "--seconds", 0.6, *WAITING, "--overwrite")
    assert answer.code == 3
    assert "Nothing was recorded" in answer.out
    assert "the old recording is kept" in answer.out
    assert state_of(tmp_path) == before
    told = json.loads(run(*words, "--seconds", 0.6, *WAITING, "--overwrite", "--json").out)
    assert told["result"]["old_is_kept"] is True
    assert told["result"]["files"] == []


def test_words_that_are_off_leave_the_old_recording_alone(run: Run, tmp_path: Path) -> None:
    words = ("record", "--from", "bench:tour-guide-mended", "--out", tmp_path / "o")
    run(*words, "--seconds", 0.2)
    before = state_of(tmp_path)
    for off in (("--seconds", 0), ("--max-size", "1"), ("--when", "absent", "--line", "200M")):
        assert run(*words, "--overwrite", *off).code == 2
    assert state_of(tmp_path) == before


def test_a_new_recording_takes_the_place_of_the_old_one_whole(run: Run, tmp_path: Path) -> None:
    words = ("record", "--from", "bench:room", "--out", tmp_path / "o", "--overwrite", "--json")
    run(*words, "--seconds", 0.5)
    result = json.loads(run(*words, "--seconds", 0.2).out)["result"]
    assert result["old_is_kept"] is False
    assert {Path(path) for path in result["files"]} == set(tmp_path.iterdir())
    handle = sigmffile.fromfile(str(tmp_path / "o.sigmf-meta"))
    assert handle.calculate_hash() == handle.get_global_field("core:sha512") == result["sha512"]


@pytest.mark.parametrize("spelling", ["meta", "data", "relative", "link", "linked-folder"])
@pytest.mark.parametrize("overwrite", [("--overwrite",), ()])
def test_a_recording_is_not_written_onto_itself(
    run: Run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    spelling: str,
    overwrite: tuple[str, ...],
) -> None:
    folder = tmp_path / "here"
    folder.mkdir()
    run("record", "--from", "bench:room", "--seconds", 0.3, "--out", folder / "set")
    before = state_of(folder)
    monkeypatch.chdir(folder)
    source, out = folder / "set.sigmf-meta", folder / "set"
    if spelling == "data":
        source = folder / "set.sigmf-data"
    if spelling == "relative":
        out = Path("..") / "here" / "set"
    if spelling == "link":
        (tmp_path / "other.sigmf-data").symlink_to(folder / "set.sigmf-data")
        (tmp_path / "other.sigmf-meta").symlink_to(folder / "set.sigmf-meta")
        out = tmp_path / "other"
    if spelling == "linked-folder":
        (tmp_path / "there").symlink_to(folder)
        source = tmp_path / "there" / "set.sigmf-meta"
    answer = run("record", "--from", source, "--out", out, "--seconds", 0.1, *overwrite)
    assert answer.code == 2
    assert len(answer.err.strip().splitlines()) == 1
    assert "--from reads" in answer.err
    assert state_of(folder) == before


def test_an_archive_and_a_raw_file_are_not_written_onto_themselves(
    run: Run, tmp_path: Path
) -> None:
    run("record", "--from", "bench:room", "--seconds", 0.1, "--out", tmp_path / "set")
    with tarfile.open(tmp_path / "pack.sigmf", "w") as archive:
        for end in (".sigmf-meta", ".sigmf-data"):
            archive.add(tmp_path / f"set{end}", f"pack/pack{end}")
    raw = tmp_path / "set.cu8"
    raw.symlink_to("set.sigmf-data")
    before = state_of(tmp_path)
    stated = ("--rate", "2.4M", "--center", "100M")
    for source, out, more in (("pack.sigmf", "pack", ()), ("set.cu8", "set", stated)):
        answer = run(
            "record", "--from", tmp_path / source, "--out", tmp_path / out, "--overwrite", *more
        )
        assert answer.code == 2
        assert "--from reads" in answer.err
    assert state_of(tmp_path) == before


@pytest.mark.parametrize("name", ["set.sigmf-meta", "set.sigmf-data", "set.sigmf", "", ".."])
def test_a_name_that_is_none_is_refused(run: Run, tmp_path: Path, name: str) -> None:
    out = f"{tmp_path}/{name}" if name else ""
    answer = run("record", "--from", "bench:room", "--seconds", 0.1, "--out", out)
    assert answer.code == 2
    assert len(answer.err.strip().splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_more_memory_than_there_may_be_is_refused_and_what_may_is_said(
    run: Run, tmp_path: Path
) -> None:
    words = ("record", "--from", "bench:tour-guide-mended", "--out", tmp_path / "p", *WAITING)
    answer = run(*words, "--pre", "1h")
    assert answer.code == 2
    assert "2.03 min" in answer.err  # 10^9 bytes / (8 bytes x 1.024 MS/s) = 122 s
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("datatype", ["ci8", "ci16_le", "ci16_be", "cu16_le", "cf32_le", "cf32_be"])
def test_wide_samples_are_kept_to_the_bit(run: Run, tmp_path: Path, datatype: str) -> None:
    rng = np.random.default_rng(4)
    order = ">" if datatype.endswith("be") else "<"
    if datatype.startswith("cf"):
        native = (3 * rng.standard_normal(60_000)).astype(f"{order}f4").view(np.uint8)
    else:
        native = rng.integers(0, 256, 240_000, dtype=np.uint8)
    source = tmp_path / f"in.{datatype}"
    native.tofile(source)
    answer = run(
        "record",
        "--json",
        "--from",
        source,
        "--rate",
        "1M",
        "--center",
        "90M",
        "--out",
        tmp_path / "out",
    )
    assert answer.code == 0
    assert (tmp_path / "out.sigmf-data").read_bytes() == native.tobytes()
    metadata = json.loads((tmp_path / "out.sigmf-meta").read_text())
    assert metadata["global"]["core:datatype"] == datatype


def test_the_tuning_that_shows_the_line_is_taken_and_the_others_told(
    run: Run, tmp_path: Path
) -> None:
    native = random_bytes(2 * 200_000)
    captures = [
        {"core:sample_start": 0, "core:frequency": 83.6e6},
        {"core:sample_start": 100_000, "core:frequency": 90e6},
    ]
    source = write_pair(tmp_path, metadata(*captures), native)
    answer = run("record", "--from", source, "--out", tmp_path / "one")
    assert answer.code == 0
    assert "at 90 MHz was left out" in answer.err
    assert (tmp_path / "one.sigmf-data").read_bytes() == native[: 2 * 100_000].tobytes()
    words = ("--when", "level", "--level", "-60dB", "--line", "90.2M", "--events", 1)
    answer = run("record", "--json", "--from", source, "--out", tmp_path / "two", *words)
    assert json.loads(answer.out)["result"]["samples"] > 0


@pytest.mark.parametrize("after_s", [1.6, 2.3, 3.1])
def test_a_killed_recorder_leaves_all_but_its_last_second(
    rtlsdr_library: Path, tmp_path: Path, after_s: float
) -> None:
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "sniff",
            "record",
            "--quiet",
            "--from",
            "dongle",
            "--center",
            "100M",
            "--gain",
            "20.7",
            "--out",
            str(tmp_path / "k"),
        ],
        env={**os.environ, "PYTHONPATH": str(SITE), "STANDIN_LIBRARY": str(rtlsdr_library)},
        stderr=subprocess.DEVNULL,
    )
    data = tmp_path / "k.sigmf-data"
    while not data.exists():
        time.sleep(0.02)
    begun = time.monotonic()
    time.sleep(after_s)
    process.send_signal(signal.SIGKILL)
    lasted_s = time.monotonic() - begun
    process.wait()
    source = open_source(str(tmp_path / "k.sigmf-meta"))
    assert "unfinished" in [caution.code for caution in source.info.cautions]
    there_s = source.info.duration_s or 0.0
    source.close()
    assert there_s > lasted_s - 1.0


def test_ctrl_c_finishes_the_file_whole(rtlsdr_library: Path, tmp_path: Path) -> None:
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "sniff",
            "record",
            "--json",
            "--from",
            "dongle",
            "--center",
            "100M",
            "--gain",
            "20.7",
            "--out",
            str(tmp_path / "c"),
        ],
        env={**os.environ, "PYTHONPATH": str(SITE), "STANDIN_LIBRARY": str(rtlsdr_library)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    while not (tmp_path / "c.sigmf-data").exists():
        time.sleep(0.02)
    time.sleep(1.0)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert "Traceback" not in err
    result = json.loads(out)["result"]
    assert result["stopped"] == "interrupted"
    assert samples_of(tmp_path / "c.sigmf-meta").size == result["samples"] > 1e6


def test_unplugged_what_was_recorded_is_whole(
    on_dongle: Callable[..., Answer], tmp_path: Path
) -> None:
    answer = on_dongle(
        "record",
        "--json",
        "--from",
        "dongle",
        "--center",
        "100M",
        "--gain",
        20.7,
        "--seconds",
        5,
        "--out",
        tmp_path / "u",
        unplug=6_000_000,
    )
    assert answer.code == 4
    data = json.loads(answer.out)
    assert data["result"]["why"]
    assert samples_of(tmp_path / "u.sigmf-meta").size == data["result"]["samples"] > 1e6


def test_when_the_dongle_comes_back_the_time_between_is_a_gap(
    on_dongle: Callable[..., Answer], tmp_path: Path
) -> None:
    answer = on_dongle(
        "record",
        "--json",
        "--from",
        "dongle",
        "--center",
        "100M",
        "--gain",
        20.7,
        "--seconds",
        4,
        "--wait",
        "--out",
        tmp_path / "w",
        unplug=6_000_000,
        pace=1,
        **{"return": 1},
    )
    assert answer.code == 0
    result = json.loads(answer.out)["result"]
    assert result["captures"] == result["gaps"] + 1 == 2
    assert result["lost_samples"] > 0.5 * 2.4e6
    metadata = json.loads((tmp_path / "w.sigmf-meta").read_text())
    first, second = metadata["captures"]
    hole = second["core:global_index"] - first["core:global_index"] - second["core:sample_start"]
    assert hole == result["lost_samples"]


def test_the_dongles_name_gain_and_clock_are_in_the_metadata(
    on_dongle: Callable[..., Answer], tmp_path: Path
) -> None:
    on_dongle(
        "record",
        "--from",
        "dongle",
        "--center",
        "100M",
        "--gain",
        20.7,
        "--seconds",
        0.3,
        "--ppm",
        30,
        "--u-ppm",
        0.1,
        "--out",
        tmp_path / "m",
    )
    metadata = json.loads((tmp_path / "m.sigmf-meta").read_text())["global"]
    assert metadata["sniff:serial"] == "00000001"
    assert metadata["sniff:gain_db"] == 20.7
    assert (metadata["sniff:clock_ppm"], metadata["sniff:clock_u_ppm"]) == (30.0, 0.1)
    assert metadata["sniff:requested_center_hz"] == 100e6
    source = open_source(str(tmp_path / "m.sigmf-meta"))
    assert (source.info.serial, source.info.gain_db) == ("00000001", 20.7)
    assert source.info.image_offset_hz == pytest.approx(2 * 1.53e6, rel=0.01)
    source.close()
