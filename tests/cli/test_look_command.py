"""``sniff look`` on the real recordings, whose truth was measured outside this project."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run


def test_the_hand_helds_carrier_is_found_with_a_u_that_says_how_well(
    run: Run, shipped: Path
) -> None:
    """+30 268.9 ± 1 Hz from the centre (recordings/README.md: an independent script)."""
    answer = run(
        "look",
        "--json",
        "--from",
        shipped / "nfm_voice_144.470M_280k.sigmf-meta",
        "--ppm",
        0,
        "--u-ppm",
        0,
    )
    assert answer.code == 0
    data = json.loads(answer.out)
    assert data["schema"] == "sniff/1"
    peak = data["result"]["peaks"][0]
    assert peak["indicated_hz"] - 144.47e6 == pytest.approx(30_268.9, abs=1.0)
    assert peak["frequency_hz"] == peak["indicated_hz"]
    # The carrier started 5 Hz low and carries speech: not millihertz, and not kilohertz.
    assert 0.5 < peak["u_hz"] < 5.0
    assert abs(peak["indicated_hz"] - 144.47e6 - 30_268.9) < 2 * peak["u_hz"]


def test_while_unmodulated_it_is_found_within_a_hertz(run: Run, shipped: Path) -> None:
    answer = run(
        "look",
        "--json",
        "--from",
        shipped / "nfm_voice_144.470M_280k.sigmf-meta",
        "--start",
        4.0,
        "--seconds",
        0.4,
        "--ppm",
        0,
        "--u-ppm",
        0,
    )
    peak = json.loads(answer.out)["result"]["peaks"][0]
    assert peak["indicated_hz"] - 144.47e6 == pytest.approx(30_268.9, abs=1.0)
    assert peak["u_hz"] < 1.0


def test_the_receivers_spurs_of_the_real_recording_are_found(run: Run, shipped: Path) -> None:
    """0, −114 980 and +121 406 Hz, to one Welch bin (recordings/README.md)."""
    answer = run(
        "look",
        "--json",
        "--from",
        shipped / "nfm_voice_144.470M_280k.sigmf-meta",
        "--seconds",
        0.9,
    )
    peaks = json.loads(answer.out)["result"]["peaks"]
    offsets = [peak["indicated_hz"] - 144.47e6 for peak in peaks]
    for spur_hz in (0.0, -114_980.0, 121_406.0):
        assert min(abs(offset - spur_hz) for offset in offsets) < 70.0
    dc = min(peaks, key=lambda peak: abs(peak["indicated_hz"] - 144.47e6))
    assert dc["marks"] == ["dc"]


def test_an_overdriven_recording_raises_the_caution(run: Run, shipped: Path) -> None:
    answer = run("look", "--from", shipped / "wmbus_t1_868.950M_1600k.sigmf-meta")
    assert answer.code == 0
    assert "overload" in answer.err


def test_a_recording_below_the_rails_does_not(run: Run, shipped: Path) -> None:
    answer = run("look", "--from", shipped / "ook_433.800M_1000k.sigmf-meta")
    assert "overload" not in answer.err


def test_the_keyed_remote_has_its_drift_in_its_u(run: Run, shipped: Path) -> None:
    """+51 380 Hz at the first pulse to +50 510 Hz at the last (recordings/README.md)."""
    answer = run(
        "look",
        "--json",
        "--from",
        shipped / "ook_433.800M_1000k.sigmf-meta",
        "--ppm",
        0,
        "--u-ppm",
        0,
    )
    peak = json.loads(answer.out)["result"]["peaks"][0]
    assert 50_510 < peak["indicated_hz"] - 433.8e6 < 51_380
    assert 100 < peak["u_hz"] < 600


def test_raw_samples_need_rate_and_centre_and_give_the_same(run: Run, shipped: Path) -> None:
    raw = run(
        "look",
        "--json",
        "--from",
        shipped / "ook_433.800M_1000k.cu8",
        "--rate",
        "1M",
        "--center",
        "433.8M",
    )
    described = run("look", "--json", "--from", shipped / "ook_433.800M_1000k.sigmf-meta")
    assert json.loads(raw.out)["result"] == json.loads(described.out)["result"]


def test_an_unknown_clock_is_a_caution_and_a_wide_u(run: Run, shipped: Path) -> None:
    answer = run("look", "--json", "--from", shipped / "tour-guide-good.sigmf-meta")
    data = json.loads(answer.out)
    assert data["clock"]["ppm"] == 0.0
    assert data["clock"]["u_ppm"] == pytest.approx(100 / 3**0.5)
    assert "clock" in [caution["code"] for caution in data["cautions"]]
    assert data["result"]["peaks"][0]["u_hz"] == pytest.approx(74.7e6 * 57.7e-6, rel=0.01)


def test_the_text_tells_the_peak_and_the_cautions_go_to_stderr(run: Run, shipped: Path) -> None:
    answer = run(
        "look",
        "--from",
        shipped / "tour-guide-good.sigmf-meta",
        "--center",
        "85.36M",
        "--ppm",
        28.8,
        "--u-ppm",
        0.3,
    )
    assert "85.40031" in answer.out
    assert "the receiver's own centre" in answer.out
    assert "\x1b" not in answer.out
    assert "74.66001 MHz, 28.440005 MHz" in answer.err


def test_quiet_keeps_cautions_off_stderr(run: Run, shipped: Path) -> None:
    answer = run("look", "--quiet", "--from", shipped / "tour-guide-good.sigmf-meta")
    assert answer.err == ""


@pytest.mark.parametrize("suffix", ["png", "svg", "pdf"])
def test_pictures_are_written(run: Run, shipped: Path, tmp_path: Path, suffix: str) -> None:
    plot, course = tmp_path / f"plot.{suffix}", tmp_path / f"course.{suffix}"
    answer = run(
        "look",
        "--from",
        shipped / "tour-guide-good.sigmf-meta",
        "--plot",
        plot,
        "--course",
        course,
    )
    assert answer.code == 0
    heads = {"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}
    for picture in (plot, course):
        assert picture.read_bytes().startswith(heads[suffix])


def test_a_finer_rbw_is_met_and_told(run: Run, shipped: Path) -> None:
    answer = run(
        "look",
        "--json",
        "--from",
        shipped / "ook_433.800M_1000k.sigmf-meta",
        "--rbw",
        "2k",
        "--window",
        "blackman-harris",
    )
    result = json.loads(answer.out)["result"]
    assert result["rbw_hz"] == pytest.approx(2_000, rel=0.05)
    assert result["window"] == "blackman-harris"


def test_a_live_source_cannot_be_begun_later(run: Run) -> None:
    answer = run("look", "--from", "bench:tour-guide-good", "--start", "1")
    assert answer.code == 2
    assert answer.err == (
        "sniff: bench:tour-guide-good: --start is for a recording; leave it out\n"
    )
