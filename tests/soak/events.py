"""Rows and drop-outs as a watch gives them, and notebooks that were written with them."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np

from sniff.soak.notebook import NOTEBOOK, locked, open_to_write
from sniff.soak.nouns import Run, Setup
from sniff.soak.writing import RunWriter
from sniff.watch.nouns import Dropout, Kind, Passage, Row

LINE_HZ = 83.6e6
INDICATED_HZ = 83_597_500.0
MIDNIGHT_S = 1_767_225_600.0
"""2026-01-01T00:00:00Z (POSIX.1: 20454 days of 86 400 s)."""

SETUP = Setup(line_hz=LINE_HZ, resolution_s=1e-3)


def run(zero_utc_s: float = MIDNIGHT_S, *, inverted: bool = False) -> Run:
    return Run(
        zero_utc_s=zero_utc_s,
        indicated_hz=INDICATED_HZ,
        inverted=inverted,
        about={"source": "a test's"},
    )


@contextmanager
def writing(folder: Path, of: Run | None = None, setup: Setup = SETUP) -> Iterator[RunWriter]:
    with locked(folder):
        connection, _ = open_to_write(folder)
        with closing(connection):
            yield RunWriter(connection, setup, of or run(), folder / NOTEBOOK)


def row(start_s: float, *, seconds: float = 0.2, present: float = 1.0, dropouts: int = 0) -> Row:
    return Row(
        start_s=start_s,
        observed_s=seconds,
        present_s=seconds * present,
        median_dbfs=-40.0 - start_s / 1000.0,
        lowest_dbfs=-60.0,
        highest_dbfs=-39.0,
        indicated_hz=INDICATED_HZ + 25.0,
        dropouts=dropouts,
    )


def dropout(start_s: float, duration_s: float = 0.02, *, ended: bool = True) -> Dropout:
    course = np.linspace(-40, -60, 9, dtype=np.float32)
    return Dropout(
        start_s=start_s,
        duration_s=duration_s,
        depth_db=20.0,
        pull_hz=0.0,
        kind=Kind.BREAK,
        before_dbfs=-40.0,
        before_hz=INDICATED_HZ + 25.0,
        ended=ended,
        fall=Passage(
            start_s=start_s - 0.05, step_s=1e-3, level_dbfs=course, offset_hz=course.copy()
        ),
        rise=None,
    )
