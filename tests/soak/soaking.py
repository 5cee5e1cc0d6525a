"""A soak of the simulated bench in real time, to be killed.

Run as ``python -m tests.soak.soaking FOLDER SCENE SECONDS``; prints the time of its sample 0.
"""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from struct import pack

from sniff.model import IQBlock
from sniff.soak.keeping import Keeper, Room
from sniff.soak.notebook import NOTEBOOK, locked, open_to_write
from sniff.soak.nouns import Run
from sniff.soak.running import ROW_S, Ended, soak
from sniff.soak.writing import RunWriter
from sniff.sources.opening import Wishes, open_source
from sniff.sources.recording.live import LiveRecorder
from sniff.watch.nouns import WatchSettings
from sniff.watch.watcher import Watcher
from tests.soak.events import LINE_HZ, SETUP

PERIOD_S, OPEN_S = 0.31, 0.02


def scene() -> str:
    """A joint that opens for 20 ms every 310 ms."""
    breaks = ", ".join(f"{{ at_s = {PERIOD_S * n:.3f}, for_s = {OPEN_S} }}" for n in range(1, 200))
    return f"""
title = "A joint that opens by the clock"
seed = 5
rate_hz = "256k"
center_hz = "83.57M"
gain_db = 40.2
[[emitters]]
name = "LO"
oscillator_hz = {LINE_HZ}
lines = [{{ level_dbfs = -40 }}]
[emitters.joint]
breaks = [{breaks}]
"""


def soak_bench(
    folder: Path,
    scene: Path,
    *,
    seconds: float,
    paced: bool,
    zero_utc_s: float,
    room: Room,
    heard: Path | None = None,
) -> Ended:
    """Soak the scene's line."""
    source = open_source(f"bench:{scene}", Wishes(paced=paced))
    info = source.info
    with closing(source), locked(folder):
        connection, _ = open_to_write(folder)
        with closing(connection):
            run = Run(zero_utc_s=zero_utc_s, indicated_hz=LINE_HZ, inverted=False, about={})
            writer = RunWriter(connection, SETUP, run, folder / NOTEBOOK)
            keeper = Keeper(
                lambda name: LiveRecorder(
                    folder / name,
                    rate_hz=info.rate_hz,
                    datatype=info.datatype,
                    fields={},
                    start_utc=None,
                ),
                room,
                used_bytes=0,
            )
            watcher = Watcher(LINE_HZ, WatchSettings(row_s=ROW_S), info.rate_hz, info.centers_hz[0])
            blocks = source.stream(seconds=seconds)
            if heard is not None:
                blocks = _told(blocks, heard, zero_utc_s)
            return soak(blocks, watcher, writer, keeper)


def _told(blocks: Iterator[IQBlock], heard: Path, zero_utc_s: float) -> Iterator[IQBlock]:
    """The same, and a file that tells up to when they came: a kill does not reach it."""
    with heard.open("wb", buffering=0) as file:
        for block in blocks:
            os.pwrite(file.fileno(), pack("<d", zero_utc_s + block.end_index / block.rate_hz), 0)
            yield block


if __name__ == "__main__":
    begun_utc_s = time.time()
    print(begun_utc_s, flush=True)
    soak_bench(
        Path(sys.argv[1]),
        Path(sys.argv[2]),
        seconds=float(sys.argv[3]),
        paced=True,
        zero_utc_s=begun_utc_s,
        room=Room(total_bytes=3_000_000),
        heard=Path(sys.argv[2]).with_suffix(".heard"),
    )
