"""Profiles on disk: one JSON file each, with the history of its clock; the only files of calib."""

import json
import os
import re
import tempfile
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

from calib.errors import BenchError
from calib.profile import FORMAT, Profile

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,63}")


class StoreError(BenchError):
    """A profile that cannot be read, written or found."""


class Store:
    """A folder of profiles.

    Parameters
    ----------
    folder : Path
        Made when something is saved.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def names(self) -> tuple[str, ...]:
        """Those there are, in order."""
        if not self._folder.is_dir():
            return ()
        return tuple(sorted(path.stem for path in self._folder.glob("*.json")))

    def find(self, name: str) -> Profile | None:
        """The newest profile of this name, None when there is none.

        Raises
        ------
        StoreError
            When its file is damaged, or of a newer version of this program; the file is left.
        """
        history = self.history(name)
        return history[-1] if history else None

    def history(self, name: str) -> tuple[Profile, ...]:
        """All profiles of this name, the oldest first."""
        path = self._path(name)
        try:
            text = path.read_text(encoding="utf-8")
        except FileNotFoundError:
            return ()
        except (OSError, UnicodeDecodeError) as error:
            raise StoreError(f"{path}: cannot be read: {error}") from None
        return parse(text, name=str(path))

    def save(self, profile: Profile) -> Path:
        """Add a profile to its clock's history; a damaged file is set aside first, not lost.

        Raises
        ------
        StoreError
            When it cannot be written, or a newer version of this program wrote the file.
        """
        path = self._path(profile.name)
        try:
            history = self.history(profile.name)
        except DamagedError:
            set_aside = path.with_suffix(f".damaged-{datetime.now(timezone.utc):%Y%m%dT%H%M%S}")
            path.replace(set_aside)
            history = ()
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            number, part = tempfile.mkstemp(dir=self._folder, suffix=".part")
            with os.fdopen(number, "w", encoding="utf-8") as file:
                file.write(render((*history, profile)))
                file.flush()
                os.fsync(file.fileno())
            Path(part).replace(path)
        except OSError as error:
            raise StoreError(f"{path}: cannot be written: {error.strerror or error}") from None
        return path

    def forget(self, name: str) -> None:
        """Remove a clock with all its history.

        Raises
        ------
        StoreError
            When there is none of this name.
        """
        try:
            self._path(name).unlink()
        except FileNotFoundError:
            there = ", ".join(self.names()) or "none"
            raise StoreError(f"no clock is called {name!r}; there are: {there}") from None

    def _path(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise StoreError(f"{name!r} cannot name a clock: letters, digits, space, . _ and - do")
        return self._folder / f"{name}.json"


class DamagedError(StoreError):
    """A file that is not, or no longer, what it was written as."""


def render(history: tuple[Profile, ...]) -> str:
    """A history as text."""
    entries = [
        {
            "name": profile.name,
            "ppm": profile.ppm,
            "u_ppm": profile.u_ppm,
            "made": profile.made.astimezone(timezone.utc).isoformat(),
            "references": list(profile.references),
            "temperature_c": profile.temperature_c,
        }
        for profile in history
    ]
    return json.dumps({"format": FORMAT, "profiles": entries}, indent=1, allow_nan=False) + "\n"


def parse(text: str, *, name: str) -> tuple[Profile, ...]:
    """A history from its text.

    Raises
    ------
    StoreError
        When it is damaged, or of a newer format.
    """
    try:
        data = json.loads(text)
        newer = isinstance(data["format"], int) and data["format"] > FORMAT
        if not newer:
            return tuple(_profile(entry) for entry in data["profiles"])
    except (ValueError, KeyError, TypeError) as error:
        raise DamagedError(
            f"{name}: is damaged ({type(error).__name__}); calibrate anew, which sets it aside"
        ) from None
    raise StoreError(f"{name}: was written by a newer version of sniff; update this one")


def _profile(entry: Any) -> Profile:
    made = datetime.fromisoformat(entry["made"])
    if made.tzinfo is None:
        raise ValueError("no time zone")
    temperature = entry["temperature_c"]
    profile = Profile(
        name=str(entry["name"]),
        ppm=float(entry["ppm"]),
        u_ppm=float(entry["u_ppm"]),
        made=made,
        references=tuple(str(each) for each in entry["references"]),
        temperature_c=None if temperature is None else float(temperature),
    )
    profile.correction(made)  # refuses what is no number
    return profile
