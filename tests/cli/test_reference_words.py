"""How references are named: kinds, channels, one's own; and several that settle each other."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.values import references as published

PILOT_HZ = 470e6 + published.ATSC_PILOT_HZ  # of channel 14
CLOCK_PPM = 12.0

SCENE = """
title = "a pilot and a standard"
rate_hz = "2.4M"
center_hz = "471M"
gain_db = 33.8
[dongle]
error_ppm = 12.0
[[emitters]]
name = "pilot"
oscillator_hz = {pilot_hz}
lines = [{{ level_dbfs = -40 }}]
[[emitters]]
name = "standard"
oscillator_hz = "471.3M"
lines = [{{ level_dbfs = -40 }}]
"""

OWN = """
[[reference]]
name = "bench standard"
frequency = "99.1M"
limit = "0.05ppm"
shape = "normal"
where = "bench 3, once warm"
source = "certificate 4711"

[[reference]]
name = "repeater"
frequency = "98.2M"
limit = "200Hz"
half_width = "8k"
"""


@pytest.fixture
def pilot(tmp_path: Path, request: pytest.FixtureRequest) -> str:
    """A scene whose pilot is put higher by so much."""
    scene = tmp_path / "pilot.toml"
    scene.write_text(SCENE.format(pilot_hz=PILOT_HZ + request.param))
    return f"bench:{scene}"


@pytest.fixture
def own(tmp_path: Path) -> Path:
    file = tmp_path / "own.toml"
    file.write_text(OWN)
    return file


@pytest.mark.parametrize(
    ("pilot", "name"),
    [
        (0.0, "atsc 14"),
        (published.ATSC_OFFSETS_HZ[0], "atsc 14 +22.697 kHz"),
        (published.ATSC_OFFSETS_HZ[1], "atsc 14 +19.403 kHz"),
    ],
    indirect=["pilot"],
)
def test_a_second_reference_settles_a_pilots_offset(run: Run, pilot: str, name: str) -> None:
    words = ("--reference", "atsc:14", "--reference", "lab:471.3M", "--save", "c", "--seconds", 0.2)
    answer = run("calibrate", "--json", "--from", pilot, *words)
    assert answer.code == 0, answer.err
    data = json.loads(answer.out)
    assert data["result"]["ppm"] == pytest.approx(CLOCK_PPM, abs=0.02)
    assert data["result"]["references"][0]["name"] == name
    assert data["result"]["saved"]
    assert data["cautions"] == []


@pytest.mark.parametrize("pilot", [0.0], indirect=True)
def test_a_lone_pilot_is_told_in_all_ways_and_not_kept_unless_asked(run: Run, pilot: str) -> None:
    words = ("calibrate", "--from", pilot, "--reference", "atsc:14", "--seconds", 0.2)
    answer = run(*words)
    assert answer.code == 0
    assert "Clock +12." in answer.out
    # The offsets over the pilot's own frequency, on top of 12 ppm.
    for offset_hz in published.ATSC_OFFSETS_HZ:
        assert f"+{CLOCK_PPM + offset_hz / PILOT_HZ * 1e6:.2f}" in answer.err
    assert "second reference" in answer.err
    assert "Not kept" in answer.out
    assert "Kept in" in run(*words, "--save", "mine").out


@pytest.mark.parametrize("pilot", [0.0], indirect=True)
def test_a_third_that_is_another_station_is_named_and_left_out(run: Run, pilot: str) -> None:
    """The same line taken for one 10 kHz higher, 21 ppm: not what the other two say."""
    words = ("--reference", "lab:471.3M", "--reference", "471.31M", "--accuracy", "0.1ppm")
    pair = run("calibrate", "--no-save", "--from", pilot, *words, "--seconds", 0.2)
    assert "cannot both lie within their limits" in pair.err
    assert "disagree" in pair.out
    three = (*words, "--reference", "atsc:14")
    answer = run("calibrate", "--json", "--no-save", "--from", pilot, *three, "--seconds", 0.2)
    data = json.loads(answer.out)
    assert data["result"]["ppm"] == pytest.approx(CLOCK_PPM, abs=0.02)
    used = {line["name"]: line["used"] for line in data["result"]["references"]}
    assert used == {"lab 471.300000 MHz": True, "reference 471.31 MHz": False, "atsc 14": True}
    (caution,) = (each for each in data["cautions"] if each["code"] == "outlier")
    assert "471.31 MHz" in caution["text"]


def test_ones_own_reference_is_found_by_its_name(run: Run, own: Path) -> None:
    """Truth of the room: 50.3 ppm. A certificate's 0.05 ppm at k = 2 is u = 0.025 ppm."""
    words = ("--from", "bench:room", "--references", own, "--reference", "bench standard")
    answer = run("calibrate", "--json", *words)
    assert answer.code == 0, answer.err
    result = json.loads(answer.out)["result"]
    assert result["ppm"] == pytest.approx(50.3, abs=0.06)
    assert result["u_ppm"] == pytest.approx(0.025, rel=0.02)
    assert result["references"][0]["name"] == "bench standard"


