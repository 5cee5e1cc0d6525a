"""Scenes: those that come with the program keep what they promise, and mistakes are named."""

import re

import numpy as np
import pytest

from sniff.errors import BenchError, InputError, SourceError
from sniff.sources.bench import load_scene, open_bench, scene_names
from tests.sources.bench.measure import (
    center_hz,
    frequency_hz,
    heard,
    level_dbfs,
    strongest_hz,
)

EXPECTED = (
    "diversity-good",
    "diversity-receiver",
    "hand-held-tired",
    "pilot-transmitter",
    "room",
    "tour-guide-dead",
    "tour-guide-deaf",
    "tour-guide-good",
    "tour-guide-mended",
)


def test_the_built_in_scenes_are_there():
    assert scene_names() == EXPECTED


@pytest.mark.parametrize("name", EXPECTED)
def test_each_built_in_scene_runs_and_tells_its_truth(name):
    scene = load_scene(name)
    assert scene.title
    assert scene.dongle.error_ppm != 0
    samples = heard(open_bench(name), 0.05)
    assert samples.size == round(0.05 * open_bench(name).info.rate_hz)
    assert np.mean(np.abs(samples.view(np.float32)) >= 1.0) < 1e-3  # not overdriven by default


def test_no_two_built_in_scenes_have_the_same_noise():
    seeds = [load_scene(name).seed for name in EXPECTED]
    assert len(set(seeds)) == len(seeds)


@pytest.mark.parametrize("rate_hz", [240e3, 300e3, 1.024e6, 2.4e6])
@pytest.mark.parametrize(
    ("name", "true_hz", "dongle_ppm", "level"),
    # As the scenes' own comments state them; the dongle has just been switched on.
    [
        ("tour-guide-good", 85.4e6 * (1 + 3.6e-6), 28.7, -38.0),
        ("tour-guide-mended", 83.6e6 * (1 + 5.5e-6), 28.7, -39.0),
        ("diversity-receiver", 195.3e6 * (1 - 3.0e-6), -20.9, -41.0),
        ("room", 97.7e6, 50.3, -50.4),
    ],
)
def test_a_line_is_where_the_scene_says_it_is_at_any_rate(
    name, true_hz, dongle_ppm, level, rate_hz
):
    source = open_bench(name, rate_hz=rate_hz, center_hz=true_hz - 31e3)
    samples = heard(source, 0.2)
    expected_hz = true_hz / (1 + dongle_ppm * 1e-6) - center_hz(source)
    near_hz = strongest_near(samples, rate_hz, expected_hz)
    found_hz = frequency_hz(samples, rate_hz, near_hz)
    # In the first 0.2 s both crystals warm by 0.01 ppm; a wander of 0.02 ppm comes on top.
    assert found_hz == pytest.approx(expected_hz, abs=0.08e-6 * true_hz)
    # Noise of less than half a step leaves a weak line's level uneven by the step itself.
    assert level_dbfs(samples, rate_hz, found_hz) == pytest.approx(level, abs=0.5)


def strongest_near(samples, rate_hz, hz):
    turning = np.exp(-2j * np.pi * hz / rate_hz * np.arange(samples.size))
    size = samples.size // 240 * 240
    narrow = (samples * turning)[:size].reshape(-1, 240).mean(axis=1)
    return hz + strongest_hz(narrow, rate_hz / 240)


def test_the_deaf_receiver_loses_its_lo_the_mended_one_does_not():
    shares = {}
    for name in ("tour-guide-deaf", "tour-guide-mended", "tour-guide-dead"):
        source = open_bench(name, rate_hz=240e3, center_hz=83.57e6)
        samples = heard(source, 8.0)
        hz = 83.6e6 / (1 + 28.7e-6) - center_hz(source)
        turning = np.exp(-2j * np.pi * hz / 240e3 * np.arange(samples.size))
        narrow = np.abs((samples * turning).reshape(-1, 96).mean(axis=1))  # 0.4 ms each
        shares[name] = np.mean(narrow > 10 ** (-45 / 20))
    assert shares["tour-guide-mended"] == 1.0
    assert shares["tour-guide-dead"] == 0.0
    assert 0.45 < shares["tour-guide-deaf"] < 0.95  # 0.73 in the mean, of about 11 rounds


def test_the_dead_receivers_crystal_still_runs():
    source = open_bench("tour-guide-dead", rate_hz=240e3, center_hz=27.84e6)
    samples = heard(source, 0.5)
    hz = 27866666.6667 * (1 + 5.5e-6) / (1 + 28.7e-6) - center_hz(source)
    assert level_dbfs(samples, 240e3, frequency_hz(samples, 240e3, hz)) == pytest.approx(
        -63.0, abs=0.6
    )


def test_the_weak_feed_of_the_diversity_receiver_is_17_db_down():
    source = open_bench("diversity-receiver")
    samples = heard(source, 0.1)
    rate_hz = source.info.rate_hz
    levels = []
    for true_hz in (195.3e6 * (1 - 3e-6), 196.9e6 * (1 + 5.5e-6)):
        hz = true_hz / (1 - 20.9e-6) - center_hz(source)
        levels.append(level_dbfs(samples, rate_hz, strongest_near(samples, rate_hz, hz)))
    assert levels[0] - levels[1] == pytest.approx(17.0, abs=0.5)


