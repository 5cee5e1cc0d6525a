"""What a whole `sniff carrier` costs on one core, against real time."""

import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from tests.modulation.signals import frequency_modulated, in_noise

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(300)]

RATE_HZ = 2.4e6
SECONDS = 10


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """10 s at 2.4 MS/s, 48 MB: 75 kHz of deviation by 1 kHz; one second repeated, in phase."""
    size = int(RATE_HZ)
    samples = frequency_modulated(
        size, rate_hz=RATE_HZ, offset_hz=295_200.0, tones=[(75e3, 1e3)], amplitude=0.5
    )
    rng = np.random.default_rng(1)
    samples = in_noise(rng, samples, rate_hz=RATE_HZ, snr_db=30.0, width_hz=152e3, amplitude=0.5)
    codes = np.clip(np.round(samples.view(np.float64) * 127.5 + 127.5), 0, 255).astype(np.uint8)
    path = tmp_path_factory.mktemp("carrier") / "ten.cu8"
    path.write_bytes(codes.tobytes() * SECONDS)
    return path


def test_ten_seconds_of_a_wide_carrier_take_less_than_four_on_one_core(
    recording: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [
        *("carrier", "--from", recording, "--rate", "2.4M", "--center", "100M", "--quiet"),
        *("--nominal", "100.295M", "--tolerance", "50ppm", "--ppm", 0, "--u-ppm", 1),
    ]
    walls, loads = [], []
    for _ in range(3):
        begin, before = time.perf_counter(), os.times()
        subprocess.run(
            [sys.executable, "-m", "sniff", *map(str, words)], check=True, capture_output=True
        )
        walls.append(time.perf_counter() - begin)
        after = os.times()
        loads.append(
            after.children_user
            - before.children_user
            + after.children_system
            - before.children_system
        )
    with capsys.disabled():
        print(
            f"\ncarrier, 10 s at 2.4 MS/s: {min(walls):.2f} s, {min(loads):.2f} s of processor "
            f"time = {SECONDS / min(loads):.1f} times real time"
        )
    # Of processor time, which is what one core would take whatever else runs.
    assert min(loads) < 4.0
