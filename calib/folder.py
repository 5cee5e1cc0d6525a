"""A folder of histories: one JSON file for each dongle; the only files of calib."""

import json
import os
import re
import tempfile
from collections.abc import Callable
from datetime import datetime, timezone
from pathlib import Path
from typing import Any, Generic, TypeVar

from calib.errors import BenchError

T = TypeVar("T")

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,63}")


class StoreError(BenchError):
    """A history that cannot be read, written or found."""


class DamagedError(StoreError):
    """A file that is not, or no longer, what it was written as."""


class Histories(Generic[T]):
    """Histories of one kind, each by the name of its dongle.

    Parameters
    ----------
    folder : Path
        Made when something is saved.
    what : str
        What one of them is called in an error: ``clock``.
    render : callable
        A history as text.
    parse : callable
        A history from its text, and the file's name for its errors.
    """

    def __init__(
        self,
        folder: Path,
        *,
        what: str,
        render: Callable[[tuple[T, ...]], str],
        parse: Callable[..., tuple[T, ...]],
    ) -> None:
        self._folder = folder
        self._what = what
        self._render = render
        self._parse = parse

    def names(self) -> tuple[str, ...]:
        """Those there are, in order."""
        if not self._folder.is_dir():
            return ()
        return tuple(sorted(path.stem for path in self._folder.glob("*.json")))

    def history(self, name: str) -> tuple[T, ...]:
        """All entries of this name, the oldest first; none when there is no such file.

        Raises
        ------
        StoreError
            When its file is damaged, or of a newer version of this program; the file is left.
        """
        path = self._path(name)
        try:
            text = path.read_text(encoding="utf-8")
        except FileNotFoundError:
            return ()
        except (OSError, UnicodeDecodeError) as error:
            raise StoreError(f"{path}: cannot be read: {error}") from None
        return self._parse(text, name=str(path))

    def add(self, name: str, entry: T) -> Path:
        """Add to a history; a damaged file is set aside first, not lost.

        Raises
        ------
        StoreError
            When it cannot be written, or a newer version of this program wrote the file.
        """
        path = self._path(name)
        try:
            history = self.history(name)
        except DamagedError:
            set_aside = path.with_suffix(f".damaged-{datetime.now(timezone.utc):%Y%m%dT%H%M%S}")
            path.replace(set_aside)
            history = ()
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            number, part = tempfile.mkstemp(dir=self._folder, suffix=".part")
            with os.fdopen(number, "w", encoding="utf-8") as file:
                file.write(self._render((*history, entry)))
                file.flush()
                os.fsync(file.fileno())
            Path(part).replace(path)
        except OSError as error:
            raise StoreError(f"{path}: cannot be written: {error.strerror or error}") from None
        return path

    def forget(self, name: str) -> None:
        """Remove a history.

        Raises
        ------
        StoreError
            When there is none of this name.
        """
        try:
            self._path(name).unlink()
        except FileNotFoundError:
            there = ", ".join(self.names()) or "none"
            raise StoreError(f"no {self._what} is called {name!r}; there are: {there}") from None

    def _path(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise StoreError(
                f"{name!r} cannot name a {self._what}: letters, digits, space, . _ and - do"
            )
        return self._folder / f"{name}.json"


def render_entries(entries: list[dict[str, Any]], *, key: str, version: int) -> str:
    """Entries as the text of a file of this format version."""
    return json.dumps({"format": version, key: entries}, indent=1, allow_nan=False) + "\n"


def parse_entries(
    text: str, read: Callable[[Any], T], *, key: str, version: int, name: str
) -> tuple[T, ...]:
    """Entries from the text of a file.

    Raises
    ------
    StoreError
        When it is damaged, or of a newer format.
    """
    try:
        data = json.loads(text)
        newer = isinstance(data["format"], int) and data["format"] > version
        if not newer:
            return tuple(read(entry) for entry in data[key])
    except (ValueError, KeyError, TypeError) as error:
        raise DamagedError(
            f"{name}: is damaged ({type(error).__name__}); calibrate anew, which sets it aside"
        ) from None
    raise StoreError(f"{name}: was written by a newer version of sniff; update this one")
