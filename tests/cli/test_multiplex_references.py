"""``sniff calibrate`` by a multiplex: recordings of synthetic ones as a dongle makes them."""

import json
import re
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from sniff.multiplex.systems import SYSTEMS
from tests.cli.conftest import Run
from tests.multiplex.ofdm import dab, dvbt, heard
from tests.values import references as published

DAB_HZ = published.DAB_MHZ["12C"] * 1e6
DVBT_HZ = published.DVBT_MHZ["38"] * 1e6
Samples = npt.NDArray[np.complex64]


def dab_samples(
    ppm: float, *, rate_hz: float, off_hz: float, seconds: float, snr_db: float = 15.0
) -> Samples:
    rng = np.random.default_rng(31)
    return heard(
        dab(rng, seconds=seconds, view_hz=(-off_hz - 0.5 * rate_hz, -off_hz + 0.5 * rate_hz)),
        rng,
        seconds=seconds,
        channel_hz=DAB_HZ,
        center_hz=DAB_HZ - off_hz,
        rate_hz=rate_hz,
        ppm=ppm,
        snr_db=snr_db,
        echo=(35e-6, 0.3 - 0.4j),
    )


def dvbt_samples(ppm: float, *, rate_hz: float, off_hz: float, seconds: float) -> Samples:
    rng = np.random.default_rng(32)
    sent = dvbt(
        rng,
        seconds=seconds,
        mode=8,
        guard_part=4,
        pilots=SYSTEMS["dvbt8"][0].pilots,
        view_hz=(-off_hz - 0.5 * rate_hz, -off_hz + 0.5 * rate_hz),
    )
    return heard(
        sent,
        rng,
        seconds=seconds,
        channel_hz=DVBT_HZ,
        center_hz=DVBT_HZ - off_hz,
        rate_hz=rate_hz,
        ppm=ppm,
        snr_db=15.0,
        echo=(20e-6, -0.2 + 0.4j),
    )


def eight_bit(path: Path, samples: Samples, *, center_hz: float, rate_hz: float) -> tuple[str, ...]:
    """Recorded as the dongle's bytes; gives the words that open it."""
    codes = np.clip(np.round(samples.view(np.float32) * 127.5 + 127.5), 0, 255)
    path.write_bytes(codes.astype(np.uint8).tobytes())
    return ("--from", str(path), "--center", f"{center_hz:.0f}", "--rate", f"{rate_hz:.0f}")


@pytest.fixture(scope="module")
def dab_file(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, ...]:
    """A slice of 256 kHz about the middle of block 12C, clock 37.2 ppm fast."""
    samples = dab_samples(37.2, rate_hz=256e3, off_hz=-30e3, seconds=1.1)
    path = tmp_path_factory.mktemp("dab") / "dab.cu8"
    return eight_bit(path, samples, center_hz=DAB_HZ + 30e3, rate_hz=256e3)


@pytest.fixture(scope="module")
def dvbt_file(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, ...]:
    """1.2 of the 8 MHz of channel 38, clock 61.8 ppm slow."""
    samples = dvbt_samples(-61.8, rate_hz=1.2e6, off_hz=150e3, seconds=0.4)
    path = tmp_path_factory.mktemp("dvbt") / "dvbt.cu8"
    return eight_bit(path, samples, center_hz=DVBT_HZ - 150e3, rate_hz=1.2e6)


@pytest.mark.parametrize("reference", ["dab:12C", "dab:227.36M"])
def test_a_dab_block_tells_the_clock_to_0_02_ppm(
    run: Run, dab_file: tuple[str, ...], reference: str
) -> None:
    answer = run("calibrate", "--json", *dab_file, "--reference", reference)
    assert answer.code == 0, answer.err
    data = json.loads(answer.out)
    assert data["result"]["ppm"] == pytest.approx(37.2, abs=0.02)
    # The block's own limit of 0.01 ppm, rectangular, and a little for the estimate.
    assert 0.01 / 3**0.5 <= data["result"]["u_ppm"] < 0.007
    assert data["cautions"] == []


def test_a_part_of_a_dvbt_channel_tells_the_clock_to_0_02_ppm(
    run: Run, dvbt_file: tuple[str, ...]
) -> None:
    answer = run("calibrate", "--json", *dvbt_file, "--reference", "dvbt8:38")
    assert answer.code == 0, answer.err
    result = json.loads(answer.out)["result"]
    assert result["ppm"] == pytest.approx(-61.8, abs=0.02)
    assert 0.01 / 3**0.5 <= result["u_ppm"] < 0.007


def test_a_carrier_is_then_read_right(run: Run, dab_file: tuple[str, ...]) -> None:
    """Kept, and applied by name: the whole way of a calibration."""
    assert run("calibrate", *dab_file, "--reference", "dab:12C", "--save", "mine").code == 0
    looked = run("look", "--json", "--from", "bench:room", "--clock", "mine")
    assert json.loads(looked.out)["clock"]["ppm"] == pytest.approx(37.2, abs=0.02)
    assert "dab 12C" in json.loads(looked.out)["clock"]["origin"]


