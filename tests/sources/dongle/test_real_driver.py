"""The source over the real packaged driver, with a stand-in for the USB library beneath it."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from calib.tuner import Tuning, r82xx_tuning, resampler_ratio

_ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def told(usb_library: Path) -> tuple[dict[str, Any], str]:
    """What the program tells, and what it left on standard error."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.sources.dongle.over_real_driver"],
        cwd=_ROOT,
        env={**os.environ, "LD_PRELOAD": str(usb_library)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout), done.stderr


def _synthesizer(registers: dict[str, list[int]]) -> tuple[int, int, int]:
    """Divider, whole part and fraction (register description of the R820T2)."""
    tuner = registers["tuner"]
    nint = 4 * (tuner[20] & 0x3F) + (tuner[20] >> 6) + 13
    return 2 << (tuner[16] >> 5), nint, tuner[22] << 8 | tuner[21]


def _matches(tuning: Tuning, registers: dict[str, list[int]]) -> bool:
    high, middle, low = registers["demodulator"][0x19:0x1C]
    nco = -(high << 16 | middle << 8 | low) & 0x3F_FFFF
    whole = (tuning.divider, tuning.nint, tuning.sdm)
    return _synthesizer(registers) == whole and nco == tuning.nco


def test_the_registers_are_those_of_the_settings(told: tuple[dict[str, Any], str]) -> None:
    answer, _ = told
    assert answer["listing"] == ["STANDIN1"]
    assert _matches(r82xx_tuning(100e6, bandwidth_hz=1.92e6), answer["opened"])
    retuned = r82xx_tuning(433.92e6, bandwidth_hz=1.92e6)
    assert _matches(retuned, answer["retuned"])
    assert answer["retuned_hz"] == retuned.center_hz
    demodulator = answer["opened"]["demodulator"]
    assert int.from_bytes(bytes(demodulator[0x9F:0xA3]), "big") == resampler_ratio(2_400_000)
    assert demodulator[0x3E:0x40] == [0, 0]  # the resampler's own ppm correction: untouched


def test_the_if_amplifier_is_held_over_gain_and_tuning_and_free_in_automatic(
    told: tuple[dict[str, Any], str],
) -> None:
    answer, _ = told
    # R12 (register description): bit 4 puts the IF amplifier under the demodulator's loop, bits
    # 3 to 0 are its step; step 8 is 16 dB.
    for when in ("opened", "retuned"):
        assert answer[when]["tuner"][12] & 0x1F == 8, when
    assert answer["automatic"]["tuner"][12] & 0x10


def test_all_samples_come_and_in_their_place(told: tuple[dict[str, Any], str]) -> None:
    answer, _ = told
    assert answer["samples"] == 720_000
    assert answer["in_place"]


def test_unplugging_is_told_and_the_dongle_opened_again(told: tuple[dict[str, Any], str]) -> None:
    answer, _ = told
    assert "was unplugged" in answer["unplugged"]
    assert answer["again"] == 240_000


def test_nothing_is_left_open_and_no_memory_freed_that_is_in_use(
    told: tuple[dict[str, Any], str],
) -> None:
    answer, _ = told
    assert answer["handles"] == 0
    # The driver frees requests that may still be under way when it is cancelled.
    assert answer["freed_in_flight"] == 0


def test_the_drivers_chatter_stays_off_the_terminal(told: tuple[dict[str, Any], str]) -> None:
    _, chatter = told
    assert "Found" not in chatter
    assert "Allocating" not in chatter
    assert "Exact sample rate" not in chatter
