"""What reading a dongle costs, over the stand-in for its driver."""

import multiprocessing
import statistics
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from sniff.sources.dongle.settling import SettlingRule
from tests.sources.dongle.conftest import Standin, loaded, rtlsdr_library, standin
from tests.sources.dongle.test_leaks import leaves_nothing

__all__ = ["loaded", "rtlsdr_library", "standin"]

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(300)]

_SECONDS = 10.0


def _spin() -> None:
    while True:
        pass


@pytest.fixture
def busy_core() -> Iterator[None]:
    """Another process that keeps one core busy."""
    process = multiprocessing.get_context("spawn").Process(target=_spin, daemon=True)
    process.start()
    yield
    process.kill()
    process.join()


def test_no_sample_is_lost_in_ten_seconds_beside_a_busy_core(
    standin: Standin, busy_core: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    noise = np.random.default_rng(1).integers(0, 256, 2**22, dtype=np.uint8)
    (tmp_path / "noise").write_bytes(noise.tobytes())
    standin.set(pace=1, file=tmp_path / "noise")  # served, not made: the cost is ours
    source = standin.open()
    load_s, begin_s = time.process_time(), time.perf_counter()
    samples = sum(block.samples.size for block in source.stream(seconds=_SECONDS))
    share = (time.process_time() - load_s) / (time.perf_counter() - begin_s)
    with capsys.disabled():
        print(f"\nstream at 2.4 MS/s: {100 * share:.1f} % of one core, lost {source.lost_samples}")
    assert samples == round(_SECONDS * 2.4e6)
    assert source.lost_samples == 0
    assert share < 0.2  # `record` may take 35 % in all, `look` 60 %


def test_a_hop_costs_less_than_five_milliseconds_beyond_settling(
    standin: Standin, capsys: pytest.CaptureFixture[str]
) -> None:
    standin.set(pace=1)
    source = standin.open(rule=SettlingRule(least_s=5e-3, most_s=5e-3))
    over_s = []
    for hop in range(60):
        begin_s = time.perf_counter()
        source.tune(100e6 + hop * 1.7e6)
        *_, last = source.stream(seconds=0.01)
        over_s.append(time.perf_counter() - begin_s - 5e-3 - 10e-3)
        assert last.center_hz == source.tuning.center_hz
    with capsys.disabled():
        print(
            f"\nhop: {1e3 * statistics.median(over_s):.2f} ms median,"
            f" {1e3 * max(over_s):.2f} ms at most, beyond settling and listening"
        )
    assert statistics.median(over_s) < 5e-3


@pytest.mark.parametrize(("cycles", "trouble"), [(1000, None), (100, "unplug")])
def test_a_thousand_cycles_and_a_hundred_unplugs_leave_nothing(
    standin: Standin, cycles: int, trouble: str | None
) -> None:
    leaves_nothing(standin, cycles, trouble)
