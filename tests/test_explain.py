"""The budget of a reading adds up to its own uncertainty."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.correction import Converter, Correction
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
