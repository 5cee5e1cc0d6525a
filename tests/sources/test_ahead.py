"""A converter and a pad ahead of the dongle: planted on the bench, taken out again."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.correction import Converter, Correction
from sniff.sources.ahead import AheadSource
from sniff.sources.bench import open_bench
from tests.cli.conftest import Run, run

__all__ = ["run"]

SCENE = """
title = "one carrier"
seed = 5
rate_hz = "2.4M"
center_hz = "135.5M"
gain_db = 33.8
[dongle]
error_ppm = 40
[[emitters]]
name = "carrier"
oscillator_hz = "135.7M"
lines = [{ level_dbfs = -30 }]
"""


@pytest.fixture
def scene(tmp_path: Path) -> Path:
    path = tmp_path / "one.toml"
    path.write_text(SCENE)
    return path


@given(
    st.floats(1e3, 3e9), st.floats(-1e9, 5e9), st.booleans(), st.floats(-100, 100), st.floats(0, 50)
)
def test_a_correction_with_a_converter_is_the_two_scales_in_turn(
    air_hz: float, shift_hz: float, inverted: bool, ppm: float, u_ppm: float
) -> None:
    """By cause: the air is shifted, a crystal fast by ppm reads that too low, and the shift is
    taken off again."""
    converter = Converter(shift_hz=shift_hz, inverted=inverted, u_hz=3.0)
    clock = Correction(ppm=ppm, u_ppm=u_ppm, origin="test", converter=converter)
    heard_hz = shift_hz - air_hz if inverted else air_hz + shift_hz
    read_hz = heard_hz / (1 + ppm * 1e-6)
    indicated_hz = shift_hz - read_hz if inverted else read_hz - shift_hz
    reading = clock.apply(indicated_hz, 0.0)
    assert reading.value_hz == pytest.approx(air_hz, abs=1e-3)
    assert reading.u_hz == pytest.approx(np.hypot(read_hz * u_ppm * 1e-6, 3.0), rel=1e-9)
    assert clock.indicate(air_hz) == pytest.approx(indicated_hz, abs=1e-3)


@pytest.mark.parametrize(
    ("words", "air_hz"),
    [
        (("--converter", "+125M", "--center", "10.5M"), 10.7e6),
        (("--converter", "-2.3G", "--center", "2435.5M"), 2.4357e9),
        (("--converter", "200M", "--inverted", "--center", "64.5M"), 64.3e6),
    ],
)
def test_a_line_behind_a_converter_reads_as_on_the_air(
    run: Run, scene: Path, words: tuple[str, ...], air_hz: float
) -> None:
    answer = run(
        "look",
        "--json",
        "--from",
        f"bench:{scene}",
        *words,
        "--ppm",
        40,
        "--u-ppm",
        0.1,
        "--u-converter",
        30,
    )
    assert answer.code == 0
    data = json.loads(answer.out)
    best = next(peak for peak in data["result"]["peaks"] if not peak["marks"])
    assert best["frequency_hz"] == pytest.approx(air_hz, abs=1.0)
    assert best["u_hz"] == pytest.approx(np.hypot(13.57, 30.0), rel=0.01)
    assert data["result"]["center_hz"] == pytest.approx(float(words[-1][:-1]) * 1e6, abs=200)


def test_a_pad_is_added_to_levels_and_told(run: Run, scene: Path) -> None:
    plain, padded = (
        json.loads(run("look", "--json", "--from", f"bench:{scene}", *words).out)
        for words in ((), ("--pad", "20dB"))
    )
    levels = [data["result"]["peaks"][0]["level_dbfs"] for data in (plain, padded)]
    assert levels[1] - levels[0] == pytest.approx(20.0, abs=0.01)
    assert padded["source"]["pad_db"] == 20.0
    noises = [data["result"]["noise_dbfs_per_hz"] for data in (plain, padded)]
    assert noises[1] - noises[0] == pytest.approx(20.0, abs=0.1)


def test_the_range_of_the_tuner_moves_with_the_converter(scene: Path) -> None:
    bench = open_bench(str(scene))
    low_hz, high_hz = bench.info.range_hz or (0.0, 0.0)
    converter = Converter(shift_hz=2e9, inverted=True)
    source = AheadSource(bench, converter=converter, pad_db=0.0)
    assert source.info.range_hz == pytest.approx((2e9 - high_hz, 2e9 - low_hz))
    assert source.tune(1.9e9) == pytest.approx(1.9e9, abs=200)
    source.close()


def test_the_dongles_own_spur_is_known_behind_a_converter(run: Run, tmp_path: Path) -> None:
    """Its clock's fifth multiple, 144 MHz, reads 19 MHz behind an up-converter of 125 MHz."""
    scene = tmp_path / "spur.toml"
    scene.write_text(SCENE.replace("135.7M", "144.0M").replace("error_ppm = 40", "error_ppm = 0"))
    answer = run(
        "look", "--json", "--from", f"bench:{scene}", "--converter", "+125M", "--center", "19.2M"
    )
    marks = [peak["marks"] for peak in json.loads(answer.out)["result"]["peaks"]]
    assert ["own-spur"] in marks


@pytest.mark.parametrize(
    "words",
    [
        ("--inverted",),
        ("--u-converter", "5"),
        ("--converter", "-5M", "--inverted"),
        ("--pad", "much"),
        ("--converter", "x"),
    ],
)
def test_words_that_make_no_converter_are_refused(
    run: Run, scene: Path, words: tuple[str, ...]
) -> None:
    answer = run("look", "--from", f"bench:{scene}", *words)
    assert answer.code == 2
    assert len(answer.err.strip().splitlines()) == 1
