"""Mistakes of the user: one clear line on stderr, a fixed exit code, never a traceback."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.cli.conftest import Answer, Run

SET = ("--carrier", "72.9M", "--if", "10.7M", "--side", "high")


def assert_one_line(answer: Answer, code: int, *words: str) -> None:
    assert answer.code == code, answer
    lines = answer.err.strip().splitlines()
    assert len(lines) == 1, answer.err
    message = lines[0]
    assert message.startswith("sniff: "), answer.err
    for word in words:
        assert word in message, message
    assert answer.out == ""


@pytest.fixture
def raw(tmp_path: Path) -> Path:
    path = tmp_path / "some.cu8"
    np.random.default_rng(1).integers(0, 256, 40_000, dtype=np.uint8).tofile(path)
    return path


def test_a_missing_file(run: Run, tmp_path: Path) -> None:
    assert_one_line(run("look", "--from", tmp_path / "none.cu8"), 4, "none.cu8")


def test_an_empty_file(run: Run, tmp_path: Path) -> None:
    (tmp_path / "empty.cu8").write_bytes(b"")
    answer = run("look", "--from", tmp_path / "empty.cu8", "--rate", "1M", "--center", "1M")
    assert_one_line(answer, 4, "empty")


def test_a_directory(run: Run, tmp_path: Path) -> None:
    assert_one_line(run("look", "--from", tmp_path), 4, str(tmp_path.name))


def test_an_odd_length_is_cautioned_and_still_read(run: Run, raw: Path) -> None:
    raw.write_bytes(raw.read_bytes() + b"\x00")
    answer = run("look", "--from", raw, "--rate", "1M", "--center", "100M")
    assert answer.code == 0
    assert "ends within a sample" in answer.err


def test_raw_without_rate_or_centre(run: Run, raw: Path) -> None:
    assert_one_line(run("look", "--from", raw, "--center", "1M"), 2, "--rate")
    assert_one_line(run("look", "--from", raw, "--rate", "1M"), 2, "--center")


@pytest.mark.parametrize("rate", ["0", "-1M", "nan", "inf", "1e400", "abc", "1m"])
def test_an_absurd_rate(run: Run, raw: Path, rate: str) -> None:
    answer = run("look", "--from", raw, f"--rate={rate}", "--center", "100M")
    assert answer.code in (2, 4)
    assert_one_line(answer, answer.code, rate if rate not in ("-1M", "0") else "rate")


@pytest.mark.parametrize("center", ["nan", "inf", "-5M"])
def test_an_absurd_centre(run: Run, raw: Path, center: str) -> None:
    answer = run("look", "--from", raw, "--rate", "1M", f"--center={center}")
    assert answer.code in (2, 4)
    assert_one_line(answer, answer.code)


def test_an_unknown_datatype(run: Run, raw: Path) -> None:
    answer = run("look", "--from", raw, "--rate", "1M", "--center", "1M", "--datatype", "cu9")
    assert answer.code in (2, 4)
    assert_one_line(answer, answer.code, "cu9")


def test_a_start_past_the_end(run: Run, raw: Path) -> None:
    answer = run("look", "--from", raw, "--rate", "1M", "--center", "1M", "--start", "5")
    assert_one_line(answer, 4, "start")


def test_less_than_one_segment(run: Run, raw: Path) -> None:
    answer = run("look", "--from", raw, "--rate", "1M", "--center", "1M", "--seconds", "1ms")
    assert_one_line(answer, 2, "1000")


def test_no_time_at_all(run: Run, raw: Path) -> None:
    answer = run("look", "--from", raw, "--rate", "1M", "--center", "1M", "--seconds", "0")
    assert_one_line(answer, 2, "--seconds")


def test_an_rbw_out_of_reach(run: Run, raw: Path) -> None:
    answer = run("look", "--from", raw, "--rate", "1M", "--center", "1M", "--rbw", "0.001")
    assert_one_line(answer, 2, "resolution bandwidth")


def test_metadata_without_data_and_the_other_way_round(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.sigmf-meta").write_text(
        json.dumps(
            {
                "global": {"core:datatype": "cu8", "core:version": "1.0.0"},
                "captures": [],
                "annotations": [],
            }
        )
    )
    assert_one_line(run("look", "--from", tmp_path / "a.sigmf-meta"), 4, "a.sigmf-data")
    (tmp_path / "b.sigmf-data").write_bytes(b"\x80" * 1000)
    assert_one_line(run("look", "--from", tmp_path / "b.sigmf-data"), 4, "b.sigmf-meta")


def test_broken_metadata(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a.sigmf-meta").write_text("{")
    (tmp_path / "a.sigmf-data").write_bytes(b"\x80" * 1000)
    assert_one_line(run("look", "--from", tmp_path / "a.sigmf-meta"), 4)


def test_a_hash_that_does_not_match_is_a_caution(run: Run, shipped: Path, tmp_path: Path) -> None:
    for end in ("meta", "data"):
        name = f"tour-guide-good.sigmf-{end}"
        (tmp_path / name).write_bytes((shipped / name).read_bytes())
    data = bytearray((tmp_path / "tour-guide-good.sigmf-data").read_bytes())
    data[1000] ^= 255
    (tmp_path / "tour-guide-good.sigmf-data").write_bytes(data)
    answer = run("look", "--from", tmp_path / "tour-guide-good.sigmf-meta")
    assert answer.code == 0
    assert "SHA-512" in answer.err


def test_a_mono_wav(run: Run, tmp_path: Path) -> None:
    soundfile.write(tmp_path / "mono.wav", np.zeros(10_000), 48_000)
    assert_one_line(run("look", "--from", tmp_path / "mono.wav", "--center", "1M"), 4, "channel")


def test_nan_in_a_float_recording(run: Run, tmp_path: Path) -> None:
    samples = np.zeros(20_000, np.complex64)
    samples[12_345] = math.nan
    samples.tofile(tmp_path / "x.cf32_le")
    answer = run("look", "--from", tmp_path / "x.cf32_le", "--rate", "1M", "--center", "1M")
    assert_one_line(answer, 4, "12345")


def test_a_scene_with_an_unknown_key_names_its_line(run: Run, tmp_path: Path) -> None:
    scene = tmp_path / "mine.toml"
    scene.write_text(
        'title = "mine"\nseed = 1\nrate_hz = "1M"\ncenter_hz = "1M"\ncentre = "100M"\n'
    )
    assert_one_line(run("look", "--from", f"bench:{scene}"), 4, "line 5", "centre")


def test_a_scene_that_is_not_there_lists_those_that_are(run: Run) -> None:
    assert_one_line(run("look", "--from", "bench:nowhere"), 4, "tour-guide-deaf")


def test_a_plan_with_a_wrong_unit_names_its_line(run: Run, shipped: Path, tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text('carrier = "72.9M"\nif = "10.7 megs"\nside = "high"\n')
    answer = run("probe", "--from", shipped / "tour-guide-good.sigmf-meta", "--plan", plan)
    assert_one_line(answer, 4, "line 2", "10.7 megs")


def test_a_probe_without_a_set(run: Run, shipped: Path) -> None:
    answer = run("probe", "--from", shipped / "tour-guide-good.sigmf-meta")
    assert_one_line(answer, 2, "--carrier")


def test_an_impossible_set(run: Run, shipped: Path) -> None:
    answer = run(
        "probe",
        "--from",
        shipped / "tour-guide-good.sigmf-meta",
        "--carrier",
        "5M",
        "--if",
        "10.7M",
        "--side",
        "low",
    )
    assert_one_line(answer, 2, "low")


def test_an_expected_line_outside_the_recording_is_said_plainly(run: Run, shipped: Path) -> None:
    answer = run(
        "probe",
        "--from",
        shipped / "tour-guide-good.sigmf-meta",
        "--carrier",
        "433.92M",
        "--tolerance",
        "50ppm",
    )
    assert answer.code == 3
    assert "out-of-view" in answer.out
    assert "not in this recording" in answer.out


def test_a_ppm_without_its_uncertainty(run: Run, shipped: Path) -> None:
    answer = run("look", "--from", shipped / "tour-guide-good.sigmf-meta", "--ppm", 3)
    assert_one_line(answer, 2, "--u-ppm")


def test_a_tolerance_without_a_unit(run: Run, shipped: Path) -> None:
    answer = run(
        "probe", "--from", shipped / "tour-guide-good.sigmf-meta", *SET, "--tolerance", "50"
    )
    assert_one_line(answer, 2, "50ppm")


def test_a_sibling_without_its_carrier(run: Run, shipped: Path) -> None:
    recording = shipped / "tour-guide-good.sigmf-meta"
    answer = run("probe", "--from", recording, *SET, "--sibling", recording)
    assert_one_line(answer, 2, "--sibling-carrier")


def test_a_gain_for_a_recording(run: Run, shipped: Path) -> None:
    answer = run("look", "--from", shipped / "tour-guide-good.sigmf-meta", "--gain", 20)
    assert_one_line(answer, 2, "gain")


def test_a_picture_of_an_unknown_kind_or_in_no_folder(
    run: Run, shipped: Path, tmp_path: Path
) -> None:
    recording = shipped / "tour-guide-good.sigmf-meta"
    unknown = run("look", "--quiet", "--from", recording, "--plot", tmp_path / "x.bmp")
    assert unknown.code == 2
    assert ".bmp" in unknown.err
    nowhere = run("look", "--quiet", "--from", recording, "--plot", tmp_path / "no" / "x.png")
    assert nowhere.code == 4
    assert "no" in nowhere.err


@pytest.mark.parametrize(
    "words", [("look",), ("look", "--from"), ("look", "--nonsense"), ("nonsense",)]
)
def test_words_that_are_not_known_or_lack_something(run: Run, words: tuple[str, ...]) -> None:
    assert_one_line(run(*words), 2, "--help")
