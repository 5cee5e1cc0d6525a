"""Files by their SHA-256, the hash that any system can check."""

import hashlib
from collections.abc import Iterable
from pathlib import Path

from sniff.job.entries import FileKind, KeptFile
from sniff.job.error import JobError

_PIECE_BYTES = 2**20


def sha256_of(path: Path) -> str:
    """Hash of a file's content.

    Raises
    ------
    JobError
        When it cannot be read.
    """
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while piece := file.read(_PIECE_BYTES):
                digest.update(piece)
    except OSError as error:
        raise JobError(f"{path}: cannot be read: {error.strerror or error}") from None
    return digest.hexdigest()


def kept_file(path: Path, *, kind: FileKind, job: Path, known: Iterable[KeptFile] = ()) -> KeptFile:
    """A file as the notebook knows it.

    Parameters
    ----------
    path : Path
    kind : FileKind
    job : Path
        The job's folder.
    known : iterable of KeptFile
        Files of the notebook: one of the same place, length and time is not hashed again.

    Raises
    ------
    JobError
        When it cannot be read.
    """
    real, folder = path.resolve(), job.resolve()
    name = real.relative_to(folder).as_posix() if real.is_relative_to(folder) else str(real)
    try:
        status = real.stat()
    except OSError as error:
        raise JobError(f"{path}: cannot be read: {error.strerror or error}") from None
    for file in known:
        if (file.path, file.bytes, file.modified_ns) == (name, status.st_size, status.st_mtime_ns):
            return file
    return KeptFile(
        kind=kind,
        path=name,
        sha256=sha256_of(real),
        bytes=status.st_size,
        modified_ns=status.st_mtime_ns,
    )
