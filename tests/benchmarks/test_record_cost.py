"""What `record` and `look` cost on a dongle at 2.4 MS/s, the other core busy; ratios of one run."""

import json
import os
import resource
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.standin.build import SITE, rtlsdr_library

__all__ = ["rtlsdr_library"]

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(120)]

SECONDS = 5


@pytest.fixture
def busy_core() -> Iterator[None]:
    """Another process that keeps one core busy."""
    spinner = subprocess.Popen([sys.executable, "-c", "while True: pass"])
    yield
    spinner.kill()
    spinner.wait()


def run_on_dongle(library: Path, *words: str) -> tuple[dict[str, object], float]:
    """The JSON of a command, and its processor time beyond start-up over the signal's time."""
    used = []
    for seconds in ("0.2", str(SECONDS)):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(
            [
                sys.executable,
                "-m",
                "sniff",
                *words,
                "--json",
                "--from",
                "dongle",
                "--center",
                "100M",
                "--rate",
                "2.4M",
                "--gain",
                "20.7",
                "--seconds",
                seconds,
            ],
            env={
                **os.environ,
                "PYTHONPATH": str(SITE),
                "STANDIN_LIBRARY": str(library),
                "STANDIN_TONE_HZ": "100.1e6",
                "STANDIN_PACE": "1",
            },
            capture_output=True,
            text=True,
            check=True,
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used.append(after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime)
    return json.loads(done.stdout), (used[1] - used[0]) / (SECONDS - 0.2)


@pytest.mark.parametrize(("command", "share"), [("record", 0.35), ("look", 0.60)])
def test_no_sample_is_lost_and_a_core_is_not_filled(
    rtlsdr_library: Path,
    tmp_path: Path,
    busy_core: None,
    command: str,
    share: float,
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = (
        ["record", "--overwrite", "--out", str(tmp_path / "r")] if command == "record" else ["look"]
    )
    data, used = run_on_dongle(rtlsdr_library, *words)
    with capsys.disabled():
        print(f"\n{command} at 2.4 MS/s: {used:.1%} of one core beside its start-up")
    assert "samples-lost" not in [caution["code"] for caution in data["cautions"]]
    assert used < share
    if command == "record":
        assert data["result"]["lost_samples"] == 0
        assert data["result"]["samples"] == pytest.approx(SECONDS * 2.4e6, rel=0.01)
