"""SigMF recordings written as the samples come, whole or not at all."""

import hashlib
import io
import json
import os
import tarfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any, BinaryIO

from sniff import __version__
from sniff.errors import SourceError, UsageError
from sniff.model import IQBlock
from sniff.sources.recording.datatypes import Datatype, find_datatype
from sniff.sources.recording.sigmf_files import ARCHIVE, DATA, METADATA
from sniff.sources.recording.sigmf_metadata import EXTENSION
from sniff.wholefile import TemporaryBeside

_EXTENSION_ENTRY = {"name": EXTENSION, "version": "1.0.0", "optional": True}


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureToWrite:
    """A gap-free run of samples at one centre, to be written.

    Attributes
    ----------
    center_hz : float
        Indicated centre, Hz.
    pieces : iterable of IQBlock or bytes-like
        Samples, converted to the recording's datatype, or bytes that already are of it.
    index : int or None
        Number of the first sample in the stream it comes from, lost samples counted
        (``core:global_index``).
    start_utc : datetime or None
        Time of the first sample, aware.
    fields : mapping
        More fields, such as ``{"sniff:requested_center_hz": 83.6e6}``.
    """

    center_hz: float
    pieces: Iterable[IQBlock | bytes | bytearray | memoryview]
    index: int | None = None
    start_utc: datetime | None = None
    fields: Mapping[str, Any] = field(default_factory=dict)


def captures_of(
    blocks: Iterable[IQBlock], *, start_utc: datetime | None = None
) -> Iterator[CaptureToWrite]:
    """Split a source's stream into captures, a new one at each retuning and each gap.

    The pieces of one capture must be read before the next capture is asked for, as `write_sigmf`
    does.

    Parameters
    ----------
    blocks : iterable of IQBlock
    start_utc : datetime, optional
        Time of the stream's sample 0, aware.
    """
    stream = iter(blocks)
    waiting = next(stream, None)

    def run(first: IQBlock) -> Iterator[IQBlock]:
        nonlocal waiting
        last = first
        yield first
        waiting = next(stream, None)
        while waiting is not None and _goes_on(last, waiting):
            last = waiting
            yield waiting
            waiting = next(stream, None)

    while waiting is not None:
        first = waiting
        pieces = run(first)
        yield CaptureToWrite(
            center_hz=first.center_hz,
            pieces=pieces,
            index=first.index,
            start_utc=None if start_utc is None else start_utc + timedelta(seconds=first.start_s),
        )
        for _ in pieces:  # what the caller left unread is no part of the next capture
            pass


def _goes_on(last: IQBlock, block: IQBlock) -> bool:
    return block.center_hz == last.center_hz and block.index == last.end_index


def write_sigmf(
    stem: str | Path,
    captures: Iterable[CaptureToWrite],
    *,
    rate_hz: float,
    datatype: str = "cu8",
    fields: Mapping[str, Any] | None = None,
    annotations: Iterable[Mapping[str, Any]] = (),
    archive: bool = False,
    overwrite: bool = False,
) -> Path:
    """Write a SigMF recording while its samples come, in bounded memory.

    Samples go to a temporary file beside the target; only when all are there is it renamed, and
    the metadata last, so that metadata never speak of samples that are not there. When the
    samples or the disk fail, nothing is left.

    Parameters
    ----------
    stem : str or Path
        Path without extension.
    captures : iterable of CaptureToWrite
        Read once, in order.
    rate_hz : float
    datatype : str
        SigMF name of the type to store.
    fields : mapping, optional
        More global fields, such as ``core:description`` or ``sniff:serial``; read after the
        samples, so they may be filled in meanwhile.
    annotations : iterable of mapping
        Entries with ``core:sample_start`` (in stored samples); read after the samples too.
    archive : bool
        Write one ``.sigmf`` instead of the pair.
    overwrite : bool
        Replace a recording of that name.

    Returns
    -------
    Path
        The ``.sigmf-meta``, or the archive.

    Raises
    ------
    UsageError
        When the recording is there already.
    SourceError
        When the disk is full or cannot be written, or there was no sample.
    ValueError
        When fields or annotations are not SigMF, or the datatype is unknown.
    """
    stored = find_datatype(datatype)
    data, metadata, packed = (Path(f"{stem}{end}") for end in (DATA, METADATA, ARCHIVE))
    targets = (packed,) if archive else (data, metadata)
    for target in targets:
        if target.exists() and not overwrite:
            raise UsageError(f"{target}: is there already; choose another name or remove it")
    with TemporaryBeside(targets[0]) as samples:
        digest = hashlib.sha512()
        described = _write_samples(samples.file, captures, stored, digest)
        document = _document(
            described,
            annotations,
            {
                "core:datatype": stored.name,
                "core:sample_rate": rate_hz,
                "core:recorder": f"sniff {__version__}",
                "core:sha512": digest.hexdigest(),
                **(fields or {}),
            },
        )
        text = f"{json.dumps(document, indent=2, allow_nan=False)}\n".encode()
        if archive:
            with TemporaryBeside(packed) as whole:
                _write_archive(whole.file, packed.name.removesuffix(ARCHIVE), samples.file, text)
                whole.move_to(packed)
        else:
            with TemporaryBeside(metadata) as written:
                written.file.write(text)
                # The old metadata go first: they must not be found beside the new samples.
                metadata.unlink(missing_ok=True)
                samples.move_to(data)
                written.move_to(metadata)
    return targets[-1]