def test_the_strong_carrier_of_the_room_overloads_at_high_gain_only():
    rails = {}
    for gain_db in (33.8, 49.6):
        samples = heard(open_bench("room", gain_db=gain_db), 0.05)
        rails[gain_db] = np.mean(np.abs(samples.view(np.float32)) >= 1.0)
    assert rails[33.8] == 0.0
    assert rails[49.6] > 0.1


GOOD = """\
title = "test"
rate_hz = "240k"
center_hz = "83.5M"

[dongle]
error_ppm = 12

[[emitters]]
name = "first"
oscillator_hz = "83.4M"
lines = [{ level_dbfs = -20 }]

[[emitters]]
name = "second"
oscillator_hz = "83.55M"
warm_up_s = "4min"
lines = [{ level_dbfs = -30 }]

[emitters.joint]
connected_s = 0.5
open_s = "200ms"
"""


def test_a_scene_of_ones_own_is_read_from_a_file(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(GOOD, encoding="utf-8")
    source = open_bench(str(path))
    assert source.info.name == f"bench:{path}"
    assert source.info.centers_hz[0] == pytest.approx(83.5e6, abs=20)
    assert load_scene(str(path)).emitters[1].warm_up_s == 240.0


@pytest.mark.parametrize(
    ("was", "becomes", "line", "says"),
    [
        ("error_ppm = 12", "eror_ppm = 12", 6, "not known here"),
        ("error_ppm = 12", 'error_ppm = "12 Hz"', 6, "valid number"),
        ("error_ppm = 12", "error_ppm = 9000", 6, "500"),
        ('oscillator_hz = "83.55M"', 'oscillator_hz = "83.55m"', 15, "'83.55m' is not a frequency"),
        ('oscillator_hz = "83.55M"', "oscillator_hz = -1", 15, "greater than 0"),
        ('warm_up_s = "4min"', 'warm_up_s = "4M"', 16, "'4M' is not a duration"),
        ("lines = [{ level_dbfs = -30 }]", "lines = [{ level = -30 }]", 17, ""),
        ('open_s = "200ms"', "", 19, "either connected_s and open_s, or breaks"),
        ('rate_hz = "240k"', "", None, "missing"),
        ("[dongle]", "[dongle", None, "TOML"),
    ],
)
def test_a_mistake_in_a_scene_is_named_with_its_line(tmp_path, was, becomes, line, says):
    path = tmp_path / "own.toml"
    assert was in GOOD
    path.write_text(GOOD.replace(was, becomes), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        open_bench(str(path))
    message = str(caught.value)
    assert says in message
    assert "\n" not in message
    if line is not None:
        assert f"line {line}:" in message


@pytest.mark.parametrize(
    ("tail", "says"),
    [
        ("keying = { on_s = 1, off_s = 1 }", "joint or is keyed"),
        ("bounces = 3\nbreaks = [{ at_s = 1, for_s = 1 }]", "or breaks"),
    ],
)
def test_what_contradicts_itself_is_refused(tmp_path, tail, says):
    path = tmp_path / "own.toml"
    text = GOOD + tail if "bounces" in tail else GOOD.replace('warm_up_s = "4min"', tail)
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=re.escape(says)):
        open_bench(str(path))


@pytest.mark.parametrize(
    ("course", "says"),
    [
        ([(0.0, 100), (0.0, 5), (1.0, 100)], "in order of time"),
        ([(0.0, 50), (0.5, 5), (1.0, 100)], "begin and end at its largest"),
        ([(0.0, 100), (0.5, 1), (1.0, 100)], "nearer than touch_mm"),
    ],
)
def test_a_hand_cannot_go_where_no_hand_can(tmp_path, course, says):
    places = ", ".join(f"{{ at_s = {at_s}, mm = {mm} }}" for at_s, mm in course)
    path = tmp_path / "own.toml"
    path.write_text(
        GOOD + f"\n[emitters.hand]\npull_hz = -100\ndamp_db = 3\ncourse = [{places}]\n",
        encoding="utf-8",
    )
    with pytest.raises(InputError, match=says):
        open_bench(str(path))


def test_an_unknown_scene_is_answered_with_those_there_are(tmp_path):
    with pytest.raises(SourceError, match=r"no such scene; built in are .*tour-guide-good"):
        open_bench("tour-guide-god")
    with pytest.raises(SourceError, match="cannot be read"):
        open_bench(str(tmp_path / "absent.toml"))
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    with pytest.raises(SourceError, match="cannot be read"):
        open_bench(str(folder))
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        open_bench(str(binary))


@pytest.mark.parametrize(
    "options",
    [
        {"rate_hz": 1e3},
        {"rate_hz": float("nan")},
        {"center_hz": 3e9},
        {"center_hz": float("inf")},
        {"gain_db": float("nan")},
        {"seed": -1},
        {"seed": 2**70},
    ],
)
def test_what_the_dongle_cannot_do_is_one_clear_line(options):
    with pytest.raises(BenchError) as caught:
        open_bench("room", **options)
    assert "bench:room" in str(caught.value)
    assert "\n" not in str(caught.value)
