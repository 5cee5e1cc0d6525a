"""What a whole `sniff look` costs, as ratios in one run: to SciPy, to length."""

import sys
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.peak import peak_bytes
from tests.benchmarks.processes import cost_of

pytestmark = pytest.mark.timeout(300)

RATE_HZ = 2.4e6
SECONDS = 10
MEGABYTE = 2**20


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """10 s at 2.4 MS/s, 48 MB: noise and two carriers, one second of it repeated."""
    rng = np.random.default_rng(1)
    n = int(RATE_HZ)
    t = np.arange(n) / RATE_HZ
    samples = 0.1 * np.exp(2j * np.pi * 295_200.0 * t) + 0.02 * np.exp(-2j * np.pi * 562_800.0 * t)
    samples += 0.03 * rng.standard_normal((n, 2)).view(np.complex128).ravel()
    codes = np.clip(np.round(samples.view(np.float64) * 127.5 + 127.5), 0, 255).astype(np.uint8)
    path = tmp_path_factory.mktemp("look") / "ten.cu8"
    path.write_bytes(codes.tobytes() * SECONDS)
    return path


def look_at(path: Path) -> list[object]:
    return ["look", "--from", path, "--rate", "2.4M", "--center", "100M", "--quiet"]


@pytest.mark.benchmark
def test_a_whole_look_is_faster_than_a_bare_scipy_welch(
    recording: Path, plain_s: float, capsys: pytest.CaptureFixture[str]
) -> None:
    cost = cost_of(sys.executable, "-m", "sniff", *look_at(recording))
    ours = cost.processor_s
    with capsys.disabled():
        print(
            f"\nlook, 10 s at 2.4 MS/s: {cost.wall_s:.2f} s, {ours:.2f} s of processor time = "
            f"{SECONDS / ours:.1f} times real time; numpy and scipy.signal.welch alone "
            f"{plain_s / ours:.1f} times as much"
        )
    assert plain_s / ours > 1.2


@pytest.mark.memory
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_memory_does_not_grow_with_the_length(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    longer = tmp_path / "twenty.cu8"
    longer.write_bytes(2 * recording.read_bytes())
    # With short segments even the shorter file is many stretches of the zoom.
    peaks = [peak_bytes(*look_at(path), "--rbw", "14k") for path in (recording, longer)]
    with capsys.disabled():
        print(
            f"\npeak memory of a look: {peaks[0] / MEGABYTE:.0f} MiB for 48 MB, "
            f"{peaks[1] / MEGABYTE:.0f} MiB for 96 MB"
        )
    assert max(peaks) < 300 * MEGABYTE
    assert peaks[1] < 1.15 * peaks[0]


@pytest.mark.benchmark
def test_help_costs_little_more_than_starting_python(
    capsys: pytest.CaptureFixture[str],
) -> None:
    bare = cost_of(sys.executable, "-c", "pass").processor_s
    helped = cost_of(sys.executable, "-m", "sniff", "--help").processor_s
    loaded = cost_of(sys.executable, "-c", "import numpy, scipy.signal").processor_s
    with capsys.disabled():
        print(
            f"\nsniff --help {helped * 1e3:.0f} ms; bare Python {bare * 1e3:.0f} ms; "
            f"importing scipy.signal {loaded * 1e3:.0f} ms"
        )
    assert helped < 0.5 * loaded
