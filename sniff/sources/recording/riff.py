"""How much a WAV promises: the length in its data chunk, which libsndfile corrects in silence.

Chunks after Multimedia Programming Interface and Data Specifications 1.0 (1991), chapter 2; RF64
and its ds64 chunk after EBU Tech 3306 (2009).
"""

from pathlib import Path
from struct import unpack
from typing import BinaryIO

from sniff.sources.recording.access import open_bytes

_OPEN_END = 0xFFFFFFFF


def declared_data_bytes(path: Path) -> int | None:
    """Length that the header gives for the samples, bytes.

    Returns
    -------
    int or None
        None when the header leaves it open (all ones without a ds64 chunk), or has no data chunk.
    """
    with open_bytes(path) as file:
        long_bytes = None
        file.seek(12)
        while len(head := file.read(8)) == 8:
            chunk, size = unpack("<4sI", head)
            if chunk == b"ds64":
                long_bytes = _ds64_data_bytes(file, size)
                continue
            if chunk == b"data":
                return long_bytes if size == _OPEN_END else size
            file.seek(size + size % 2, 1)
    return None


def _ds64_data_bytes(file: BinaryIO, size: int) -> int | None:
    """Second of the 64-bit lengths: RIFF, data, frames."""
    body = file.read(size + size % 2)
    return int(unpack("<Q", body[8:16])[0]) if len(body) >= 16 else None
