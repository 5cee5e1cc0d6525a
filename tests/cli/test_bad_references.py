"""References and clocks that mislead: each is one clear line, and none is guessed at."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Answer, Run
from tests.cli.test_dongle_commands import on_dongle
from tests.standin.build import rtlsdr_library

__all__ = ["on_dongle", "rtlsdr_library"]

HEAD = """
title = "a bench"
rate_hz = "2.4M"
center_hz = "162M"
gain_db = 33.8
[dongle]
error_ppm = 20
"""


def emitter(hz: str, *, level_dbfs: float = -40, more: str = "", modulation: str = "") -> str:
    text = f'[[emitters]]\nname = "at {hz}"\noscillator_hz = "{hz}"\n'
    text += f"lines = [{{ level_dbfs = {level_dbfs} }}]\n{more}\n"
    return text + (f"[emitters.modulation]\n{modulation}\n" if modulation else "")


def scene(tmp_path: Path, *emitters: str, head: str = HEAD) -> str:
    file = tmp_path / "scene.toml"
    file.write_text(head + "".join(emitters))
    return f"bench:{file}"


def refused(run: Run, source: str, *words: object) -> str:
    answer = run("calibrate", "--from", source, "--seconds", 0.3, *words)
    assert answer.code == 4, answer
    assert answer.out == ""
    assert len(answer.err.strip().splitlines()) == 1
    return answer.err


def test_a_reference_outside_a_recording_is_said(run: Run, shipped: Path) -> None:
    said = refused(run, str(shipped / "tour-guide-good.sigmf-meta"), "--reference", "lab:100M")
    assert "outside what" in said


def test_a_reference_that_is_not_heard_is_said(run: Run, tmp_path: Path) -> None:
    said = refused(run, scene(tmp_path, emitter("163M")), "--reference", "weather:162.55M")
    assert "nothing is heard within ±200 ppm of 162.55 MHz; more gain" in said


def test_a_line_beyond_200_ppm_is_probably_another_station(run: Run, tmp_path: Path) -> None:
    """Where it stands the clock would be 431 ppm slow: 162.62 MHz, and 20 ppm of its own."""
    said = refused(run, scene(tmp_path, emitter("162.62M")), "--reference", "lab:162.55M")
    assert "probably another station" in said
    found = re.search(r"the clock would be −([0-9.]+) ppm off", said)
    assert found
    assert float(found[1]) == pytest.approx((162.62 / 162.55 - 1) * 1e6 - 20, abs=0.2)


def test_a_modulated_one_beyond_200_ppm_is_refused_too(run: Run, tmp_path: Path) -> None:
    """Its sidebands reach into the window, its carrier is 240 ppm beside."""
    voice = emitter("162.502M", modulation='tones = [{ audio_hz = "3k", deviation_hz = "2k" }]')
    said = refused(run, scene(tmp_path, voice), "--reference", "weather:162.54M")
    assert "probably another station" in said


def test_two_stations_in_the_window_of_a_modulated_one_are_both_named(
    run: Run, tmp_path: Path
) -> None:
    talk = 'speech_deviation_hz = "3k"'
    pair = (
        emitter("162.55M", modulation=talk),
        emitter("162.525M", level_dbfs=-36, modulation=talk),
    )
    said = refused(run, scene(tmp_path, *pair), "--reference", "weather:162.55M")
    assert "two lines could be it, 162.52" in said
    assert "and 162.5" in said


def test_the_dongles_own_spur_is_no_reference(run: Run, tmp_path: Path) -> None:
    head = HEAD.replace('"162M"', '"143.5M"') + "spur_dbfs = -50\n"
    said = refused(run, scene(tmp_path, head=head), "--reference", "lab:144M", "--center", "143.5M")
    assert "only the dongle's own spur" in said


def test_a_weak_modulated_one_is_refused(run: Run, tmp_path: Path) -> None:
    weak = emitter("162.55M", level_dbfs=-61, modulation='speech_deviation_hz = "3k"')
    said = refused(run, scene(tmp_path, weak), "--reference", "weather:162.55M")
    assert "too weak" in said


def test_too_short_for_a_mean_is_said(run: Run, tmp_path: Path) -> None:
    voice = emitter("162.55M", modulation='speech_deviation_hz = "3k"')
    source = scene(tmp_path, voice)
    answer = run(
        "calibrate", "--from", source, "--reference", "weather:162.55M", "--seconds", 0.003
    )
    assert answer.code == 4
    assert "too short" in answer.err


@pytest.mark.parametrize(
    ("reference", "modulation"),
    [
        ("lab:162.55M", ""),
        ("weather:162.55M", 'tones = [{ audio_hz = "1k", deviation_hz = "2k" }]'),
    ],
)
def test_one_that_drifts_meanwhile_is_a_caution_and_its_drift_in_u(
    run: Run, tmp_path: Path, reference: str, modulation: str
) -> None:
    """From 40 ppm off towards 0 with a time constant of 1 s: over the first half second by
    15.7 ppm, a spread of 4.6 ppm about the mean if it went evenly."""
    source = scene(
        tmp_path,
        emitter("162.55M", more='warm_up_ppm = 40\nwarm_up_s = "1"', modulation=modulation),
    )
    words = ("--reference", reference, "--seconds", 0.5, "--no-save")
    answer = run("calibrate", "--from", source, *words)
    assert answer.code == 0
    assert "drifted or was modulated while it was measured" in answer.err
    assert len(answer.err.strip().splitlines()) == 1
    data = json.loads(run("calibrate", "--json", "--from", source, *words).out)
    own_ppm = 5.0 / 3**0.5 if reference.startswith("weather") else 0.01 / 3**0.5
    statistical_ppm = (data["result"]["u_ppm"] ** 2 - own_ppm**2) ** 0.5
    assert statistical_ppm == pytest.approx(15.7 / 12**0.5, rel=0.15)


def made_on(on_dongle: Callable[..., Answer], serial: str, name: str) -> None:
    words = ("--reference", "100.1M", "--accuracy", "0.1ppm", "--save", name)
    made = on_dongle(
        "calibrate", "--from", "dongle", "--gain", 20.7, "--seconds", 0.3, *words, serials=serial
    )
    assert made.code == 0, made.err


def cautions(on_dongle: Callable[..., Answer], serial: str, *words: object) -> dict[str, str]:
    looked = on_dongle(
        *("look", "--json", "--from", "dongle", "--center", "100M", "--gain", 20.7),
        *("--seconds", 0.3, *words),
        serials=serial,
    )
    assert looked.code == 0, looked.err
    return {each["code"]: each["text"] for each in json.loads(looked.out)["cautions"]}


def test_a_clock_of_another_dongle_is_a_caution(
    on_dongle: Callable[..., Answer], tmp_path: Path
) -> None:
    """By --clock, and under this dongle's own name after it was taken in as that."""
    made_on(on_dongle, "00000007", "mine")
    said = cautions(on_dongle, "00000008", "--clock", "mine")["other-dongle"]
    assert "calibrated on dongle 00000007, and this is 00000008" in said
    assert "other-dongle" not in cautions(on_dongle, "00000007", "--clock", "mine")
    file = tmp_path / "mine.json"
    assert on_dongle("calibrate", "export", "mine", file).code == 0
    assert on_dongle("calibrate", "import", file, "--as", "00000008").code == 0
    assert "other-dongle" in cautions(on_dongle, "00000008")


