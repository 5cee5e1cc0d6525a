"""Opening, closing, unplugging and stalling leave nothing behind."""

import gc
import threading

import psutil
import pytest

from sniff.errors import SourceError
from sniff.sources.dongle.settling import SettlingRule
from tests.sources.dongle.conftest import Standin

_QUICK = SettlingRule(least_s=0, most_s=0)
_ALLOWED_BYTES = 8 * 2**20  # the allocator's own ups and downs; a handle's ring alone is 2 MiB


def _once(standin: Standin, trouble: str | None) -> None:
    standin.ask("forget")
    # Short only where a silence is the trouble: a busy machine is silent for a moment as well.
    source = standin.open(rule=_QUICK, stall_s=0.15 if trouble == "stall" else 5.0)
    if trouble:
        standin.set(**{trouble: -9 if trouble == "tune" else 100_000})
    try:
        for _ in source.stream(seconds=0.05):
            pass
        source.tune(100.5e6)
    except SourceError:
        assert trouble
    else:
        assert not trouble
    if trouble:
        standin.set(**{trouble: None})
    source.close()


def _open_files(process: psutil.Process) -> int:
    return process.num_handles() if psutil.WINDOWS else process.num_fds()


def leaves_nothing(standin: Standin, cycles: int, trouble: str | None) -> None:
    """Fails when so many cycles leave a thread, a file, a handle, or memory."""
    standin.set(pace=20)
    process = psutil.Process()
    for _ in range(10):
        _once(standin, trouble)
    gc.collect()
    before = threading.active_count(), _open_files(process), standin.ask("open_handles")
    memory = process.memory_info().rss
    for _ in range(cycles):
        _once(standin, trouble)
    gc.collect()
    assert (threading.active_count(), _open_files(process), standin.ask("open_handles")) == before
    assert process.memory_info().rss - memory < _ALLOWED_BYTES


@pytest.mark.parametrize(
    ("cycles", "trouble"), [(100, None), (40, "unplug"), (20, "stall"), (20, "tune")]
)
def test_cycles_leave_no_thread_no_file_and_no_memory(
    standin: Standin, cycles: int, trouble: str | None
) -> None:
    leaves_nothing(standin, cycles, trouble)