def test_ones_own_folder_is_read_without_being_named(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "sniff").mkdir()
    (tmp_path / "sniff" / "references.toml").write_text(OWN)
    answer = run("calibrate", "--from", "bench:room", "--reference", "bench standard")
    assert answer.code == 0, answer.err
    listed = run("calibrate", "references")
    assert "certificate 4711" in listed.out
    assert "47 CFR 73.1545(b)" in listed.out
    clash = run("calibrate", "references", "--references", tmp_path / "sniff" / "references.toml")
    assert clash.code == 4
    assert "two references 'bench standard'" in clash.err


def test_where_ones_own_would_stand_is_told(run: Run) -> None:
    answer = run("calibrate", "references")
    assert answer.code == 0
    assert "references.toml" in answer.out


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ('frequency = "99.1M"', 'frequency = "99.1m"', 4, "99.1m"),
        ('limit = "0.05ppm"', 'limit = "0.05"', 5, "no unit"),
        ('limit = "0.05ppm"', 'limit = "0ppm"', 5, "no reference is exact"),
        ('shape = "normal"', 'shape = "bell"', 6, "rectangular"),
        ('name = "bench standard"', 'name = "10M"', 3, "reads as a frequency"),
        ('name = "bench standard"', 'name = "lab:10M"', 3, "no colon"),
        ('half_width = "8k"', 'width = "8k"', 14, "not known"),
        ('half_width = "8k"', 'half_width = "-8k"', 14, "greater than"),
        ('name = "repeater"', 'name = "bench standard"', None, "two references"),
    ],
)
def test_a_mistake_in_a_file_is_named_by_its_line(
    run: Run, own: Path, old: str, new: str, line: int | None, said: str
) -> None:
    own.write_text(OWN.replace(old, new))
    answer = run(
        "calibrate", "--from", "bench:room", "--references", own, "--reference", "repeater"
    )
    assert answer.code == 4
    assert said in answer.err
    assert line is None or f"line {line}:" in answer.err
    assert len(answer.err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("dab:5Z",), "5A to 13F"),
        (("dvbt8:474",), "470 MHz to 862 MHz"),
        (("base-station:146M",), "150 MHz to 174 MHz, 421 MHz to 512 MHz"),
        (("standard-frequency:10.1M",), "10 MHz"),
        (("dvbt:21",), "dvbt8 (21 to 69)"),
        (("my standard",), "one of your own: of these there are none"),
        (("lab:0",), "above zero"),
        (("lab:ten",), "not a frequency"),
        (("lab:10M", "--accuracy", "1ppm"), "frequency alone"),
        (("lab:10M", "--references", "/nowhere.toml"), "cannot be read"),
    ],
)
def test_words_that_name_no_reference_are_one_line(
    run: Run, words: tuple[str, ...], said: str
) -> None:
    answer = run("calibrate", "--from", "bench:room", "--reference", *words)
    assert answer.code in (2, 4)
    assert said in answer.err
    assert len(answer.err.strip().splitlines()) == 1


def test_all_kinds_and_their_channels_stand_in_the_help(run: Run) -> None:
    text = " ".join(run("calibrate", "--help").out.split())
    for words in ("dab (5A to 13F)", "dvbt8 (21 to 69)", "atsc (2 to 36)", "lab,", "set"):
        assert words in text