def _write_samples(
    file: BinaryIO, captures: Iterable[CaptureToWrite], datatype: Datatype, digest: Any
) -> list[dict[str, Any]]:
    described = []
    position = 0
    for capture in captures:
        start = position
        for piece in capture.pieces:
            native = _native(piece, datatype)
            file.write(native)
            digest.update(native)
            position += native.nbytes // datatype.sample_bytes
        if position > start:
            described.append(_capture_entry(capture, start, position - start))
    if not described:
        raise SourceError("there was not one sample to write")
    return described


def _native(piece: Any, datatype: Datatype) -> memoryview:
    if isinstance(piece, IQBlock):
        return datatype.from_complex64(piece.samples).data
    view = memoryview(piece).cast("B")
    if view.nbytes % datatype.sample_bytes:
        raise ValueError(f"{view.nbytes} bytes are not whole samples of {datatype.name}")
    return view


def _capture_entry(capture: CaptureToWrite, start: int, samples: int) -> dict[str, Any]:
    entry: dict[str, Any] = {"core:sample_start": start, "core:frequency": capture.center_hz}
    if capture.index is not None:
        entry["core:global_index"] = capture.index
    if capture.start_utc is not None:
        utc = capture.start_utc.astimezone(timezone.utc).replace(tzinfo=None)
        entry["core:datetime"] = f"{utc.isoformat(timespec='microseconds')}Z"
    # With it a reader can tell that samples are missing at the end.
    entry[f"{EXTENSION}:sample_count"] = samples
    return {**entry, **capture.fields}


def _document(
    captures: list[dict[str, Any]],
    annotations: Iterable[Mapping[str, Any]],
    top: dict[str, Any],
) -> dict[str, Any]:
    from sigmf import __specification__
    from sigmf import validate as standard

    extensions = [e for e in top.get("core:extensions", ()) if e["name"] != EXTENSION]
    document = {
        "global": {
            "core:version": __specification__,
            **top,
            "core:extensions": [*extensions, _EXTENSION_ENTRY],
        },
        "captures": captures,
        "annotations": sorted(
            (dict(entry) for entry in annotations), key=lambda entry: entry["core:sample_start"]
        ),
    }
    try:
        standard.validate(document)
    except standard.jsonschema.exceptions.ValidationError as error:
        raise ValueError(f"this would not be SigMF: {error.message}") from None
    return document


def _write_archive(file: BinaryIO, name: str, samples: BinaryIO, metadata: bytes) -> None:
    """A tar with the metadata first, so that an archive cut short can still be read."""
    length = samples.seek(0, os.SEEK_END)
    samples.seek(0)
    with tarfile.open(fileobj=file, mode="w", format=tarfile.PAX_FORMAT) as archive:
        for end, size, content in (
            (METADATA, len(metadata), io.BytesIO(metadata)),
            (DATA, length, samples),
        ):
            member = tarfile.TarInfo(f"{name}/{name}{end}")
            member.size = size  # times and owners stay zero: same samples, same archive
            archive.addfile(member, content)
