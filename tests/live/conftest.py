"""A page on a bench, in a process of its own, and a real browser to look at it."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

PLAN = ("--carrier", "72.9M", "--if", "10.7M", "--side", "high", "--multiplier", "3")
QUIETLY = ("--no-browser", "--quiet")
CLOCK = ("--tolerance", "50ppm", "--ppm", "31", "--u-ppm", "0.5")


@dataclass(frozen=True)
class Served:
    """A page that is being served."""

    address: str
    out: Path
    process: subprocess.Popen[str]


def served(tmp_path: Path, *words: str, job: Path | None = None) -> Iterator[Served]:
    """Serve the deaf set in real time; ends it afterwards, and nothing may have gone wrong."""
    out = tmp_path / "kept"
    place = ("--no-job", "--out", str(out)) if job is None else ("--job", str(job))
    folders = {name: str(tmp_path / name) for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME")}
    source = ("--from", "bench:tour-guide-deaf", "--center", "83.5M", "--rate", "1.024M")
    process = subprocess.Popen(
        [sys.executable, "-m", "sniff", "page", *source, *PLAN, *CLOCK, *QUIETLY, *place, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, **folders},
    )
    assert process.stdout is not None
    assert process.stderr is not None
    said = process.stdout.readline()
    found = re.search(r"http://\S+", said)
    assert found, said + process.stderr.read()
    try:
        yield Served(address=found[0], out=out, process=process)
    finally:
        process.terminate()
        _, errors = process.communicate(timeout=20)
        assert "Traceback" not in errors, errors


@pytest.fixture
def page_of_deaf(tmp_path: Path) -> Iterator[Served]:
    yield from served(tmp_path)
