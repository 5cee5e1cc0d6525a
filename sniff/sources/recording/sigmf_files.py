"""Where the two halves of a SigMF recording are: a pair of files, or members of an archive."""

import tarfile
from dataclasses import dataclass
from pathlib import Path

from sniff.errors import SourceError
from sniff.sources.recording.access import file_bytes, open_bytes, unreadable
from sniff.sources.recording.sigmf_metadata import Metadata, parse_metadata

METADATA = ".sigmf-meta"
DATA = ".sigmf-data"
ARCHIVE = ".sigmf"

_LARGEST_METADATA_BYTES = 100 * 2**20


@dataclass(frozen=True, slots=True, kw_only=True)
class SigmfFiles:
    """Metadata, and where its samples lie.

    Attributes
    ----------
    metadata : Metadata
    data_path : Path
        File that holds the samples; for an archive the archive itself.
    data_offset, data_bytes : int
        Where the dataset begins in it, and how much of it is there, bytes.
    missing_bytes : int
        How much of the dataset the archive promises beyond its end.
    """

    metadata: Metadata
    data_path: Path
    data_offset: int
    data_bytes: int
    missing_bytes: int = 0


def find_sigmf(path: Path) -> SigmfFiles:
    """Find both halves from either, or from the archive that holds them.

    Raises
    ------
    SourceError
        When a half is missing or unreadable, or the metadata are not SigMF.
    """
    if path.suffix.lower() == ARCHIVE:
        return _in_archive(path)
    return _in_pair(path)


def _in_pair(path: Path) -> SigmfFiles:
    given_bytes = file_bytes(path)
    from_data = path.suffix.lower() == DATA
    metadata_path = path.with_suffix(METADATA) if from_data else path
    if from_data and not metadata_path.exists():
        raise SourceError(
            f"{path}: its metadata {metadata_path.name} are missing; without them, rename it to "
            "end in its datatype (.cu8 ...) and give --rate and --center"
        )
    if (given_bytes if not from_data else file_bytes(metadata_path)) > _LARGEST_METADATA_BYTES:
        raise SourceError(f"{metadata_path}: is too long for SigMF metadata")
    try:
        text = metadata_path.read_bytes()
    except OSError as error:
        raise unreadable(metadata_path, error) from None
    metadata = parse_metadata(text, name=str(metadata_path))
    dataset = metadata.dataset
    data_path = metadata_path.with_suffix(DATA)
    if dataset is not None:
        data_path = metadata_path.with_name(dataset)
    if from_data and data_path != path:
        raise SourceError(f"{path}: {metadata_path.name} describes {data_path.name} instead")
    if not data_path.exists():
        raise SourceError(f"{metadata_path}: its samples {data_path.name} are missing")
    return SigmfFiles(
        metadata=metadata, data_path=data_path, data_offset=0, data_bytes=file_bytes(data_path)
    )


def _in_archive(path: Path) -> SigmfFiles:
    size = file_bytes(path)
    with open_bytes(path) as file:
        try:
            with tarfile.open(fileobj=file, mode="r:") as archive:
                members = _members(archive)
                described = [m for m in members if m.name.endswith(METADATA)]
                if not described:
                    raise SourceError(f"{path}: holds no {METADATA}, or ends before it")
                if len(described) > 1:
                    raise SourceError(
                        f"{path}: holds {len(described)} recordings; unpack it and give one"
                    )
                if described[0].size > _LARGEST_METADATA_BYTES:
                    raise SourceError(f"{path}: its {METADATA} is too long for SigMF metadata")
                opened = archive.extractfile(described[0])
                text = opened.read() if opened else b""
        except tarfile.TarError as error:
            raise SourceError(
                f"{path}: is not a whole SigMF archive (a plain tar): {error}"
            ) from None
        except OSError as error:
            raise unreadable(path, error) from None
    metadata = parse_metadata(text, name=f"{path}, {described[0].name}")
    base = described[0].name.removesuffix(METADATA)
    wanted = base + DATA
    if metadata.dataset is not None:
        wanted = f"{base.rpartition('/')[0]}/{metadata.dataset}".removeprefix("/")
    data = next((member for member in members if member.name == wanted), None)
    if data is None:
        raise SourceError(f"{path}: its samples {wanted} are missing")
    if data.issparse():
        raise SourceError(f"{path}: its samples are stored sparse; unpack it and give the pair")
    there = max(0, min(data.size, size - data.offset_data))
    return SigmfFiles(
        metadata=metadata,
        data_path=path,
        data_offset=data.offset_data,
        data_bytes=there,
        missing_bytes=data.size - there,
    )


def _members(archive: tarfile.TarFile) -> list[tarfile.TarInfo]:
    """Regular files of an archive, those before the break when it was cut short."""
    members = []
    try:
        while (member := archive.next()) is not None:
            members.append(member)
    except tarfile.ReadError:
        if not members:
            raise
    return [member for member in members if member.isreg()]
