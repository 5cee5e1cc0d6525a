"""Names of many files, short: what all share is told once."""

from collections.abc import Sequence
from pathlib import PurePath


def common_folder(files: Sequence[str]) -> str:
    """The innermost folder in which all lie, with its last slash; empty when there is none."""
    parents = [PurePath(file).parent.parts for file in files]
    shared = []
    for parts in zip(*parents, strict=False):
        if len(set(parts)) > 1:
            break
        shared.append(parts[0])
    folder = str(PurePath(*shared)) if shared else ""
    return folder if folder.endswith("/") or not folder else f"{folder}/"


def within(folder: str, file: str) -> str:
    """A file's name as seen from a folder in which it lies."""
    return str(PurePath(file).relative_to(folder)) if folder else file


def shown_name(file: str) -> str:
    """A name for a terminal, in one line: what cannot be printed is shown as its escape."""
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in file
    )
