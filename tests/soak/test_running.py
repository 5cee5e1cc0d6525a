"""The loop of a soak on the simulated bench: the truth is in the scene."""

from collections.abc import Iterator
from itertools import count
from pathlib import Path

import numpy as np
import pytest

from sniff.errors import SourceError
from sniff.model import IQBlock
from sniff.soak.keeping import Room
from sniff.soak.notebook import read
from sniff.soak.nouns import Kept
from sniff.soak.running import ROW_S, Ended, soak
from sniff.sources.opening import open_source
from sniff.watch.nouns import Kind, WatchSettings
from sniff.watch.watcher import Watcher
from tests.soak.events import LINE_HZ, MIDNIGHT_S, run, writing
from tests.soak.soaking import OPEN_S, PERIOD_S, scene, soak_bench

SECONDS = 8.0


@pytest.fixture(scope="module")
def scene_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("scene") / "scene.toml"
    path.write_text(scene())
    return path


@pytest.fixture(scope="module")
def folder(scene_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("soak")
    ended = soak_bench(
        folder,
        scene_path,
        seconds=SECONDS,
        paced=False,
        zero_utc_s=MIDNIGHT_S,
        room=Room(pre_s=0.5, total_bytes=2_000_000),
    )
    assert ended == Ended(how="done")
    return folder


def test_every_drop_out_of_the_scene_is_in_the_notebook(folder: Path) -> None:
    kept = read(folder)
    starts_s = [PERIOD_S * n for n in range(1, int(SECONDS / PERIOD_S) + 1)]
    assert sum(minute.dropouts for minute in kept.minutes) == len(starts_s)
    assert kept.uncounted == 0
    for dropout, start_s in zip(kept.dropouts, starts_s, strict=True):
        assert dropout.start_utc_s - MIDNIGHT_S == pytest.approx(start_s, abs=1e-3)
        assert dropout.kind is Kind.BREAK
    for dropout in kept.dropouts[:-1]:
        assert dropout.duration_s == pytest.approx(OPEN_S, abs=1e-3)


def test_what_was_observed_and_how_long_the_line_was_there_is_the_scenes(folder: Path) -> None:
    kept = read(folder)
    (observed,) = kept.observed
    assert observed.observed_s == pytest.approx(SECONDS, abs=1e-6)
    present_s = sum(minute.present_s for minute in kept.minutes)
    assert present_s == pytest.approx(SECONDS * (1.0 - OPEN_S / PERIOD_S), abs=0.1)
    assert kept.minutes[0].median_dbfs == pytest.approx(-40.0, abs=0.2)
    assert kept.minutes[0].offset_hz == pytest.approx(0.0, abs=1.0)


def test_the_iq_of_a_drop_out_holds_the_drop_out(folder: Path) -> None:
    kept = read(folder)
    named = [d for d in kept.dropouts if d.recording is not None]
    first = named[0]
    source = open_source(str(folder / f"{first.recording}.sigmf-meta"))
    samples = np.concatenate([block.samples for block in source.stream(seconds=None)])
    rate_hz, center_hz = source.info.rate_hz, source.info.centers_hz[0]
    source.close()
    turned = samples * np.exp(
        -2j * np.pi * (LINE_HZ - center_hz) / rate_hz * np.arange(samples.size)
    )
    step = round(0.002 * rate_hz)
    level = np.abs(turned[: turned.size // step * step].reshape(-1, step).mean(axis=1)) ** 2
    gone_s = 0.002 * np.count_nonzero(level < 0.1 * np.median(level))
    held = [d for d in named if d.recording == first.recording]
    assert gone_s >= OPEN_S * len(held) - 0.004
    assert sum(path.stat().st_size for path in folder.glob("*.sigmf-data")) < 2_700_000


def gappy(blocks: Iterator[IQBlock], *, lost_from: int, lost_to: int) -> Iterator[IQBlock]:
    """The same, with some left out."""
    for number, block in enumerate(blocks):
        if not lost_from <= number < lost_to:
            yield block


def soaked(folder: Path, blocks: Iterator[IQBlock], watcher: Watcher) -> tuple[Ended, Kept]:
    with writing(folder, run(MIDNIGHT_S)) as writer:
        ended = soak(blocks, watcher, writer, None)
    return ended, read(folder)


def watched(scene_path: Path, seconds: float) -> tuple[Iterator[IQBlock], Watcher]:
    source = open_source(f"bench:{scene_path}")
    info = source.info
    watcher = Watcher(LINE_HZ, WatchSettings(row_s=ROW_S), info.rate_hz, info.centers_hz[0])
    return iter(source.stream(seconds=seconds)), watcher


def test_a_dongle_that_was_away_leaves_a_gap_that_counts_for_nothing(
    scene_path: Path, tmp_path: Path
) -> None:
    blocks, watcher = watched(scene_path, 10.0)
    ended, kept = soaked(tmp_path, gappy(blocks, lost_from=10, lost_to=20), watcher)
    first, second = kept.observed
    assert ended.how == "done"
    away_s = second.start_utc_s - first.end_utc_s
    assert away_s == pytest.approx(10 * 65_536 / 256_000, abs=0.3)
    # A drop-out that falls into the gap was not seen; one at its edge may be either way.
    counted = sum(minute.dropouts for minute in kept.minutes)
    assert abs(counted - (10.0 - away_s) / PERIOD_S) <= 2
    followed_s = sum(minute.observed_s for minute in kept.minutes)
    assert followed_s == pytest.approx(10.0 - away_s, abs=0.1)


def failing(blocks: Iterator[IQBlock], error: BaseException) -> Iterator[IQBlock]:
    for _ in range(15):
        yield next(blocks)
    raise error


@pytest.mark.parametrize(
    ("error", "ended"),
    [
        (SourceError("it is gone"), Ended(how="trouble", trouble="it is gone")),
        (KeyboardInterrupt(), Ended(how="interrupted")),
    ],
)
def test_whatever_ends_it_what_was_seen_is_kept(
    scene_path: Path, tmp_path: Path, error: BaseException, ended: Ended
) -> None:
    blocks, watcher = watched(scene_path, 60.0)
    got, kept = soaked(tmp_path, failing(blocks, error), watcher)
    assert got == ended
    observed_s = kept.observed[0].observed_s
    assert sum(minute.dropouts for minute in kept.minutes) == int(observed_s / PERIOD_S)
    assert len(kept.dropouts) == int(observed_s / PERIOD_S)


class KilledError(BaseException):
    """Nothing in the loop catches it: as good as a kill."""


@pytest.mark.parametrize("blocks", range(6, 24, 2))
def test_at_each_commit_counts_and_list_agree_whether_or_not_a_drop_out_is_over(
    scene_path: Path, tmp_path: Path, blocks: int
) -> None:
    stream, watcher = watched(scene_path, 60.0)

    def killed() -> Iterator[IQBlock]:
        for _ in range(blocks):
            yield next(stream)
        raise KilledError

    now_s = count(0.0, 1.0)  # a commit is due with each block
    with writing(tmp_path, run(MIDNIGHT_S)) as writer, pytest.raises(KilledError):
        soak(killed(), watcher, writer, None, clock_s=lambda: next(now_s))
    kept = read(tmp_path)
    counted = sum(minute.dropouts for minute in kept.minutes) + kept.uncounted
    assert counted == len(kept.dropouts)
    observed_s = kept.observed[-1].observed_s
    assert counted in (int(observed_s / PERIOD_S), int((observed_s - 0.15) / PERIOD_S))


def test_it_stops_when_it_has_enough(scene_path: Path, tmp_path: Path) -> None:
    blocks, watcher = watched(scene_path, 60.0)
    with writing(tmp_path, run(MIDNIGHT_S)) as writer:
        soak(blocks, watcher, writer, None, enough=lambda now: now.dropouts >= 5)
    assert 5 <= sum(minute.dropouts for minute in read(tmp_path).minutes) <= 6
