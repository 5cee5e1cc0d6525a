"""A recording while it is made: killed, interrupted, refused by the disk, what is there is true."""

import hashlib
import json
from collections.abc import Callable, Iterator
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sigmf import sigmffile

from sniff.errors import SourceError, UsageError
from sniff.model import IQBlock
from sniff.sources.opening import open_source
from sniff.sources.recording import live
from sniff.sources.recording.datatypes import DATATYPES
from sniff.sources.recording.live import LiveRecorder
from tests.sources.recording.files import random_bytes, spans

RATE_HZ = 1e6
NATIVE = random_bytes(2 * 60_000)


def part(index: int, size: int = 10_000, *, center_hz: float = 90e6, of: int = 0) -> IQBlock:
    native = NATIVE[2 * of : 2 * (of + size)]
    samples = DATATYPES["cu8"].to_complex64(native)
    return IQBlock(samples=samples, rate_hz=RATE_HZ, center_hz=center_hz, index=index)


@pytest.fixture
def recorder(tmp_path: Path) -> Iterator[Callable[..., LiveRecorder]]:
    made: list[LiveRecorder] = []

    def make(**options: Any) -> LiveRecorder:
        recorder = LiveRecorder(
            tmp_path / "set",
            rate_hz=RATE_HZ,
            datatype="cu8",
            fields={},
            start_utc=datetime(2026, 1, 2, 3, 4, 5, tzinfo=timezone.utc),
            **options,
        )
        made.append(recorder)
        return recorder

    yield make
    for recorder in made:
        recorder.finish()


def read(path: Path) -> tuple[list[tuple[float, int, int]], list[str]]:
    source = open_source(str(path))
    blocks = list(source.stream(seconds=None))
    codes = [caution.code for caution in source.info.cautions]
    source.close()
    return spans(blocks), codes


def test_from_the_first_block_on_it_can_be_read_and_says_that_it_is_unfinished(
    recorder: Callable[..., LiveRecorder], tmp_path: Path
) -> None:
    growing = recorder()
    growing.write(part(5_000))
    found, codes = read(tmp_path / "set.sigmf-meta")
    assert found == [(90e6, 0, 10_000)]
    assert codes == ["unfinished"]
    growing.finish()
    assert read(tmp_path / "set.sigmf-meta")[1] == []


def test_what_was_not_vouched_for_is_not_put_at_a_wrong_time(
    recorder: Callable[..., LiveRecorder], tmp_path: Path
) -> None:
    """Killed after a gap of which the metadata do not know yet."""
    killed = recorder()
    killed.write(part(0))
    killed.write(part(10_000, of=10_000))  # within half a second: not vouched for
    killed.write(part(70_000, of=20_000))
    assert (tmp_path / "set.sigmf-data").stat().st_size == 60_000
    found, codes = read(tmp_path / "set.sigmf-meta")
    assert found == [(90e6, 0, 10_000)]
    assert codes == ["unfinished"]
    killed.checkpoint()
    found, _ = read(tmp_path / "set.sigmf-meta")
    assert found == [(90e6, 0, 20_000), (90e6, 70_000, 80_000)]


