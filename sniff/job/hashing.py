"""Files by their SHA-256, the hash that any system can check."""

import hashlib
from pathlib import Path

from sniff.job.entries import FileKind, KeptFile
from sniff.job.error import JobError

_PIECE_BYTES = 2**20


def sha256_of(path: Path) -> tuple[str, int]:
    """Hash, and length in bytes.

    Raises
    ------
    JobError
        When it cannot be read.
    """
    digest, size = hashlib.sha256(), 0
    try:
        with path.open("rb") as file:
            while piece := file.read(_PIECE_BYTES):
                digest.update(piece)
                size += len(piece)
    except OSError as error:
        raise JobError(f"{path}: cannot be read: {error.strerror or error}") from None
    return digest.hexdigest(), size


def kept_file(path: Path, *, kind: FileKind, job: Path) -> KeptFile:
    """A file as the notebook knows it; raises as `sha256_of`."""
    sha256, size = sha256_of(path)
    real, folder = path.resolve(), job.resolve()
    inside = real.is_relative_to(folder)
    name = real.relative_to(folder).as_posix() if inside else str(real)
    return KeptFile(kind=kind, path=name, sha256=sha256, bytes=size)
