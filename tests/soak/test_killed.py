"""A soak that is killed loses at most a second, and its notebook opens whatever happened."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from struct import unpack

import pytest

from sniff.soak.notebook import read
from sniff.soak.nouns import Kept
from sniff.sources.opening import open_source
from tests.soak.soaking import OPEN_S, PERIOD_S, scene

TRIES = 50
MAY_BE_LOST_S = 1.0


def started(module: str, *words: object) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", f"tests.soak.{module}", *map(str, words)],
        stdout=subprocess.PIPE,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
    )


@pytest.mark.slow
def test_fifty_kills_take_nothing_that_was_committed(tmp_path: Path) -> None:
    writer = started("killed_writer", tmp_path, TRIES)
    out, _ = writer.communicate(timeout=100)
    results = [json.loads(line) for line in out.splitlines()]
    assert len(results) == TRIES
    assert sum(result["acknowledged"] > 0 for result in results) > TRIES / 3
    for before, result in zip([{"all": 0}, *results], results, strict=False):
        # The kill may fall between the commit and its acknowledgement.
        kept = result["dropouts"]
        assert result["acknowledged"] <= kept <= result["acknowledged"] + 1
        assert result["counted"] == kept
        assert result["observed_s"] == pytest.approx(0.2 * kept, abs=1e-3)
        assert result["begun"] == (kept > 0)
        assert result["all"] == before["all"] + kept + result["begun"]


def heard_until(path: Path) -> float:
    """Up to when blocks have come, in the bench's own time."""
    told = path.read_bytes() if path.exists() else b""
    return float(unpack("<d", told)[0]) if len(told) == 8 else 0.0


def wait_until_heard(path: Path, until_s: float) -> None:
    """On a busy machine the bench falls behind the clock: it is its own time that counts."""
    give_up_at = time.monotonic() + 90.0
    while heard_until(path) < until_s:
        assert time.monotonic() < give_up_at
        time.sleep(0.01)


def counted_in_all(kept: Kept) -> int:
    return sum(minute.dropouts for minute in kept.minutes) + kept.uncounted


@pytest.mark.slow
def test_a_soak_of_the_bench_killed_five_times_loses_no_second_and_counts_the_truth(
    tmp_path: Path,
) -> None:
    (tmp_path / "scene.toml").write_text(scene())
    folder, rng = tmp_path / "soak", random.Random(1)
    zeros: list[float] = []
    after = 0
    for _ in range(5):
        with started("soaking", folder, tmp_path / "scene.toml", 60) as soaking:
            assert soaking.stdout is not None
            zeros.append(float(soaking.stdout.readline()))
            wait_until_heard(tmp_path / "scene.heard", zeros[-1] + rng.uniform(1.8, 2.8))
            soaking.send_signal(signal.SIGKILL)
        killed_s = heard_until(tmp_path / "scene.heard")
        kept = read(folder)
        end_s = kept.observed[-1].end_utc_s
        before, after = after, counted_in_all(kept)
        counted = after - before
        assert killed_s - end_s <= MAY_BE_LOST_S
        # In the bench's own time, which begins with its sample 0.
        zero_s = kept.runs[-1].zero_utc_s
        begun = int((end_s - zero_s) / PERIOD_S)
        surely = int((killed_s - zero_s - MAY_BE_LOST_S) / PERIOD_S)
        assert surely - 1 <= counted <= begun
    # Together: what was between the runs was not observed, and no run was lost.
    kept = read(folder)
    assert len(kept.runs) == 5
    assert len(kept.observed) == 5
    for last, zero_s in zip(kept.observed, zeros[1:], strict=False):
        assert last.end_utc_s <= zero_s
    listed = [d for d in kept.dropouts if d.duration_s is not None]
    assert len(listed) >= 12
    assert all(d.duration_s == pytest.approx(OPEN_S, abs=2e-3) for d in listed)
    recordings = sorted(folder.glob("*.sigmf-meta"))
    assert recordings
    for path in recordings:
        source = open_source(str(path))  # each is whole, the killed ones too
        assert sum(block.samples.size for block in source.stream(seconds=None)) > 0
        source.close()
    sizes = sum(path.stat().st_size for path in folder.glob("*.sigmf-data"))
    assert sizes <= 5 * 4_000_000
