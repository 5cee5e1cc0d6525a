"""A live source's stream made re-readable: kept on disk while it is read the first time."""

import tempfile
from collections.abc import Iterator
from struct import Struct

import numpy as np

from sniff.errors import SourceError
from sniff.model import ComplexSamples, IQBlock
from sniff.sources.recording.datatypes import DATATYPES, Bytes

_CU8 = DATATYPES["cu8"]

_HEAD = Struct("<qqdd?")  # index, samples, centre, rate, and whether stored as cu8


class SpooledTake:
    """A stretch of a live stream; obeys `sniff.model.Take`.

    The first reading of `blocks` hears the stream and writes it to a temporary file, later ones
    come from the file; a reading that was broken off is taken up where it stopped. Block borders,
    indices and centres stay as they were. Memory is bounded: all is in the file, even the borders.

    Parameters
    ----------
    stream : iterator of IQBlock
        Read once.
    center_hz, rate_hz : float
        Of the stream, Hz.
    datatype : str
        Native type of the source: ``cu8`` is kept in a quarter of the space, to the bit.

    Raises
    ------
    SourceError
        When no temporary file can be made.
    """

    def __init__(
        self, stream: Iterator[IQBlock], *, center_hz: float, rate_hz: float, datatype: str
    ) -> None:
        self._stream = stream
        self._center_hz = center_hz
        self._rate_hz = rate_hz
        self._as_cu8 = datatype == _CU8.name
        self._samples = 0
        self._end = 0
        try:
            # Unbuffered: with a full disk, a buffer would fail again when it is closed. On close
            # the file is gone, on POSIX even when the process is killed.
            self._file = tempfile.TemporaryFile(prefix="sniff-", buffering=0)  # noqa: SIM115
        except OSError as error:
            raise _disk_trouble(error) from None

    @property
    def center_hz(self) -> float:
        """Indicated centre, Hz."""
        return self._center_hz

    @property
    def rate_hz(self) -> float:
        """Sample rate by the source's own clock, Hz."""
        return self._rate_hz

    @property
    def seconds(self) -> float:
        """Length observed so far, s: none before the first reading, all of it after."""
        return self._samples / self._rate_hz

    def blocks(self) -> Iterator[IQBlock]:
        """Read it from its beginning.

        Raises
        ------
        SourceError
            When it is closed, the source fails, or the disk is full.
        """
        place = 0
        while True:
            if self._file.closed:
                raise SourceError("this take was closed; take another to read it")
            if place == self._end:
                heard = next(self._stream, None)
                if heard is None:
                    return
                place = self._keep(heard)
                yield heard
            else:
                block, place = self._recall(place)
                yield block

    def close(self) -> None:
        """Remove the file; harmless when called twice."""
        self._file.close()

    def _keep(self, block: IQBlock) -> int:
        """Append a block; returns the place after it."""
        native, as_cu8 = self._native(block.samples)
        head = _HEAD.pack(block.index, block.samples.size, block.center_hz, block.rate_hz, as_cu8)
        try:
            self._file.seek(self._end)
            self._write(memoryview(head))
            self._write(native)
        except OSError as error:
            raise _disk_trouble(error) from None
        self._end += len(head) + native.nbytes
        self._samples += block.samples.size
        return self._end

    def _native(self, samples: ComplexSamples) -> tuple[memoryview, bool]:
        if self._as_cu8:
            codes = _CU8.from_complex64(samples)
            # A later reading must give what the first gave: samples that someone has scaled or
            # filtered since they were cu8 are kept as they are.
            if np.array_equal(_CU8.to_complex64(codes), samples):
                return codes.data, True
        return np.ascontiguousarray(samples).view(np.uint8).data, False

    def _write(self, data: memoryview) -> None:
        while data:
            data = data[self._file.write(data) :]

    def _recall(self, place: int) -> tuple[IQBlock, int]:
        index, count, center_hz, rate_hz, as_cu8 = _HEAD.unpack(self._read(place, _HEAD.size).data)
        place += _HEAD.size
        native = self._read(place, count * (2 if as_cu8 else 8))
        samples = _CU8.to_complex64(native) if as_cu8 else native.view(np.complex64)
        block = IQBlock(samples=samples, rate_hz=rate_hz, center_hz=center_hz, index=index)
        return block, place + native.nbytes

    def _read(self, place: int, size: int) -> Bytes:
        data = np.empty(size, dtype=np.uint8)
        filled = 0
        try:
            self._file.seek(place)
            while filled < size:
                got = self._file.readinto(data[filled:].data)
                if not got:
                    raise SourceError("the temporary file of this take was cut short")
                filled += got
        except OSError as error:
            raise _disk_trouble(error) from None
        return data


def _disk_trouble(error: OSError) -> SourceError:
    return SourceError(
        f"{tempfile.gettempdir()}: the samples cannot be kept for a second look: "
        f"{error.strerror or error}; make room, name another folder in TMPDIR, or ask for less "
        "--seconds"
    )
