"""The tuner's arithmetic against what the real packaged driver writes into the chips.

The driver runs over a stand-in for the USB library (tests/standin/usb.c), so the expected values
are those of the driver itself, decoded by the register descriptions of the chips.
"""

import json
import os
import random
import subprocess
import sys
from collections.abc import Callable
from math import ceil
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from calib.tuner import (
    R828D_CLOCK_HZ,
    Tuning,
    direct_sampling_tuning,
    e4000_tuning,
    fc0012_tuning,
    fc0013_tuning,
    r82xx_filter,
    r82xx_tuning,
    resampler_ratio,
)

_ROOT = Path(__file__).parents[2]
_UPCONVERTER_HZ = 28_800_000


class Setting(NamedTuple):
    frequency_hz: int
    rate_hz: int
    bandwidth_hz: int


def _settings(count: int, low_hz: int, high_hz: int, seed: int) -> list[Setting]:
    """Random settings, frequencies even in the logarithm so that each divider has its share."""
    chance = random.Random(seed)
    return [
        Setting(
            int(low_hz * (high_hz / low_hz) ** chance.random()),
            chance.choice([chance.randint(900_001, 3_200_000), chance.randint(225_001, 300_000)]),
            chance.choice([chance.randint(200_000, 3_200_000), chance.randint(200_000, 8_000_000)]),
        )
        for _ in range(count)
    ]


def _around(edges_hz: list[float], rate_hz: int = 2_400_000) -> list[Setting]:
    """Settings on both sides of each edge, where a divider or a rounding changes."""
    return [
        Setting(round(edge_hz) + offset_hz, rate_hz, rate_hz)
        for edge_hz in edges_hz
        for offset_hz in (-501, -500, -499, -1, 0, 1, 499, 500, 501)
    ]


