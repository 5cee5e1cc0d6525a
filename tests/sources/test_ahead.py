"""A converter and a pad ahead of the dongle: planted on the bench, taken out again."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.correction import Converter, Correction
from sniff.errors import SourceError
from sniff.sources.ahead import Ahead, AheadSource
from sniff.sources.bench import open_bench
from sniff.sources.opening import Wishes, open_source
from sniff.sources.recording.datatypes import DATATYPES
from tests.cli.conftest import Run, run
from tests.sources.recording.files import metadata, random_bytes, write_pair

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
    source = AheadSource(bench, Ahead(converter=converter))
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


AHEAD = [
    ("--pad", "20dB"),
    ("--pad", "-15dB"),
    ("--converter", "+125M", "--u-converter", "30", "--center", "10.5M"),
    ("--converter", "-2.3G", "--pad", "10dB", "--center", "2435.5M"),
    ("--converter", "200M", "--inverted", "--pad", "3dB", "--center", "64.5M"),
]


@pytest.fixture
def recorded(run: Run, scene: Path, tmp_path: Path) -> Callable[..., Path]:
    def record(*words: str) -> Path:
        out = tmp_path / "kept"
        source = f"bench:{scene}"
        assert run("record", "--from", source, "--seconds", 1, "--out", out, *words).code == 0
        return out.with_suffix(".sigmf-meta")

    return record


@pytest.mark.parametrize("words", AHEAD)
def test_a_recording_knows_by_itself_what_lay_ahead(
    run: Run, scene: Path, recorded: Callable[..., Path], words: tuple[str, ...]
) -> None:
    clock = ("--ppm", 40, "--u-ppm", 0.1, "--json")
    path = recorded(*words)
    direct, again = (
        json.loads(run("look", "--from", source, "--seconds", 1, *clock, *more).out)
        for source, more in ((f"bench:{scene}", words), (path, ()))
    )
    assert again["result"]["peaks"] == direct["result"]["peaks"]
    assert again["result"]["noise_dbfs_per_hz"] == direct["result"]["noise_dbfs_per_hz"]
    assert again["clock"] == direct["clock"]
    for field in ("pad_db", "converter_hz", "u_converter_hz", "inverted", "rail"):
        assert again["source"][field] == direct["source"][field]
    assert "overload" not in [caution["code"] for caution in again["cautions"]]
    assert [c["text"] for c in again["cautions"] if c["code"] == "ahead"]


@pytest.mark.parametrize("words", AHEAD)
def test_what_is_recorded_is_what_the_receiver_sent(
    recorded: Callable[..., Path], scene: Path, words: tuple[str, ...]
) -> None:
    """By cause: the same bench, tuned behind the converter, and nothing in between."""
    path = recorded(*words)
    data = json.loads(path.read_text())
    bench = open_bench(str(scene))
    played = b"".join(
        DATATYPES["cu8"].from_complex64(part.samples).tobytes() for part in bench.stream(seconds=1)
    )
    heard_hz = bench.info.centers_hz[0]
    bench.close()
    assert path.with_suffix(".sigmf-data").read_bytes() == played
    assert data["captures"][0]["core:frequency"] == heard_hz
    assert data["global"]["core:datatype"] == "cu8"


def test_what_the_command_says_goes_before_what_the_recording_says(
    run: Run, recorded: Callable[..., Path]
) -> None:
    path = recorded("--converter", "+125M", "--pad", "20dB", "--center", "10.5M")

    def looked(*words: str) -> tuple[float, float, dict[str, str]]:
        data = json.loads(run("look", "--json", "--from", path, *words).out)
        best = next(peak for peak in data["result"]["peaks"] if not peak["marks"])
        told = {caution["code"]: caution["text"] for caution in data["cautions"]}
        return best["indicated_hz"], best["level_dbfs"], told

    plain_hz, plain_dbfs, told = looked()
    assert "20 dB" in told["ahead"]
    assert "+125 MHz" in told["ahead"]
    other_hz, other_dbfs, told = looked("--pad", "6dB")
    assert (other_hz, other_dbfs) == pytest.approx((plain_hz, plain_dbfs - 14.0), abs=1e-3)
    assert "20 dB" in told["pad-overridden"]
    assert "pad" not in told["ahead"]
    other_hz, other_dbfs, told = looked("--pad", "0", "--converter", "0")
    assert (other_hz, other_dbfs) == pytest.approx((plain_hz + 125e6, plain_dbfs - 20.0), abs=1e-3)
    assert {"pad-overridden", "converter-overridden"} <= told.keys()
    assert "ahead" not in told
    _, _, told = looked("--pad", "20dB", "--converter", "+125M")
    assert not {"pad-overridden", "converter-overridden", "ahead"} & told.keys()


def test_a_centre_on_the_air_chooses_among_tunings_behind_a_converter(tmp_path: Path) -> None:
    captures = [
        {"core:sample_start": 0, "core:frequency": 135.5e6},
        {"core:sample_start": 1_000, "core:frequency": 140e6},
    ]
    document = metadata(*captures, sniff__converter_hz=125e6)
    path = write_pair(tmp_path, document, random_bytes(2 * 3_000))
    source = open_source(str(path), Wishes(center_hz=15.1e6))
    (heard,) = source.stream(seconds=None)
    assert (heard.center_hz, heard.samples.size) == (15e6, 2_000)
    assert source.info.centers_hz == (10.5e6, 15e6)
    source.close()


def test_what_lay_ahead_goes_on_into_a_recording_of_the_recording(
    run: Run, recorded: Callable[..., Path], tmp_path: Path
) -> None:
    path = recorded("--converter", "+125M", "--pad", "20dB", "--center", "10.5M")
    assert run("record", "--from", path, "--out", tmp_path / "copy").code == 0
    first, second = (
        json.loads(at.read_text())["global"] for at in (path, tmp_path / "copy.sigmf-meta")
    )
    for key in ("core:sha512", "sniff:pad_db", "sniff:converter_hz", "sniff:inverted"):
        assert first[key] == second[key]


def test_a_trigger_watches_a_line_behind_what_lies_ahead(
    run: Run, scene: Path, tmp_path: Path
) -> None:
    """At the level that a look shows, a pad of 20 dB taken out."""
    words = [
        *("--from", f"bench:{scene}", "--seconds", 1, "--ppm", 40, "--u-ppm", 1, "--json"),
        *("--converter", "200M", "--inverted", "--center", "64.5M", "--pad", "20dB"),
    ]
    peaks = json.loads(run("look", *words).out)["result"]["peaks"]
    level_dbfs = next(peak["level_dbfs"] for peak in peaks if not peak["marks"])
    for away_db, events in ((-1, 1), (1, 0)):
        waiting = ("--when", "level", "--line", "64.3M", "--level", f"{level_dbfs + away_db}dB")
        answer = run("record", *words, *waiting, "--out", tmp_path / f"{away_db}")
        assert len(json.loads(answer.out)["result"]["events"]) == events
    data = json.loads((tmp_path / "-1.sigmf-meta").read_text())
    line = next(a for a in data["annotations"] if a["core:label"] == "line watched")
    # Heard at 135.7 MHz, which a crystal fast by 40 ppm reads 5.4 kHz too low.
    assert line["core:freq_lower_edge"] < 135.7e6 - 5_428 < line["core:freq_upper_edge"]


@pytest.mark.parametrize(
    "field",
    [
        {"pad_db": "much"},
        {"pad_db": 1e4},
        {"converter_hz": True},
        {"converter_hz": 1, "inverted": 2},
    ],
)
def test_damaged_fields_of_what_lay_ahead_are_refused(
    tmp_path: Path, field: dict[str, object]
) -> None:
    fields = {f"sniff__{key}": value for key, value in field.items()}
    path = write_pair(tmp_path, metadata(**fields), random_bytes(2_000))
    with pytest.raises(SourceError, match="sniff:"):
        open_source(str(path))


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
