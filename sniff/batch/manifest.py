"""A manifest: a CSV that names each recording and gives it options of its own.

The header's first line decides how cells are parted: by semicolons where it has one (spreadsheets
of many languages write them), else by tabs, else by commas. Option names hold none of the three.
"""

import csv
import os
import re
from collections.abc import Iterator, Sequence
from io import StringIO
from pathlib import Path
from typing import Final

from sniff.batch.nouns import Task
from sniff.errors import InputError, SourceError

FILE: Final = "file"
_SOURCES: Final = frozenset({"sibling", "good"})
"""Options that name a recording, as `file` does: a path, or a scene as ``bench:NAME``."""
_PATHS: Final = frozenset({"plan", "good-plan"})
"""Options that are paths. All paths count from the manifest's folder."""
_PATHS_IN_TOML: Final = frozenset({"channels", "limits"})
"""Options that are a path where they end in .toml, and else words."""
_OPTION: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_MOST_BYTES: Final = 64_000_000


def read_manifest(path: Path) -> tuple[Task, ...]:
    """Read a manifest.

    Its header has a column `file`, a recording as a path from the manifest's folder, and any number
    of columns named as the question's long options without their dashes (``nominal``,
    ``sibling-carrier``). An empty cell leaves an option out, blanks about a cell do not count, and
    a line without any text is passed over.

    Parameters
    ----------
    path : Path
        UTF-8, with or without a byte order mark.

    Returns
    -------
    tuple of Task
        In the order of the lines, numbered from 0.

    Raises
    ------
    SourceError
        When it cannot be read.
    InputError
        When it does not say what it must; the message names the line.
    """
    rows = _rows(path, _text(path))
    line, header = next(rows, (1, []))
    names = _names(header, f"{path}, line {line}")
    tasks: list[Task] = []
    lines: dict[tuple[str, ...], int] = {}
    for line, cells in rows:
        where = f"{path}, line {line}"
        if len(cells) != len(names):
            raise InputError(
                f"{where}: {_counted(len(cells))} under a header of {len(names)}; give each column "
                "its cell, an empty one where an option is left out, and put a text that holds "
                "the separator in double quotes"
            )
        if (before := lines.setdefault(tuple(cells), line)) != line:
            raise InputError(f"{where}: says the same as line {before}; leave one of them out")
        given = dict(zip(names, cells, strict=True))
        file = given.pop(FILE)
        if not file:
            raise InputError(f"{where}: the cell under 'file' is empty; name the recording")
        options = {name: _option(path, name, text) for name, text in given.items() if text}
        tasks.append(Task(number=len(tasks), source=_source(path, file), options=options))
    if not tasks:
        raise InputError(f"{path}: it lists no recording; give each a line below the header")
    return tuple(tasks)


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(
                f"{path}: more than {_MOST_BYTES // 1_000_000} MB, which is no list of recordings; "
                "a manifest is a CSV with a column 'file'"
            )
        data = path.read_bytes()
    except OSError as error:
        raise SourceError(
            f"{path}: cannot be read: {error.strerror or error}; check its name and your rights"
        ) from None
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError(f"{path}: UTF-16; save it as 'CSV UTF-8'")
    if b"\0" in data:
        line = data.count(b"\n", 0, data.index(b"\0")) + 1
        raise InputError(
            f"{path}, line {line}: a NUL byte, which no text has; a manifest is a CSV with a "
            "column 'file', and recordings are named in it or given by themselves"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(f"{path}, line {line}: not UTF-8; save it as 'CSV UTF-8'") from None


def _rows(path: Path, text: str) -> Iterator[tuple[int, list[str]]]:
    """Line and stripped cells of each row that says anything."""
    lines = StringIO(text, newline="")  # splitlines() would also part at U+2028 and its like
    reader = csv.reader(lines, delimiter=_delimiter(path, text), strict=True)
    while True:
        line = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise InputError(
                f"{path}, line {line}: {error}; a cell that holds quotes, line ends or the "
                'separator is put in double quotes, and "" is a double quote in it'
            ) from None
        cells = [cell.strip() for cell in row]
        if any(cells):
            yield line, cells


def _delimiter(path: Path, text: str) -> str:
    header = next((line for line in StringIO(text, newline="") if line.strip()), "")
    found = [mark for mark in ";\t," if mark in header]
    if len(found) > 1:
        raise InputError(
            f"{path}: its header is parted by more than one of semicolons, tabs and commas; take "
            "one of them for all cells"
        )
    return found[0] if found else ","


def _names(header: Sequence[str], where: str) -> list[str]:
    names = list(header)
    if FILE not in names:
        raise InputError(
            f"{where}: no column 'file'; the first line names the columns, in small letters: file, "
            "and options without their dashes, such as nominal or sibling-carrier"
        )
    for at, name in enumerate(names, start=1):
        if name in names[: at - 1]:
            raise InputError(f"{where}: two columns {name!r}; leave one out")
        if not name:
            raise InputError(f"{where}: column {at} has no name; name its option or delete it")
        if not _OPTION.fullmatch(name):
            raise InputError(
                f"{where}: {name!r} is not an option's name; write it as in the command's help, "
                "in small letters and without the two dashes before it"
            )
    return names


def _source(manifest: Path, text: str) -> str:
    kind, colon, scene = text.partition(":")
    if kind == "bench" and colon:
        inside = scene.lower().endswith(".toml")
        return f"bench:{manifest.parent / scene}" if inside else text
    return str(manifest.parent / text)


def _option(manifest: Path, name: str, text: str) -> str:
    if name in _SOURCES:
        place, equals, source = text.partition("=")  # PLACE=SOURCE, as compare has it
        if not equals or os.path.exists(manifest.parent / text):  # noqa: PTH110  a name with "="
            return _source(manifest, text)
        return f"{place}={_source(manifest, source)}"
    if name in _PATHS or (name in _PATHS_IN_TOML and text.lower().endswith(".toml")):
        return str(manifest.parent / text)
    return text


def _counted(cells: int) -> str:
    return "1 cell" if cells == 1 else f"{cells} cells"