def _ask_driver(
    tuner: str, settings: list[Setting], library: Path, *words: str
) -> list[dict[str, Any]]:
    done = subprocess.run(
        [sys.executable, "-m", "tests.standin.driver_registers", *words],
        input=json.dumps([setting._asdict() for setting in settings]),
        cwd=_ROOT,
        env={**os.environ, "LD_PRELOAD": str(library), "STANDIN_TUNER": tuner},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    answers: list[dict[str, Any]] = json.loads(done.stdout)
    assert len(answers) == len(settings)
    return answers


def _nco(answer: dict[str, Any]) -> int:
    """The NCO's word, 22 bits, negative in the chip."""
    high, middle, low = answer["demodulator"][0x19:0x1C]
    return -(high << 16 | middle << 8 | low) & 0x3F_FFFF


def _resampler(answer: dict[str, Any]) -> int:
    return int.from_bytes(bytes(answer["demodulator"][0x9F:0xA3]), "big")


def _r82xx(answer: dict[str, Any]) -> tuple[int, int, int]:
    """Divider, whole part and fraction (register description of the R820T2: R16, R20 to R22)."""
    tuner = answer["tuner"]
    nint = 4 * (tuner[20] & 0x3F) + (tuner[20] >> 6) + 13
    return 2 << (tuner[16] >> 5), nint, tuner[22] << 8 | tuner[21]


def _v4_tuning(frequency_hz: int, bandwidth_hz: int) -> Tuning:
    up_hz = _UPCONVERTER_HZ if frequency_hz < _UPCONVERTER_HZ else 0
    return r82xx_tuning(frequency_hz + up_hz, bandwidth_hz=bandwidth_hz)


@pytest.mark.parametrize(
    ("tuner", "low_hz", "high_hz", "model"),
    [
        ("r820t", 27_900_000, 1_765_000_000, lambda f, b: r82xx_tuning(f, bandwidth_hz=b)),
        (
            "r828d",
            27_900_000,
            1_765_000_000,
            lambda f, b: r82xx_tuning(f, bandwidth_hz=b, tuner_clock_hz=R828D_CLOCK_HZ),
        ),
        ("v4", 500_000, 1_765_000_000, _v4_tuning),
    ],
)
def test_r82xx_tuning_is_what_the_real_driver_writes(
    usb_library: Path,
    tuner: str,
    low_hz: int,
    high_hz: int,
    model: Callable[[int, int], Tuning],
) -> None:
    settings = _settings(300, low_hz, high_hz, seed=820)
    settings += _around([1.77e9 / m - 1.6e6 for m in (2, 4, 8, 16, 32)])  # IF of 2.4 MHz
    for setting, answer in zip(settings, _ask_driver(tuner, settings, usb_library), strict=True):
        tuning = model(setting.frequency_hz, setting.bandwidth_hz)
        assert answer["results"] == [0, 0, 0], setting
        assert _r82xx(answer) == (tuning.divider, tuning.nint, tuning.sdm), setting
        assert _nco(answer) == tuning.nco, setting
        assert answer["applied_hz"] == r82xx_filter(setting.bandwidth_hz)[0], setting
        assert _resampler(answer) == resampler_ratio(setting.rate_hz) & 0x0FFF_FFFC, setting


@pytest.mark.parametrize("tuner", ["r820t"])
def test_r82xx_if_follows_from_the_rate_where_the_bandwidth_is_left_alone(
    usb_library: Path, tuner: str
) -> None:
    settings = [
        Setting(100_000_000, rate_hz, 0)
        for rate_hz in (250_000, 1_024_000, 1_800_000, 2_048_000, 2_400_000, 2_560_000, 3_200_000)
    ]
    for setting, answer in zip(settings, _ask_driver(tuner, settings, usb_library), strict=True):
        tuning = r82xx_tuning(setting.frequency_hz, bandwidth_hz=setting.rate_hz)
        assert _nco(answer) == tuning.nco, setting


def test_e4000_tuning_is_what_the_real_driver_writes(usb_library: Path) -> None:
    settings = _settings(150, 52_000_000, 2_200_000_000, seed=4000)
    settings += _around(
        [72.4e6, 81.2e6, 108.3e6, 162.5e6, 216.6e6, 325e6, 350e6, 432e6, 667e6, 1.2e9]
    )
    for setting, answer in zip(settings, _ask_driver("e4000", settings, usb_library), strict=True):
        tuning = e4000_tuning(setting.frequency_hz)
        # Register description: Z in 0x09, X in 0x0a (low) and 0x0b (high).
        registers = answer["tuner"]
        assert registers[0x09] == tuning.nint, setting
        assert registers[0x0B] << 8 | registers[0x0A] == tuning.sdm, setting
        assert _nco(answer) == tuning.nco == 0, setting


@pytest.mark.parametrize(
    ("tuner", "high_hz", "model"),
    [("fc0012", 948_000_000, fc0012_tuning), ("fc0013", 1_100_000_000, fc0013_tuning)],
)
def test_fc001x_tuning_is_what_the_real_driver_writes(
    usb_library: Path, tuner: str, high_hz: int, model: Callable[[float], Tuning]
) -> None:
    settings = _settings(150, 22_000_000, high_hz, seed=12)
    # The divider changes where the VCO passes 3.56 GHz, rounded up to a kilohertz, and once more
    # at 950 MHz, which only the FC0013 reaches; just below lies a gap in which the driver fails.
    settings += _around([ceil(3.56e6 / m) * 1e3 for m in (96, 64, 48, 32, 24, 16, 12, 8, 6)])
    settings += _around([948_599_499] + ([948_600_500, 950e6] if tuner == "fc0013" else []))
    answers = _ask_driver(tuner, settings, usb_library)
    assert sum(answer["results"] == [0, 0, 0] for answer in answers) > 0.9 * len(answers)
    for setting, answer in zip(settings, answers, strict=True):
        if answer["results"][-1] != 0:
            with pytest.raises(ValueError, match="cannot be tuned"):
                model(setting.frequency_hz)
            continue
        tuning = model(setting.frequency_hz)
        # The driver splits the ratio into 8 * register 2 + register 1, and rounds it up where the
        # fraction, then a negative 16-bit number, is above one half.
        _, ones, eights, high, low = answer["tuner"][:5]
        fraction = int.from_bytes(bytes([high, low]), "big", signed=True)
        assert (8 * eights + ones) * 2**15 + fraction == tuning.nint * 2**15 + tuning.sdm, setting
        assert _nco(answer) == 0, setting


def test_direct_sampling_is_what_the_real_driver_writes(usb_library: Path) -> None:
    settings = _settings(100, 10_000, 14_400_000, seed=455)
    answers = _ask_driver("r820t", settings, usb_library, "direct")
    for setting, answer in zip(settings, answers, strict=True):
        assert _nco(answer) == direct_sampling_tuning(setting.frequency_hz).nco, setting
