"""Which recordings a batch is about: files and folders as they are named, or a manifest."""

import json
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path

from sniff.batch.nouns import Task
from sniff.errors import UsageError
from sniff.sources.recording.datatypes import find_datatype

_META = ".sigmf-meta"
_DATA = ".sigmf-data"
_WHOLE = (_META, ".sigmf", ".wav")


def tasks_of(named: Sequence[str]) -> tuple[Task, ...]:
    """One task for each recording that is named or lies in a folder that is, each once.

    What is named stands in the order of the words, whatever it is: what is wrong with it, its
    answer will say. Folders are searched with all folders in them, by their names; what is no
    recording, and what is hidden, is passed over there.

    Raises
    ------
    UsageError
        When there is none.
    """
    found: dict[str, None] = {}
    for word in named:
        if os.path.isdir(word):  # noqa: PTH112  a word may be no path at all, such as bench:room
            found.update(dict.fromkeys(_in_folder(Path(word))))
        else:
            found[word] = None
    sources = [word for word in found if not _has_its_half(word, found)]
    if not sources:
        where = ", ".join(named)
        raise UsageError(
            f"{where}: no recording in it (.sigmf-meta, .sigmf, .wav, or raw as .cu8, .ci16_le ...)"
            if named
            else "which recordings? Give files or folders, or --manifest FILE"
        )
    return tuple(
        Task(number=number, source=source, options={}) for number, source in enumerate(sources)
    )


def _has_its_half(word: str, found: Iterable[str]) -> bool:
    """Of a SigMF pair the metadata stand for both; a shell's ``*`` names both."""
    return word.endswith(_DATA) and word.removesuffix(_DATA) + _META in found


def _in_folder(folder: Path) -> Iterator[str]:
    for place, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        paths = [Path(place) / name for name in sorted(names) if not name.startswith(".")]
        raw = [path for path in paths if _is_raw(path)]
        described = _datasets(paths) if raw else frozenset()
        for path in paths:
            if path.suffix.lower() in _WHOLE or (path in raw and path.name not in described):
                yield str(path)


def _is_raw(path: Path) -> bool:
    with suppress(ValueError):
        find_datatype(path.suffix.removeprefix(".").lower())
        return True
    return False


def _datasets(paths: Iterable[Path]) -> frozenset[str]:
    """Names of raw files that are the samples of SigMF metadata beside them."""
    names = set()
    for path in paths:
        if path.suffix.lower() == _META:
            with suppress(OSError, ValueError, KeyError, TypeError):
                names.add(json.loads(path.read_bytes())["global"]["core:dataset"])
    return frozenset(name for name in names if isinstance(name, str))
