"""A SigMF recording that is readable while it grows: killed at any moment, it lacks one second."""

import hashlib
import json
import os
import shutil
import time
from collections.abc import Mapping
from datetime import datetime, timezone
from pathlib import Path
from typing import Any, BinaryIO

from sniff import __version__
from sniff.errors import SourceError, UsageError
from sniff.model import IQBlock
from sniff.sources.recording.datatypes import Datatype, find_datatype
from sniff.sources.recording.sigmf_files import DATA, METADATA
from sniff.sources.recording.sigmf_metadata import EXTENSION
from sniff.wholefile import TemporaryBeside, unwritable

CHECKPOINT_S = 0.5
SPARE_BYTES = 200_000_000
"""Room that is left on the disk: a full disk breaks more than a recording."""

UNFINISHED = f"{EXTENSION}:unfinished"


class LiveRecorder:
    """Writes IQ as it comes; use as a context manager.

    Samples are appended and put on disk at least every second, and the metadata replaced whole
    each time; `finish` adds the hash. Until then the metadata say that it is unfinished.

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

    Raises
    ------
    UsageError
        When a recording of that name is there already.
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
    ) -> None:
        self.data_path, self.metadata_path = Path(f"{stem}{DATA}"), Path(f"{stem}{METADATA}")
        for path in (self.data_path, self.metadata_path):
            if path.exists() and not overwrite:
                raise UsageError(f"{path}: is there already; choose another --out, or --overwrite")
        self._rate_hz = rate_hz
        self._datatype: Datatype = find_datatype(datatype)
        self._fields = dict(fields)
        self._start_utc = start_utc
        self._captures: list[dict[str, Any]] = []
        self._annotations: list[dict[str, Any]] = []
        self._next: tuple[float, int] | None = None
        self._hash = hashlib.sha512()
        self._saved_s = time.monotonic()
        self.samples = 0
        self.digest: str | None = None
        try:
            self.metadata_path.unlink(missing_ok=True)
            self._file: BinaryIO = self.data_path.open("wb", buffering=0)
        except OSError as error:
            raise unwritable(self.data_path, error) from None

    def __enter__(self) -> "LiveRecorder":
        return self

    def __exit__(self, *error: object) -> None:
        """Finish what is there, whatever happened."""
        self.finish()

    @property
    def bytes(self) -> int:
        """Length of the data, bytes."""
        return self.samples * self._datatype.sample_bytes

    @property
    def captures(self) -> int:
        """How many gap-free runs at one centre."""
        return len(self._captures)

    @property
    def first_index(self) -> int:
        """Number of the first sample that was kept, in the source's own counting."""
        return int(self._captures[0]["core:global_index"]) if self._captures else 0

    def write(self, block: IQBlock, **capture_fields: Any) -> None:
        """Append a block; a new centre or a gap begins a new capture.

        Raises
        ------
        SourceError
            When the disk refuses or is nearly full; what was written stays whole.
        """
        if self._next != (block.center_hz, block.index):
            self._captures.append(self._capture(block, capture_fields))
        native = self._datatype.from_complex64(block.samples).data
        left = native
        try:
            while left:
                left = left[self._file.write(left) :]
        except OSError as error:
            self._cut_to_whole_samples()
            raise unwritable(self.data_path, error) from None
        self._hash.update(native)
        self._captures[-1][f"{EXTENSION}:sample_count"] += block.samples.size
        self.samples += block.samples.size
        self._next = (block.center_hz, block.end_index)
        if time.monotonic() - self._saved_s > CHECKPOINT_S:
            self._save(finished=False)

    def annotate(self, *, index: int, label: str, **fields: Any) -> None:
        """Mark the sample of the source with this number; one not recorded is left out."""
        for capture in self._captures:
            away = index - capture["core:global_index"]
            if 0 <= away <= capture[f"{EXTENSION}:sample_count"]:
                start = min(capture["core:sample_start"] + away, max(0, self.samples - 1))
                entry = {"core:sample_start": start, "core:label": label, **fields}
                self._annotations.append(entry)
                return

    def finish(self) -> None:
        """Put everything on disk, with its hash; harmless when called twice."""
        if self.digest is not None or self._file.closed:
            return
        self.digest = self._hash.hexdigest()
        if self._captures:
            self._save(finished=True)
            self._file.close()
        else:
            self._file.close()
            self.data_path.unlink(missing_ok=True)

    def _capture(self, block: IQBlock, fields: Mapping[str, Any]) -> dict[str, Any]:
        entry: dict[str, Any] = {
            "core:sample_start": self.samples,
            "core:frequency": block.center_hz,
            "core:global_index": block.index,
            f"{EXTENSION}:sample_count": 0,
            **fields,
        }
        if self._start_utc is not None:
            at_s = self._start_utc.timestamp() + block.start_s
            utc = datetime.fromtimestamp(at_s, timezone.utc).replace(tzinfo=None)
            entry["core:datetime"] = f"{utc.isoformat(timespec='microseconds')}Z"
        return entry

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
            "captures": [c for c in self._captures if c[f"{EXTENSION}:sample_count"]],
            "annotations": sorted(self._annotations, key=lambda entry: entry["core:sample_start"]),
        }
        text = f"{json.dumps(document, indent=2, allow_nan=False)}\n".encode()
        try:
            os.fsync(self._file.fileno())
            with TemporaryBeside(self.metadata_path) as whole:
                whole.file.write(text)
                whole.move_to(self.metadata_path)
        except OSError as error:
            raise unwritable(self.metadata_path, error) from None
        if not finished:
            self._check_room()

    def _check_room(self) -> None:
        free = shutil.disk_usage(self.data_path.parent).free
        if free < SPARE_BYTES:
            raise SourceError(
                f"{self.data_path}: only {free // 1_000_000} MB are free on the disk; make room"
            )

    def _cut_to_whole_samples(self) -> None:
        """A write that failed half-way must not leave half a sample, or one without its hash."""
        os.ftruncate(self._file.fileno(), self.bytes)


def check_room(stem: Path) -> None:
    """Refuse to begin on a disk that is nearly full, or in a folder that is not there.

    Raises
    ------
    SourceError
        With what to do.
    """
    folder = stem.parent
    if not folder.is_dir():
        raise SourceError(f"{folder}: is no folder; make it first")
    free = shutil.disk_usage(folder).free
    if free < 2 * SPARE_BYTES:
        raise SourceError(f"{folder}: only {free // 1_000_000} MB are free on the disk; make room")
