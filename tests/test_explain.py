"""The budget of a reading adds up to its own uncertainty."""

import json
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.correction import Converter, Correction
from calib.profile import Profile
from sniff.explain import explain
from tests.cli.conftest import Run, run

__all__ = ["run"]


@given(
    st.floats(1e6, 2e9), st.floats(1e-3, 1e4), st.floats(0, 1e3), st.floats(0, 100), st.booleans()
)
def test_the_terms_add_up_to_the_readings_u(
    hz: float, own_hz: float, center_hz: float, u_ppm: float, converted: bool
) -> None:
    converter = Converter(shift_hz=125e6, u_hz=7.0) if converted else None
    clock = Correction(ppm=12.0, u_ppm=u_ppm, origin="test", converter=converter)
    u_hz = (own_hz**2 + center_hz**2) ** 0.5
    found = explain(
        "line",
        indicated_hz=hz,
        u_indicated_hz=u_hz,
        u_center_hz=center_hz,
        correction=clock,
        steady=True,
    )
    reading = clock.apply(hz, u_hz)
    assert found.frequency_hz == reading.value_hz
    # The digits shown add less than 0.2 % to it.
    assert found.budget.u == pytest.approx(reading.u_hz, rel=3e-3)


def test_the_command_prints_it(run: Run) -> None:
    answer = run("look", "--budget", "--quiet", "--from", "bench:room", "--seconds", 0.2)
    assert "clock: not calibrated" in answer.out
    assert "Combined u 5.7 kHz, U = 2 u = 11 kHz" in answer.out


def test_a_probe_explains_the_lines_it_read(run: Run) -> None:
    answer = run(
        "probe",
        "--budget",
        "--quiet",
        "--from",
        "bench:room",
        "--seconds",
        0.2,
        "--carrier",
        "99.1M",
        "--tolerance",
        "50ppm",
        "--ppm",
        50.3,
        "--u-ppm",
        0.5,
    )
    assert "99.1000" in answer.out
    assert answer.out.count("Combined u") == 1


def test_a_calibrated_clock_is_told_part_by_part() -> None:
    """References, age and warmth apart; parts add in quadrature (JCGM 100:2008, 5.1.2)."""
    made = datetime(2026, 1, 5, tzinfo=timezone.utc)
    profile = Profile(name="x", ppm=12.0, u_ppm=0.3, made=made, references=("lab 10 MHz",))
    clock = profile.correction(made + timedelta(days=73.05))
    found = explain(
        "line",
        indicated_hz=100e6,
        u_indicated_hz=2.0,
        u_center_hz=0.0,
        correction=clock,
        steady=True,
    )
    parts = {term.source.split(",")[0]: term for term in found.budget.terms}
    assert parts["clock: age"].contribution == pytest.approx(100 * 0.2 / 3**0.5)
    assert parts["clock: age"].distribution == "rectangular"
    assert parts["clock: warmth"].contribution == pytest.approx(100 * 2.0 / 3**0.5)
    assert found.budget.u == pytest.approx(clock.apply(100e6, 2.0).u_hz, rel=3e-3)


def test_the_json_object_carries_it_only_when_asked(run: Run) -> None:
    words = ("look", "--json", "--from", "bench:room", "--seconds", 0.2)
    assert "budgets" not in json.loads(run(*words).out)
    told = json.loads(run(*words, "--budget").out)
    first = told["budgets"][0]
    assert first["frequency_hz"] == told["result"]["peaks"][0]["frequency_hz"]
    assert first["u_hz"] == pytest.approx(told["result"]["peaks"][0]["u_hz"], rel=3e-3)
    squares = sum(term["part_hz"] ** 2 for term in first["terms"])
    assert squares**0.5 == pytest.approx(first["u_hz"])
    assert {term["degrees"] for term in first["terms"]} == {None}
