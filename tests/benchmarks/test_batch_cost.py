"""What a batch costs beside the computation itself, and what a second worker gains.

Recordings of 1 s at 2.4 MS/s, asked the cheapest question (`look`), as figures of one run. The
clock runs from an early answer to the last: starting workers takes a second or two whatever the
number of recordings, and is told beside.
"""

import os
import sys
import time
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timezone
from pathlib import Path

import numpy as np
import psutil
import pytest

from sniff import __version__
from sniff.batch.journal import begun
from sniff.batch.nouns import Task
from sniff.batch.pool import ProcessPool, cores
from sniff.batch.running import run
from sniff.cli.batch_asking import Asking, Order
from sniff.cli.batch_questions import QUESTIONS
from tests.batch import work

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(300)]

RATE_HZ = 2.4e6
FILES = int(os.environ.get("SNIFF_BATCH_FILES", "60"))  # by hand 500
WARM = 8
"""Answers until all workers have begun."""
MEGABYTE = 2**20


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """As many links to three recordings as there are to be files."""
    folder = tmp_path_factory.mktemp("fleet")
    rng = np.random.default_rng(1)
    n = int(RATE_HZ)
    t = np.arange(n) / RATE_HZ
    for number in range(3):
        samples = 0.1 * np.exp(2j * np.pi * (295_200.0 + 7e3 * number) * t)
        samples += 0.02 * np.exp(-2j * np.pi * 562_800.0 * t)
        samples += 0.03 * rng.standard_normal((n, 2)).view(np.complex128).ravel()
        codes = np.clip(np.round(samples.view(np.float64) * 127.5 + 127.5), 0, 255)
        (folder / f"{number}.cu8").write_bytes(codes.astype(np.uint8).tobytes())
    for number in range(3, FILES):
        (folder / f"{number}.cu8").hardlink_to(folder / f"{number % 3}.cu8")
    return folder


@dataclass(frozen=True)
class Cost:
    """Seconds: of the whole, from the start of the workers on; and of each file, once they run."""

    whole: float
    each: float
    computing: float
    peaks: tuple[int, int]
    """Most memory of any worker so far, bytes: when all had begun, and at the end."""


def cost_of(folder: Path, workers: int) -> Cost:
    order = Order(
        question="look",
        options={"rate": ("--rate=2.4M",), "center": ("--center=100M",)},
        folder=str(folder),
        begun_utc=datetime.now(timezone.utc),
        software=__version__,
        kept={},
    )
    journal = begun(folder / f"by-{workers}", {}, resume=False)
    tasks = [Task(number=n, source=f"{n}.cu8", options={}) for n in range(FILES)]
    begin = time.perf_counter()
    came: list[float] = []
    computing: list[float] = []
    early = 0
    with closing(ProcessPool(workers, warm=QUESTIONS["look"].works)) as pool:
        for answer in run(tasks, Asking(order=order), pool, give_up=work.refuse):
            journal.keep(answer)
            came.append(time.perf_counter())
            computing.append(answer.seconds)
            if len(came) == WARM:
                early = peak_of_workers()
        peaks = early, peak_of_workers()
    assert len(journal.answers()) == FILES
    return Cost(
        whole=came[-1] - begin,
        each=(came[-1] - came[WARM - 1]) / (FILES - WARM),
        computing=sum(computing[WARM:]) / (FILES - WARM),
        peaks=peaks,
    )


def peak_of_workers() -> int:
    """Linux only."""
    lines = [
        line
        for child in psutil.Process().children()
        if any("spawn_main" in word for word in child.cmdline())
        for line in Path(f"/proc/{child.pid}/status").read_text().splitlines()
        if line.startswith("VmHWM")
    ]
    return max(int(line.split()[1]) for line in lines) * 1024


@pytest.mark.skipif(cores() < 2, reason="a second worker needs a second core")
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_two_workers_are_twice_as_fast_and_a_file_costs_little_beside_its_computation(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, two = cost_of(folder, 1), cost_of(folder, 2)
    overhead = one.each - one.computing
    with capsys.disabled():
        print(
            f"\nbatch look, {FILES} files of 1 s at 2.4 MS/s: {1e3 * one.each:.1f} ms each by one "
            f"worker, of which {1e3 * one.computing:.1f} computing and {1e3 * overhead:.1f} beside "
            f"it; {1e3 * two.each:.1f} ms by two, of which {1e3 * two.computing:.1f} computing in "
            f"both: {one.each / two.each:.2f} times as fast; whole, with their start, "
            f"{one.whole:.1f} and {two.whole:.1f} s; a worker's memory "
            f"{one.peaks[0] / MEGABYTE:.0f} MiB after {WARM} files, {one.peaks[1] / MEGABYTE:.0f} "
            f"MiB after {FILES}"
        )
    # Where two computations side by side slow each other (other work on the machine, two halves of
    # one core), no batch can be faster than they are; with two free cores that factor is 1.
    assert one.each / two.each > 1.8 * min(1.0, one.computing / two.computing)
    assert overhead < 0.030
    assert one.peaks[1] < 300 * MEGABYTE
    assert one.peaks[1] < 1.1 * one.peaks[0]
