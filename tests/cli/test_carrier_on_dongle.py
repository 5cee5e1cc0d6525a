"""``sniff carrier`` on a dongle: the real wrapper over the native stand-in."""

import json
from collections.abc import Callable

import pytest

from tests.cli.conftest import Answer
from tests.cli.test_dongle_commands import on_dongle, rtlsdr_library

__all__ = ["on_dongle", "rtlsdr_library"]


def test_a_carrier_is_tuned_beside_the_centre_and_judged_by_the_clock_given(
    on_dongle: Callable[..., Answer],
) -> None:
    """A tone at 100.1 MHz, 3 kHz above its nominal place, the crystal 30 ppm fast; the list holds
    channels in more than one tuning."""
    answer = on_dongle(
        "carrier", "--json", "--from", "dongle", "--gain", "20.7", "--seconds", "0.3",
        "--channels", "97.097M+1M*6", "--tolerance", "50ppm", "--ppm", 30, "--u-ppm", 0.1, ppm=30,
        tone_dbfs=-30, noise_dbfs=-55, pace=0,
    )  # fmt: skip
    assert answer.code == 0, answer.err
    data = json.loads(answer.out)
    found = data["result"]
    assert found["channel"] == "4"
    assert found["error_hz"] == pytest.approx(3_000.0, abs=5.0)
    assert found["verdict"] == "pass"
    assert found["modulation"]["kind"] == "none"
    assert abs(found["indicated_hz"] - data["source"]["centers_hz"][0]) > 10e3
    assert found["level_dbfs"] == pytest.approx(-30.0 + 20.7, abs=0.2)


def test_harmonics_are_tuned_to_and_said_to_be_rough(
    on_dongle: Callable[..., Answer],
) -> None:
    answer = on_dongle(
        "carrier", "--from", "dongle", "--gain", "20.7", "--seconds", "0.3", "--nominal",
        "100.1M", "--ppm", 30, "--u-ppm", 0.1, "--harmonics", 18, ppm=30,
    )  # fmt: skip
    assert answer.code == 0, answer.err
    assert "200.2" in answer.out
    assert "not seen: below" in answer.out
    assert "beyond the tuner" in answer.out  # 18 × 100.1 MHz
    assert "rough" in answer.err
