"""Files of a recording, opened with one clear line when they cannot be."""

from io import FileIO
from pathlib import Path
from stat import S_ISDIR, S_ISREG

from sniff.errors import SourceError


def unreadable(path: Path, error: OSError) -> SourceError:
    """Say in one line why a file cannot be read."""
    if isinstance(error, FileNotFoundError):
        return SourceError(f"{path}: there is no such file")
    if isinstance(error, PermissionError):
        return SourceError(f"{path}: no permission to read it")
    return SourceError(f"{path}: cannot be read: {error.strerror or error}")


def file_bytes(path: Path) -> int:
    """Length of a regular file that is not empty, bytes.

    Raises
    ------
    SourceError
        When it is missing, out of reach, a directory, a device or empty.
    """
    try:
        status = path.stat()
    except OSError as error:
        raise unreadable(path, error) from None
    except ValueError:
        raise SourceError(f"{str(path)!r} is not the name of a file") from None
    if S_ISDIR(status.st_mode):
        raise SourceError(f"{path}: is a directory; give a recording in it")
    if not S_ISREG(status.st_mode):
        raise SourceError(f"{path}: is not a regular file")
    if status.st_size == 0:
        raise SourceError(f"{path}: is empty")
    return status.st_size


def open_bytes(path: Path) -> FileIO:
    """Open for unbuffered reading: pieces are large, and a buffer would only copy them again.

    Raises
    ------
    SourceError
        When it cannot be opened.
    """
    try:
        return path.open("rb", buffering=0)
    except OSError as error:
        raise unreadable(path, error) from None
