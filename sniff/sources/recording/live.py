"""A SigMF recording that is readable while it grows: killed at any moment, it lacks one second.

A recording that takes the place of another is made beside it, as ``STEM.new``, and moved when it
is whole; a recorder that is killed leaves the old one as it was, and ``STEM.new`` to be looked at.
"""

import hashlib
import json
import os
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timezone
from math import inf
from pathlib import Path
from typing import Any, BinaryIO

from sniff import __version__
from sniff.errors import UsageError
from sniff.model import IQBlock
from sniff.sources.ahead import NOTHING_AHEAD, Ahead, as_heard
from sniff.sources.recording.datatypes import Datatype, find_datatype
from sniff.sources.recording.sigmf_metadata import EXTENSION
from sniff.sources.recording.target import check_room, is_taken, pair_of
from sniff.wholefile import TemporaryBeside, unwritable

CHECKPOINT_S = 0.5
UNFINISHED = f"{EXTENSION}:unfinished"
_COUNT = f"{EXTENSION}:sample_count"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kept:
    """What is whole in the file; replaced at a stroke, so that Ctrl-C leaves a block in or out."""

    samples: int
    digest: Any
    next: tuple[float, int] | None


class LiveRecorder:
    """Writes IQ as it comes; use as a context manager.

    Samples are appended and put on disk at least every second, and the metadata replaced whole
    each time; `finish` adds the hash. Until then the metadata say that it is unfinished, and how
    many samples of each capture they vouch for.

    Frequencies are those of the samples as the receiver sent them: what lies ahead of it (a
    converter, a pad) stands in the fields only, for the reader to take out.

    Parameters
    ----------
    stem : Path
        Path without extension.
    rate_hz : float
    datatype : str
        SigMF name of the native samples.
    fields : mapping
        More global fields.
    start_utc : datetime or None
        Time of the source's sample 0, aware.
    overwrite : bool
        Replace a recording of that name, when the new one is whole.
    ahead : Ahead
        What the blocks to come were taken back through; they are written as the receiver sent them.

    Raises
    ------
    UsageError
        When a recording of that name is there already, or one that was broken off while it was to
        replace another.
    SourceError
        When it cannot be written.
    """

    def __init__(
        self,
        stem: Path,
        *,
        rate_hz: float,
        datatype: str,
        fields: Mapping[str, Any],
        start_utc: datetime | None,
        overwrite: bool = False,
        ahead: Ahead = NOTHING_AHEAD,
    ) -> None:
        self._target = pair_of(stem)
        self._replaces = is_taken(self._target)
        if self._replaces and not overwrite:
            there = next(path for path in self._target if os.path.lexists(path))
            raise UsageError(f"{there}: is there already; choose another --out, or --overwrite")
        self._pair = pair_of(Path(f"{stem}.new")) if self._replaces else self._target
        if self._replaces and is_taken(self._pair):
            raise UsageError(
                f"{self._pair[1]}: was left by a recorder that was stopped; look at it, then "
                "rename or remove it and its data"
            )
        self._ahead = ahead
        self._rate_hz = rate_hz
        self._datatype: Datatype = find_datatype(datatype)
        self._fields = dict(fields)
        self._start_utc = start_utc
        self._captures: list[dict[str, Any]] = []
        self._annotations: list[dict[str, Any]] = []
        self._kept = _Kept(samples=0, digest=hashlib.sha512(), next=None)
        self._saved_s = -inf
        self.digest: str | None = None
        try:
            self._file: BinaryIO = self._pair[0].open("wb", buffering=0)
        except OSError as error:
            raise unwritable(self._pair[0], error) from None

    def __enter__(self) -> "LiveRecorder":
        return self

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        """Finish what is there, whatever happened."""
        self.finish(whole=kind is None)

    @property
    def paths(self) -> tuple[Path, ...]:
        """Where the recording is, data first; none when there was no sample."""
        return self._pair if self.samples else ()

    @property
    def old_is_kept(self) -> bool:
        """Whether there is a recording of that name that was to be replaced, and was not."""
        return self._replaces and self._pair != self._target

    @property
    def samples(self) -> int:
        """How many were kept so far."""
        return self._kept.samples

    @property
    def sample_bytes(self) -> int:
        """Bytes of one sample."""
        return self._datatype.sample_bytes

    @property
    def bytes(self) -> int:
        """Length of the data, bytes."""
        return self.samples * self.sample_bytes

    @property
    def captures(self) -> int:
        """How many gap-free runs at one centre."""
        return len(self._whole_captures())

    @property
    def centers_hz(self) -> tuple[float, ...]:
        """Centres of the captures, each once, Hz."""
        return tuple(dict.fromkeys(c["core:frequency"] for c in self._whole_captures()))

    @property
    def first_index(self) -> int:
        """Number of the first sample that was kept, in the source's own counting."""
        return int(self._captures[0]["core:global_index"]) if self._captures else 0

    def write(self, block: IQBlock) -> None:
        """Append a block; a new centre or a gap begins a new capture.

        Raises
        ------
        SourceError
            When the disk refuses or is nearly full; what was written stays whole.
        """
        block = as_heard(block, self._ahead)
        kept = self._kept
        if kept.next != (block.center_hz, block.index):
            self._captures.append(self._capture(block))
        native = self._datatype.from_complex64(block.samples).data
        left = native
        try:
            while left:
                left = left[self._file.write(left) :]
        except OSError as error:
            self._cut_to_what_is_kept()
            raise unwritable(self._pair[0], error) from None
        digest = kept.digest.copy()
        digest.update(native)
        self._kept = _Kept(
            samples=kept.samples + block.samples.size,
            digest=digest,
            next=(block.center_hz, block.end_index),
        )
        if time.monotonic() - self._saved_s > CHECKPOINT_S:
            self.checkpoint()

    def annotate(self, *, index: int, label: str, **fields: Any) -> None:
        """Mark the sample of the source with this number; one not recorded is left out."""
        for capture in self._whole_captures():
            away = index - capture["core:global_index"]
            if 0 <= away < capture[_COUNT]:
                start = capture["core:sample_start"] + away
                entry = {"core:sample_start": start, "core:label": label, **fields}
                self._annotations.append(entry)
                return

    def checkpoint(self) -> None:
        """Put what was kept so far on disk.

        Raises
        ------
        SourceError
            When the disk refuses or is nearly full.
        """
        if self.samples:
            self._save(finished=False)
            check_room(self._pair[0])

    def finish(self, *, whole: bool = True) -> None:
        """Put everything on disk, with its hash; harmless when called twice.

        Parameters
        ----------
        whole : bool
            Whether it may take the place of an older recording. Otherwise both stay.
        """
        if self._file.closed:
            return
        with self._file:
            self._cut_to_what_is_kept()
            if self.samples:
                self.digest = self._kept.digest.hexdigest()
                self._save(finished=True)
        if not self.samples:
            self._pair[0].unlink(missing_ok=True)
        elif whole and self._replaces:
            self._take_the_olds_place()

    def _take_the_olds_place(self) -> None:
        data, metadata = self._target
        try:
            # The old metadata go first: they must not be found beside the new samples.
            metadata.unlink(missing_ok=True)
            self._pair[0].replace(data)
            self._pair[1].replace(metadata)
        except OSError as error:
            raise unwritable(data, error) from None
        self._pair = self._target

    def _capture(self, block: IQBlock) -> dict[str, Any]:
        entry: dict[str, Any] = {
            "core:sample_start": self.samples,
            "core:frequency": block.center_hz,
            "core:global_index": block.index,
        }
        if self._start_utc is not None:
            at_s = self._start_utc.timestamp() + block.start_s
            utc = datetime.fromtimestamp(at_s, timezone.utc).replace(tzinfo=None)
            entry["core:datetime"] = f"{utc.isoformat(timespec='microseconds')}Z"
        return entry

    def _whole_captures(self) -> list[dict[str, Any]]:
        """Captures with their lengths; one whose first block was not kept is none."""
        starts = [capture["core:sample_start"] for capture in self._captures]
        return [
            {**capture, _COUNT: end - capture["core:sample_start"]}
            for capture, end in zip(self._captures, [*starts, self.samples][1:], strict=True)
            if end > capture["core:sample_start"]
        ]

    def _save(self, *, finished: bool) -> None:
        self._saved_s = time.monotonic()
        state = {"core:sha512": self.digest} if finished else {UNFINISHED: True}
        document = {
            "global": {
                "core:version": "1.2.0",
                "core:datatype": self._datatype.name,
                "core:sample_rate": self._rate_hz,
                "core:recorder": f"sniff {__version__}",
                **self._fields,
                **state,
                "core:extensions": [{"name": EXTENSION, "version": "1.0.0", "optional": True}],
            },
            "captures": self._whole_captures(),
            "annotations": sorted(self._annotations, key=lambda entry: entry["core:sample_start"]),
        }
        text = f"{json.dumps(document, indent=2, allow_nan=False)}\n".encode()
        try:
            os.fsync(self._file.fileno())
            with TemporaryBeside(self._pair[1]) as whole:
                whole.file.write(text)
                whole.move_to(self._pair[1])
        except OSError as error:
            raise unwritable(self._pair[1], error) from None

    def _cut_to_what_is_kept(self) -> None:
        """A write that was broken off must not leave half a sample, or one without its hash."""
        os.ftruncate(self._file.fileno(), self.bytes)
