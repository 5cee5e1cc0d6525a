"""Real or made by the receiver: the bench's planted causes, and closed forms."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.model import Peak
from sniff.prove import Proof, Trial, prove
from tests.cli.conftest import Run, run

__all__ = ["run"]


def peak(hz: float, level_dbfs: float = -40.0, u_hz: float = 1.0) -> Peak:
    return Peak(
        indicated_hz=hz, u_indicated_hz=u_hz, level_dbfs=level_dbfs, snr_db=30.0, width_hz=0.0
    )


def moved(*peaks: Peak, by_hz: float = 10_000.0) -> Trial:
    return Trial(moved_hz=by_hz, less_gain_db=0.0, rbw_hz=500.0, peaks=peaks)


def weakened(*peaks: Peak, by_db: float = 6.0) -> Trial:
    return Trial(moved_hz=0.0, less_gain_db=by_db, rbw_hz=500.0, peaks=peaks)


@given(
    st.floats(50e6, 1e9),
    st.sampled_from([(0, Proof.REAL), (1, Proof.OWN), (2, Proof.IMAGE)]),
    st.sampled_from([-10_000.0, 7_300.0]),
)
def test_where_a_peak_goes_when_the_centre_moves_tells_what_it_is(
    hz: float, case: tuple[int, Proof], by_hz: float
) -> None:
    times, expected = case
    there = peak(hz + times * by_hz)
    assert prove([peak(hz)], moved(there, by_hz=by_hz), None) == (expected,)


def test_a_peak_that_is_gone_or_in_two_places_is_not_proved() -> None:
    assert prove([peak(100e6)], moved(), None) == (Proof.UNPROVEN,)
    both = moved(peak(100e6), peak(100.01e6))
    assert prove([peak(100e6)], both, None) == (Proof.UNPROVEN,)


@pytest.mark.parametrize(
    ("fall_db", "expected"),
    [(6.0, Proof.REAL), (5.0, Proof.REAL), (18.0, Proof.OVERLOAD), (0.0, Proof.OWN)],
)
def test_how_far_it_falls_with_the_gain_tells_the_rest(fall_db: float, expected: Proof) -> None:
    """A third-order product falls by 3 dB for each decibel of gain (common practice, no source)."""
    stays = moved(peak(100e6))
    found = prove([peak(100e6)], stays, weakened(peak(100e6, -40.0 - fall_db)))
    assert found == (expected,)


def test_a_line_compressed_by_an_overload_is_not_called_the_receivers_own() -> None:
    stays, fallen = moved(peak(100e6)), weakened(peak(100e6, -40.5))
    assert prove([peak(100e6)], stays, fallen, overloaded=True) == (Proof.UNPROVEN,)


def proofs_of(run: Run, *words: object) -> dict[float, str]:
    answer = run("look", "--json", "--prove", "--ppm", 50.3, "--u-ppm", 0.5, *words)
    assert answer.code == 0
    peaks = json.loads(answer.out)["result"]["peaks"]
    return {round(peak["frequency_hz"] / 1e6, 2): peak["proof"] for peak in peaks}


def test_on_the_bench_real_lines_image_and_dc_are_told_apart(run: Run) -> None:
    """Truth of the scene: carriers at 97.7, 98.2 and 99.1 MHz; one at 101.7 MHz, outside the band,
    whose RF image falls near 98.36 MHz."""
    found = proofs_of(run, "--from", "bench:room")
    assert [found[mhz] for mhz in (97.7, 98.2, 99.1)] == ["real"] * 3
    assert found[98.37] == "image"
    assert found[98.5] == "own"


def test_on_the_bench_products_of_an_overload_are_not_proved_real(run: Run) -> None:
    found = proofs_of(run, "--from", "bench:room", "--gain", 49.6, "--seconds", 0.3)
    real = {mhz for mhz, proof in found.items() if proof == "real"}
    assert 99.1 in real
    assert real <= {97.7, 98.2, 99.1}


def test_a_recording_cannot_be_tuned_for_it(run: Run) -> None:
    from sniff.sources.shipped import shipped_recordings

    recording = shipped_recordings() / "tour-guide-good.sigmf-meta"
    answer = run("look", "--prove", "--from", recording)
    assert answer.code == 2
    assert "--prove" in answer.err
