"""SHA-512 of a recording's samples against the one in its metadata."""

import hashlib

from sniff.errors import SourceError
from sniff.model import Caution
from sniff.sources.recording.access import open_bytes, unreadable
from sniff.sources.recording.sigmf_files import SigmfFiles
from sniff.units import format_seconds

UNASKED_BYTES = 2**30
"""Longest dataset that is hashed without being asked for: a second or two of reading."""

_PIECE_BYTES = 2**20
_BYTES_PER_S = 5e8  # of SHA-512 on a small machine, for the hint only


def check_hash(files: SigmfFiles, *, verify: bool | None) -> tuple[Caution, ...]:
    """Compare the hash of the dataset with what its metadata say.

    Parameters
    ----------
    files : SigmfFiles
    verify : bool or None
        None hashes up to `UNASKED_BYTES`; False never; True always.

    Returns
    -------
    tuple of Caution
        One when they differ or when it was not checked for its length; a mismatch does not stop
        the reading, since most of the samples will be right.
    """
    stated = files.metadata.sha512
    if stated is None or verify is False:
        return ()
    if verify is None and files.data_bytes > UNASKED_BYTES:
        about = format_seconds(files.data_bytes / _BYTES_PER_S)
        return (
            Caution(
                code="hash-unchecked",
                text=f"the recording's hash was not checked: it is long, that would take {about}",
            ),
        )
    if _sha512(files) == stated:
        return ()
    return (
        Caution(
            code="hash-mismatch",
            text=f"{files.data_path.name}: the samples are not those the metadata were written "
            "for (SHA-512 differs); they were changed or damaged since",
        ),
    )


def _sha512(files: SigmfFiles) -> str:
    digest = hashlib.sha512()
    piece = bytearray(_PIECE_BYTES)
    left = files.data_bytes
    with open_bytes(files.data_path) as file:
        try:
            file.seek(files.data_offset)
            while left:
                got = file.readinto(memoryview(piece)[: min(left, _PIECE_BYTES)])
                if not got:
                    raise SourceError(f"{files.data_path}: became shorter while it was read")
                digest.update(memoryview(piece)[:got])
                left -= got
        except OSError as error:
            raise unreadable(files.data_path, error) from None
    return digest.hexdigest()
