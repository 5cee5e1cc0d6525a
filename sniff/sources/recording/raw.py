"""Raw interleaved samples: I, Q, I, Q ... of one datatype, at any place in a file."""

import re
from pathlib import Path

import numpy as np

from sniff.errors import SourceError, UsageError
from sniff.model import Caution, ComplexSamples, SourceInfo
from sniff.sources.recording.access import file_bytes, open_bytes, unreadable
from sniff.sources.recording.captures import Capture
from sniff.sources.recording.datatypes import Datatype, find_datatype
from sniff.sources.recording.given import Given, overridden
from sniff.sources.recording.source import RecordingSource

UNDERSTOOD = (
    ".sigmf-meta, .sigmf-data, .sigmf, .wav, and raw samples as .cu8, .ci16_le and so on, "
    "or with --datatype"
)
"""The formats of recordings, for error messages."""

_LIKE_A_DATATYPE = re.compile(r"[cr][fiu]\d+(_[lb]e)?")


class RawReader:
    """Reads samples of one datatype from a file; places are bytes from its beginning.

    Pieces are read into one buffer that is used again. A memory map would be no faster, and its
    pages would count as this process's memory.
    """

    def __init__(self, path: Path, datatype: Datatype) -> None:
        self._path = path
        self._datatype = datatype
        self._file = open_bytes(path)
        self._buffer = np.empty(0, dtype=np.uint8)

    @property
    def stride(self) -> int:
        """Bytes of a sample."""
        return self._datatype.sample_bytes

    @property
    def may_hold_nan(self) -> bool:
        """True for floating-point types."""
        return self._datatype.is_float

    def read(self, place: int, count: int) -> ComplexSamples:
        """Exactly `count` samples from byte `place` on.

        Raises
        ------
        SourceError
            When the file is closed, unreadable, or has become shorter since it was opened.
        """
        if self._file.closed:
            raise SourceError(f"{self._path}: was closed; open it again to read it")
        wanted = count * self.stride
        if self._buffer.size < wanted:
            self._buffer = np.empty(wanted, dtype=np.uint8)
        native = self._buffer[:wanted]
        try:
            self._file.seek(place)
            filled = 0
            while filled < wanted:
                got = self._file.readinto(native[filled:].data)
                if not got:
                    raise SourceError(f"{self._path}: became shorter while it was read")
                filled += got
        except OSError as error:
            raise unreadable(self._path, error) from None
        return self._datatype.to_complex64(native)

    def close(self) -> None:
        """Close the file; harmless when called twice."""
        self._file.close()


def open_raw(path: Path, *, name: str, given: Given) -> RecordingSource:
    """Open raw samples, whose datatype is told by the file's extension or by the user.

    Parameters
    ----------
    path : Path
    name : str
        As the user wrote it.
    given : Given
        Rate and centre must be there: nothing else says them.

    Raises
    ------
    SourceError
        When the file cannot be read or holds less than one sample.
    UsageError
        When datatype, rate or centre is missing.
    """
    size = file_bytes(path)
    cautions = []
    by_extension = _datatype_by_extension(path, asked=given.datatype)
    datatype = given.datatype or by_extension
    if datatype is None:
        raise UsageError(f"{name}: the extension says no format; known are {UNDERSTOOD}")
    if by_extension is not None and by_extension != datatype:
        cautions.append(overridden("datatype", said=by_extension.name, used=datatype.name))
    missing = [
        option
        for option, value in (("--rate", given.rate_hz), ("--center", given.center_hz))
        if value is None
    ]
    if given.rate_hz is None or given.center_hz is None:
        beside = path.with_name(f"{path.stem}.sigmf-meta")
        instead = f", or read {beside.name} beside it" if beside.is_file() else ""
        raise UsageError(
            f"{name}: raw samples do not say their rate and centre; give {' and '.join(missing)}"
            f"{instead}"
        )
    samples, left_over = divmod(size, datatype.sample_bytes)
    if samples == 0:
        raise SourceError(f"{name}: {size} bytes are less than one sample of {datatype.name}")
    if left_over:
        cautions.append(odd_length(left_over, datatype))
    info = SourceInfo(
        kind="recording",
        name=name,
        datatype=datatype.name,
        rail=datatype.rail,
        rate_hz=given.rate_hz,
        centers_hz=(),
        duration_s=None,
        tunable=False,
        cautions=tuple(cautions),
    )
    capture = Capture(center_hz=given.center_hz, index=0, samples=samples, place=0)
    return RecordingSource(info=info, captures=(capture,), reader=RawReader(path, datatype))


def odd_length(left_over: int, datatype: Datatype) -> Caution:
    """The caution for a last sample that is not whole."""
    return Caution(
        code="odd-length",
        text=f"the last {left_over} of {datatype.sample_bytes} bytes of a {datatype.name} sample "
        "are left out: the recording ends within a sample",
    )


def _datatype_by_extension(path: Path, *, asked: Datatype | None) -> Datatype | None:
    """What the extension says; a type that cannot be read is an error unless another is asked."""
    name = path.suffix.removeprefix(".").lower()
    if not _LIKE_A_DATATYPE.fullmatch(name):
        return None
    try:
        return find_datatype(name)
    except ValueError as error:
        if asked is not None:
            return None
        raise SourceError(f"{path}: {error}") from None
