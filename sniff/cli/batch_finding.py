"""Which recordings a batch is about: files and folders as they are named, or a manifest."""

import json
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from sniff.batch.nouns import Task
from sniff.errors import SourceError, UsageError
from sniff.model import Caution
from sniff.sources.recording.datatypes import find_datatype

_META = ".sigmf-meta"
_DATA = ".sigmf-data"
_MOST_TOLD = 3
_WHOLE = (_META, ".sigmf", ".wav")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What is to be asked, and what was passed over though it was named."""

    tasks: tuple[Task, ...]
    cautions: tuple[Caution, ...] = ()


def found_by(named: Sequence[str]) -> Found:
    """One task for each recording that is named or lies in a folder that is, each once.

    What is named stands in the order of the words, whatever it is: what is wrong with it, its
    answer will say. Folders are searched with all folders in them, linked ones too, by their names;
    what is no recording, and what is hidden, is passed over there.

    Raises
    ------
    UsageError
        When there is none.
    SourceError
        When there is none, and a folder that cannot be read.
    """
    found: dict[str, str] = {}
    locked: list[OSError] = []
    empty: list[str] = []
    for word in named:
        if not os.path.isdir(word):  # noqa: PTH112  a word may be no path at all, such as bench:room
            found.setdefault(_place(word), word)
            continue
        inside = list(_in_folder(Path(word), locked))
        if not inside:
            empty.append(word)
        for path in inside:
            found.setdefault(_place(path), path)
    sources = [word for place, word in found.items() if not _has_its_half(place, found)]
    if not sources and locked:
        raise SourceError(_unread(locked))
    if not sources:
        where = ", ".join(named)
        raise UsageError(
            f"{where}: no recording in it (.sigmf-meta, .sigmf, .wav, or raw as .cu8, .ci16_le ...)"
            if named
            else "which recordings? Give files or folders, or --manifest FILE"
        )
    cautions = []
    if locked:
        cautions.append(Caution(code="not-searched", text=_unread(locked)))
    if empty:
        text = f"{_listed(empty)}: no recording in it"
        cautions.append(Caution(code="no-recording", text=text))
    return Found(tasks=_tasks(sources), cautions=tuple(cautions))


def _unread(locked: Sequence[OSError]) -> str:
    folders = _listed([str(error.filename) for error in locked])
    return f"{folders}: cannot be read: {locked[0].strerror}; what is in it is not asked"


def _listed(words: Sequence[str]) -> str:
    more = len(words) - _MOST_TOLD
    return f"{', '.join(words[:_MOST_TOLD])}{f' and {more} more' if more > 0 else ''}"


def without(found: Found, references: Iterable[str]) -> Found:
    """Leave out what all are held against: a folder may hold that too.

    Raises
    ------
    UsageError
        When nothing else was found.
    """
    places = {
        _whole(_place(each)) for word in references for each in (word, word.partition("=")[2])
    }
    sources = [task.source for task in found.tasks]
    others = [source for source in sources if _whole(_place(source)) not in places]
    itself = [source for source in sources if source not in others]
    if not itself:
        return found
    text = f"{_listed(itself)}: is what the others are held against, and not asked"
    if not others:
        raise UsageError(f"{text}; name the recordings that are")
    caution = Caution(code="itself", text=text)
    return Found(tasks=_tasks(others), cautions=(*found.cautions, caution))


def _tasks(sources: Iterable[str]) -> tuple[Task, ...]:
    return tuple(
        Task(number=number, source=source, options={}) for number, source in enumerate(sources)
    )


def _whole(place: str) -> str:
    """Of a SigMF pair, by its metadata."""
    return place.removesuffix(_DATA) + _META if place.endswith(_DATA) else place


def _place(word: str) -> str:
    """The same for a file that is named in two ways; a link to a file is one of its own."""
    folder, name = os.path.split(word)
    return os.path.join(os.path.realpath(folder), name)  # noqa: PTH118  no path: bench:room


def _has_its_half(place: str, found: Iterable[str]) -> bool:
    """Of a SigMF pair the metadata stand for both; a shell's ``*`` names both."""
    return place.endswith(_DATA) and _whole(place) in found


def _in_folder(folder: Path, locked: list[OSError]) -> Iterator[str]:
    searched: set[tuple[int, int]] = set()

    def is_new(path: str) -> bool:
        with suppress(OSError):
            stat = os.stat(path)  # noqa: PTH116
            place = (stat.st_dev, stat.st_ino)
            if place in searched:  # a link in a circle
                return False
            searched.add(place)
        return True

    is_new(str(folder))
    for place, folders, names in os.walk(folder, followlinks=True, onerror=locked.append):
        seen = sorted(name for name in folders if not name.startswith("."))
        folders[:] = [name for name in seen if is_new(os.path.join(place, name))]  # noqa: PTH118
        yield from _among([Path(place) / name for name in sorted(names) if name[0] != "."])


def _among(paths: Sequence[Path]) -> Iterator[str]:
    """The recordings among the files of one folder."""
    names = {path.name for path in paths}
    loose = {path.name for path in paths if _is_raw(path) or _is_alone(path, names)}
    loose -= _datasets(paths) if loose else set()
    for path in paths:
        if path.suffix.lower() in _WHOLE or path.name in loose:
            yield str(path)


def _is_raw(path: Path) -> bool:
    with suppress(ValueError):
        find_datatype(path.suffix.removeprefix(".").lower())
        return True
    return False


def _is_alone(path: Path, names: Iterable[str]) -> bool:
    """Whether it is half a pair whose metadata are lost: its answer will say so."""
    return path.suffix == _DATA and path.with_suffix(_META).name not in names


def _datasets(paths: Iterable[Path]) -> frozenset[str]:
    """Names of files that are the samples of SigMF metadata beside them."""
    names = set()
    for path in paths:
        if path.suffix.lower() == _META:
            with suppress(OSError, ValueError, KeyError, TypeError):
                names.add(json.loads(path.read_bytes())["global"]["core:dataset"])
    return frozenset(name for name in names if isinstance(name, str))
