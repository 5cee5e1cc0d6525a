"""A file that takes its name only when it is whole."""

import os
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from sniff.errors import SourceError


class TemporaryBeside:
    """A file beside its target that is moved there when whole, and else removed."""

    def __init__(self, target: Path) -> None:
        self._target = target
        self._path: Path | None = None

    def __enter__(self) -> "TemporaryBeside":
        try:
            number, name = tempfile.mkstemp(
                prefix=f".{self._target.name}.", suffix=".part", dir=self._target.parent
            )
        except OSError as error:
            raise unwritable(self._target, error) from None
        self._path = Path(name)
        self.file: BinaryIO = os.fdopen(number, "w+b")
        return self

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        with suppress(OSError):  # a full disk is told of by the write that met it first
            self.file.close()
        if self._path is not None:
            self._path.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise unwritable(self._target, error) from None

    def move_to(self, target: Path) -> None:
        """Let it take the target's place, on disk, with the rights a new file would have."""
        assert self._path is not None
        self.file.flush()
        os.fsync(self.file.fileno())
        self.file.close()
        mask = os.umask(0)
        os.umask(mask)
        self._path.chmod(0o666 & ~mask)
        self._path.replace(target)
        self._path = None


def unwritable(target: Path, error: OSError) -> SourceError:
    """Say in one line why a file cannot be written."""
    return SourceError(
        f"{target}: cannot be written: {error.strerror or error}; choose another folder or make "
        "room"
    )
