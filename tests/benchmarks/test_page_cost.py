"""What `sniff page` costs with four viewers, how late a drop-out shows, and that memory stays."""

import json
import statistics
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import psutil
import pytest
from playwright.sync_api import sync_playwright
from websockets.sync.client import connect

from sniff.live.packing import HEADER
from sniff.sources.opening import open_source
from tests.browsing import ARGUMENTS, chromium
from tests.live.conftest import QUIETLY

pytestmark = pytest.mark.timeout(200)

RATE_HZ = 2.4e6
SECONDS = 40
EVERY_S = 0.8
GONE_S = 0.25
LINE_HZ = 100.2952e6


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Noise, and a carrier that goes for 250 ms every 800 ms."""
    rng = np.random.default_rng(4)
    n = int(RATE_HZ * EVERY_S)
    t = np.arange(n) / RATE_HZ
    samples = 0.1 * np.exp(2j * np.pi * (LINE_HZ - 100e6) * t)
    samples[-int(GONE_S * RATE_HZ) :] = 0.0
    samples += 0.03 * rng.standard_normal((n, 2)).view(np.complex128).ravel()
    codes = np.clip(np.round(samples.view(np.float64) * 127.5 + 127.5), 0, 255).astype(np.uint8)
    path = tmp_path_factory.mktemp("page") / "forty.cu8"
    path.write_bytes(codes.tobytes() * int(SECONDS / EVERY_S))
    return path


@pytest.fixture
def served(recording: Path) -> Iterator[tuple[str, psutil.Popen]]:
    process = psutil.Popen(
        [
            *(sys.executable, "-m", "sniff", "page", "--from", str(recording)),
            *("--rate", "2.4M", "--center", "100M", "--line", str(LINE_HZ)),
            *("--ppm", "0", "--u-ppm", "0.1", *QUIETLY, "--no-job"),
        ],
        stdout=-1,
        text=True,
    )
    said = process.stdout.readline()
    yield said.split()[-4], process
    process.kill()
    process.wait()
    process.stdout.close()


def source_share(recording: Path, seconds: float) -> float:
    """Processor time of the source alone, of a core."""
    from sniff.sources.opening import Wishes

    source = open_source(str(recording), Wishes(rate_hz=RATE_HZ, center_hz=100e6))
    begun_s = time.process_time()
    for _ in source.stream(seconds=seconds):
        pass
    used_s = time.process_time() - begun_s
    source.close()
    return used_s / seconds


def frames_of(address: str, seconds: float, counts: list[int]) -> None:
    host = address.removeprefix("http://").rstrip("/")
    with connect(f"ws://{host}/live", origin=f"http://{host}", max_size=2**20) as socket:
        end_s, count = time.monotonic() + seconds, 0
        while time.monotonic() < end_s:
            message = socket.recv(timeout=5)
            count += isinstance(message, bytes) and len(message) >= HEADER.size
        counts.append(count)


@pytest.mark.benchmark
def test_four_viewers_get_thirty_frames_a_second_for_a_small_part_of_a_core(
    served: tuple[str, psutil.Popen], recording: Path
) -> None:
    address, process = served
    seconds, counts = 6.0, []
    time.sleep(3.0)
    before = process.cpu_times()
    begun_s = time.monotonic()
    viewers = [
        threading.Thread(target=frames_of, args=(address, seconds, counts)) for _ in range(4)
    ]
    for viewer in viewers:
        viewer.start()
    for viewer in viewers:
        viewer.join()
    took_s = time.monotonic() - begun_s
    after = process.cpu_times()
    share = (after.user + after.system - before.user - before.system) / took_s
    own = share - source_share(recording, 10.0)
    rates = [count / seconds for count in counts]
    print(f"own {own:.1%} of a core beside the source; frames/s {[f'{r:.1f}' for r in rates]}")
    assert len(rates) == 4
    assert min(rates) >= 25.0
    assert own < 0.40


WATCH = """
() => {
  window.seen = [];
  const start = performance.timeOrigin + performance.now();
  new MutationObserver(() => {
    const state = document.querySelector('#rows button').dataset.state;
    const last = window.seen[window.seen.length - 1];
    const now_ms = performance.timeOrigin + performance.now();
    if (!last || last[1] !== state) window.seen.push([now_ms, state]);
  }).observe(document.getElementById('rows'), { subtree: true, attributes: true });
  return start;
}
"""


@pytest.mark.benchmark
def test_a_drop_out_shows_in_the_row_within_a_sixth_of_a_second(
    served: tuple[str, psutil.Popen],
) -> None:
    """Wall time of the row's change, less that of the drop-out in the source.

    The source is played so that a block is handed over when its last sample was taken. When that
    was, in wall time, a socket of our own tells: the least of arrival less the frame's own time.
    """
    address, _ = served
    path = chromium()
    host = address.removeprefix("http://").rstrip("/")
    zeros: list[float] = []

    def listen() -> None:
        with connect(f"ws://{host}/live", origin=f"http://{host}", max_size=2**20) as socket:
            end_s = time.monotonic() + 12.0
            while time.monotonic() < end_s:
                message = socket.recv(timeout=5)
                if isinstance(message, bytes):
                    zeros.append(time.time() - HEADER.unpack_from(message)[4])

    listening = threading.Thread(target=listen)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        page = browser.new_page()
        page.goto(address)
        page.locator("#rows button").first.wait_for()
        listening.start()
        page.evaluate(WATCH)
        page.wait_for_timeout(11_000)
        seen = json.loads(page.evaluate("JSON.stringify(window.seen)"))
        browser.close()
    listening.join()
    zero_s = min(zeros)
    late_s = []
    for at_ms, state in seen:
        if state == "absent":
            into_s = (at_ms / 1e3 - zero_s) % EVERY_S - (EVERY_S - GONE_S)
            late_s.append(into_s)
    median_s = statistics.median(late_s)
    print(f"late by {1e3 * median_s:.0f} ms (median of {len(late_s)})")
    assert len(late_s) >= 8
    assert 0.0 < median_s < 0.150


@pytest.mark.memory
def test_memory_stays_however_long_it_runs(served: tuple[str, psutil.Popen]) -> None:
    """Of the server; the ring of the last seconds is full after half a minute."""
    address, process = served
    counts: list[int] = []
    frames_of(address, 31.0, counts)
    early = process.memory_info().rss
    frames_of(address, 6.0, counts)
    late = process.memory_info().rss
    print(f"{early / 2**20:.0f} MiB, then {late / 2**20:.0f} MiB")
    assert late - early < 8 * 2**20