def test_a_checkpoint_follows_every_half_second(
    recorder: Callable[..., LiveRecorder], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now_s = 100.0
    monkeypatch.setattr(live.time, "monotonic", lambda: now_s)
    growing = recorder()
    lacking_s = []
    for number in range(40):
        growing.write(part(number * 10_000))
        now_s += 0.1
        entries = json.loads((tmp_path / "set.sigmf-meta").read_text())["captures"]
        vouched = sum(entry["sniff:sample_count"] for entry in entries)
        lacking_s.append((growing.samples - vouched) / 10_000 * 0.1)
    assert 0.3 < max(lacking_s) <= 0.6


@pytest.mark.parametrize("written", [0, 1, 9_999, 20_000])
def test_an_interrupt_in_the_middle_of_a_write_leaves_whole_blocks_and_their_hash(
    recorder: Callable[..., LiveRecorder], tmp_path: Path, written: int
) -> None:
    interrupted = recorder()
    interrupted.write(part(0))
    file = interrupted._file

    class Interrupting:
        def __getattr__(self, name: str) -> Any:
            return getattr(file, name)

        def write(self, data: memoryview) -> int:
            file.write(data[:written])
            raise KeyboardInterrupt

    interrupted._file = Interrupting()  # type: ignore[assignment]
    with pytest.raises(KeyboardInterrupt):
        interrupted.write(part(50_000, of=10_000))  # after a gap
    interrupted._file = file
    interrupted.finish()
    data = (tmp_path / "set.sigmf-data").read_bytes()
    assert data == NATIVE[:20_000].tobytes()
    handle = sigmffile.fromfile(str(tmp_path / "set.sigmf-meta"))
    handle.validate()
    assert handle.get_global_field("core:sha512") == hashlib.sha512(data).hexdigest()
    assert read(tmp_path / "set.sigmf-meta") == ([(90e6, 0, 10_000)], [])


def test_a_new_recording_stays_beside_the_old_one_until_it_is_whole(
    recorder: Callable[..., LiveRecorder], tmp_path: Path
) -> None:
    with recorder() as old:
        old.write(part(0))
    before = [(tmp_path / f"set.sigmf-{end}").read_bytes() for end in ("data", "meta")]
    killed = recorder(overwrite=True)
    killed.write(part(0, 7_000))
    assert [(tmp_path / f"set.sigmf-{end}").read_bytes() for end in ("data", "meta")] == before
    assert read(tmp_path / "set.new.sigmf-meta") == ([(90e6, 0, 7_000)], ["unfinished"])
    # It was killed: the next one does not take it away.
    with pytest.raises(UsageError, match=r"set\.new\.sigmf-meta: was left by a recorder"):
        recorder(overwrite=True)
    killed.finish()
    assert read(tmp_path / "set.sigmf-meta") == ([(90e6, 0, 7_000)], [])
    assert len(list(tmp_path.iterdir())) == 2


@pytest.mark.parametrize("error", [SourceError("the disk is full"), KeyboardInterrupt()])
def test_one_that_was_broken_off_does_not_take_the_olds_place(
    recorder: Callable[..., LiveRecorder], tmp_path: Path, error: BaseException
) -> None:
    with recorder() as old:
        old.write(part(0))
    broken = recorder(overwrite=True)
    broken.write(part(0, 7_000))
    broken.__exit__(type(error), error, None)
    assert broken.old_is_kept
    assert broken.paths == (tmp_path / "set.new.sigmf-data", tmp_path / "set.new.sigmf-meta")
    assert read(tmp_path / "set.sigmf-meta") == ([(90e6, 0, 10_000)], [])
    assert read(tmp_path / "set.new.sigmf-meta") == ([(90e6, 0, 7_000)], [])


def test_a_link_to_nothing_is_there_too(
    recorder: Callable[..., LiveRecorder], tmp_path: Path
) -> None:
    (tmp_path / "set.sigmf-data").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(UsageError, match="is there already"):
        recorder()
    with recorder(overwrite=True) as replacing:
        replacing.write(part(0))
    assert not (tmp_path / "elsewhere").exists()
    assert read(tmp_path / "set.sigmf-meta") == ([(90e6, 0, 10_000)], [])


def test_marks_lie_at_their_samples_and_what_was_not_recorded_is_not_marked(
    recorder: Callable[..., LiveRecorder], tmp_path: Path
) -> None:
    with recorder() as kept:
        kept.write(part(5_000))
        kept.write(part(40_000))
        for index in (4_999, 5_000, 14_999, 15_000, 39_999, 40_001, 50_000):
            kept.annotate(index=index, label=str(index))
    entries = json.loads((tmp_path / "set.sigmf-meta").read_text())["annotations"]
    assert {entry["core:label"]: entry["core:sample_start"] for entry in entries} == {
        "5000": 0,
        "14999": 9_999,
        "40001": 10_001,
    }


def test_times_of_day_count_what_was_lost(
    recorder: Callable[..., LiveRecorder], tmp_path: Path
) -> None:
    with recorder() as kept:
        kept.write(part(500_000))
        kept.write(part(1_750_000))
    first, second = json.loads((tmp_path / "set.sigmf-meta").read_text())["captures"]
    assert first["core:datetime"] == "2026-01-02T03:04:05.500000Z"
    assert second["core:datetime"] == "2026-01-02T03:04:06.750000Z"
    assert np.diff([first["core:sample_start"], second["core:sample_start"]]) == [10_000]