def refused(run: Run, words: tuple[str, ...]) -> str:
    answer = run("calibrate", *words)
    assert answer.code == 4, answer
    assert answer.out == ""
    assert len(answer.err.strip().splitlines()) == 1
    return answer.err


def test_another_systems_multiplex_is_named(run: Run, dvbt_file: tuple[str, ...]) -> None:
    said = refused(run, (*dvbt_file, "--reference", "dvbt7:610M"))
    assert "DVB-T 8k in 8 MHz" in said
    assert "--reference dvbt8:" in said


def test_the_wrong_block_is_outside(run: Run, dab_file: tuple[str, ...]) -> None:
    assert "outside what" in refused(run, (*dab_file, "--reference", "dab:5A"))


def test_a_neighbouring_blocks_centre_is_not_taken(run: Run, dab_file: tuple[str, ...]) -> None:
    """Stated 64 kHz beside: 281 ppm."""
    said = refused(run, (*dab_file, "--reference", "dab:227.424M"))
    found = re.search(r"its centre is not 227.424 MHz but about ([0-9.]+) MHz", said)
    assert found
    # As sure as the symbols' clock: some 9 ppm.
    assert float(found[1]) == pytest.approx(227.36, abs=0.002)


def test_too_short_is_said(run: Run, dab_file: tuple[str, ...]) -> None:
    said = refused(run, (*dab_file, "--reference", "dab:12C", "--seconds", "0.4"))
    assert "400 ms are too short" in said
    assert "at least 1 s" in said


def test_no_multiplex_is_said(run: Run, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    noise = (0.1 * rng.standard_normal(2 * 1_200_000)).astype(np.float32).view(np.complex64)
    words = eight_bit(tmp_path / "n.cu8", noise, center_hz=DVBT_HZ, rate_hz=1.2e6)
    said = refused(run, (*words, "--reference", "dvbt8:38"))
    assert "no DVB-T 8k in 8 MHz or DVB-T 2k in 8 MHz stands out" in said


def test_too_weak_is_said(run: Run, tmp_path: Path) -> None:
    samples = 0.2 * dab_samples(5.0, rate_hz=256e3, off_hz=-30e3, seconds=1.1, snr_db=-8.0)
    words = eight_bit(tmp_path / "w.cu8", samples, center_hz=DAB_HZ + 30e3, rate_hz=256e3)
    assert "too weak" in refused(run, (*words, "--reference", "dab:12C"))


def test_overload_is_said(run: Run, tmp_path: Path) -> None:
    samples = 8.0 * dab_samples(5.0, rate_hz=256e3, off_hz=-30e3, seconds=0.5)
    words = eight_bit(tmp_path / "o.cu8", samples, center_hz=DAB_HZ + 30e3, rate_hz=256e3)
    assert "overloaded; less gain" in refused(run, (*words, "--reference", "dab:12C"))


def test_a_sampler_beyond_200_ppm_is_another_stations_or_rates(run: Run, tmp_path: Path) -> None:
    """A recording whose rate is stated 0.1 % too high."""
    samples = dab_samples(5.0, rate_hz=256e3, off_hz=-30e3, seconds=1.1)
    words = eight_bit(tmp_path / "r.cu8", samples, center_hz=DAB_HZ + 30e3, rate_hz=256.08e3)
    said = refused(run, (*words, "--reference", "dab:12C"))
    assert "more than ±200 ppm" in said


def test_where_several_clocks_suit_none_is_chosen(run: Run, tmp_path: Path) -> None:
    """400 kHz beside the middle, neither it nor an edge is in view."""
    samples = dab_samples(-20.0, rate_hz=256e3, off_hz=-400e3, seconds=1.1)
    words = eight_bit(tmp_path / "s.cu8", samples, center_hz=DAB_HZ + 400e3, rate_hz=256e3)
    said = refused(run, (*words, "--reference", "dab:12C"))
    assert "clocks would suit it" in said
    assert "none is chosen" in said


def test_a_clock_that_drifts_meanwhile_is_a_caution_and_in_u(run: Run, tmp_path: Path) -> None:
    samples = dab_samples(10.0, rate_hz=256e3, off_hz=-30e3, seconds=1.1)
    t = np.arange(samples.size) / 256e3
    drifting = (samples * np.exp(1j * np.pi * 27.0 * (t - t.mean()) ** 2)).astype(np.complex64)
    words = eight_bit(tmp_path / "d.cu8", drifting, center_hz=DAB_HZ + 30e3, rate_hz=256e3)
    answer = run("calibrate", "--json", *words, "--reference", "dab:12C")
    data = json.loads(answer.out)
    assert [caution["code"] for caution in data["cautions"]] == ["reference-unsteady"]
    # 30 Hz over the take: a spread of 30 / sqrt(12) Hz.
    assert data["result"]["u_ppm"] == pytest.approx(30 / 12**0.5 / DAB_HZ * 1e6, rel=0.2)
