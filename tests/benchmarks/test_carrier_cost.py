"""What a whole `sniff carrier` costs on one core, as a ratio in one run: to SciPy's Welch."""

import sys
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.processes import cost_of
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


def test_a_wide_carrier_takes_little_more_than_a_bare_scipy_welch(
    recording: Path, plain_s: float, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [
        *("carrier", "--from", recording, "--rate", "2.4M", "--center", "100M", "--quiet"),
        *("--nominal", "100.295M", "--tolerance", "50ppm", "--ppm", 0, "--u-ppm", 1),
    ]
    cost = cost_of(sys.executable, "-m", "sniff", *words)
    ours = cost.processor_s
    with capsys.disabled():
        print(
            f"\ncarrier, 10 s at 2.4 MS/s: {cost.wall_s:.2f} s, {ours:.2f} s of processor time = "
            f"{SECONDS / ours:.1f} times real time; numpy and scipy.signal.welch alone "
            f"{plain_s / ours:.1f} times as much"
        )
    # On the machine of DEVELOPERS' figures the bare one takes 2.3 s, so that this is 4 s.
    assert ours < 1.7 * plain_s