def saved_clock(run: Run) -> Path:
    words = ("--reference", "lab:99.1M", "--save", "mine", "--seconds", 0.2)
    answer = run("calibrate", "--json", "--from", "bench:room", *words)
    return Path(json.loads(answer.out)["result"]["saved"])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"ppm"', '"pqm"', "is damaged"),
        ('"format": 1', '"format": 99', "newer version of sniff; update this one"),
    ],
)
def test_a_damaged_or_newer_clock_is_one_line_and_its_file_stays(
    run: Run, old: str, new: str, said: str
) -> None:
    path = saved_clock(run)
    spoilt = path.read_text().replace(old, new, 1)
    path.write_text(spoilt)
    answer = run("look", "--from", "bench:room", "--clock", "mine", "--seconds", 0.1)
    assert answer.code == 4
    assert said in answer.err
    assert len(answer.err.strip().splitlines()) == 1
    assert path.read_text() == spoilt


def test_a_new_calibration_sets_a_damaged_clock_aside(run: Run) -> None:
    path = saved_clock(run)
    path.write_text("{")
    assert saved_clock(run) == path
    (aside,) = path.parent.glob("mine.damaged-*")
    assert aside.read_text() == "{"
    assert run("look", "--from", "bench:room", "--clock", "mine", "--seconds", 0.1).code == 0


def test_a_new_calibration_never_overwrites_a_newer_versions_clock(run: Run) -> None:
    path = saved_clock(run)
    newer = path.read_text().replace('"format": 1', '"format": 99')
    path.write_text(newer)
    answer = run("calibrate", "--from", "bench:room", "--reference", "lab:99.1M", "--save", "mine")
    assert answer.code == 4
    assert "newer version" in answer.err
    assert path.read_text() == newer
