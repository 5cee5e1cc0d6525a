"""Where a recording is to be written: what is there already, and whether there is room."""

import os
import shutil
from collections.abc import Iterable
from pathlib import Path

from sniff.errors import SourceError, UsageError
from sniff.sources.recording.sigmf_files import ARCHIVE, DATA, METADATA

SPARE_BYTES = 200_000_000
"""Room that is left on the disk: a full disk breaks more than a recording."""


def check_stem(stem: Path, *, source_files: Iterable[Path]) -> None:
    """Refuse a name that is none, or that of the recording that is being read.

    Parameters
    ----------
    stem : Path
    source_files : iterable of Path
        What the source is read from.

    Raises
    ------
    UsageError
        With what to do.
    """
    if stem.suffix in (DATA, METADATA, ARCHIVE):
        raise UsageError(f"--out {stem}: leave {stem.suffix} out; it is a name without ending")
    if stem.name in ("", ".."):
        raise UsageError(f"--out {str(stem)!r} names no recording")
    targets = (*pair_of(stem), Path(f"{stem}{ARCHIVE}"))
    for read in source_files:
        if any(_same(read, target) for target in targets):
            raise UsageError(
                f"--out {stem}: is the recording that --from reads; choose another name"
            )


def _same(one: Path, other: Path) -> bool:
    return other.exists() and one.samefile(other)


def pair_of(stem: Path) -> tuple[Path, Path]:
    """Data and metadata of a name without ending."""
    return Path(f"{stem}{DATA}"), Path(f"{stem}{METADATA}")


def is_taken(pair: tuple[Path, Path]) -> bool:
    """Whether anything of a recording is there, were it a link to nothing."""
    return any(os.path.lexists(path) for path in pair)


def check_room(path: Path, *, spare_bytes: int = SPARE_BYTES) -> None:
    """Refuse to write in a folder that is not there, or on a disk that is nearly full.

    Raises
    ------
    SourceError
        With what to do.
    """
    folder = path.parent
    if not folder.is_dir():
        raise SourceError(f"{folder}: is no folder; make it first")
    free = shutil.disk_usage(folder).free
    if free < spare_bytes:
        raise SourceError(f"{path}: only {free // 1_000_000} MB are free on the disk; make room")
