"""What stands in a notebook: readings, notes, and the files they use."""

import json
from dataclasses import dataclass, replace
from datetime import datetime
from enum import Enum
from functools import cached_property
from pathlib import Path
from typing import Any

from sniff.job.error import JobError


class Stage(str, Enum):
    """At which point of the repair something was done."""

    ARRIVAL = "arrival"
    BEFORE = "before"
    AFTER = "after"
    SOAK = "soak"


class FileKind(str, Enum):
    """What a file of a job is."""

    RECORDING = "recording"
    PICTURE = "picture"
    PHOTO = "photo"


class NoteKind(str, Enum):
    """A note, what was repaired, or a photo with its caption."""

    NOTE = "note"
    REPAIR = "repair"
    PHOTO = "photo"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFile:
    """A file with the hash that it had.

    Attributes
    ----------
    kind : FileKind
    path : str
        Relative to the job's folder, with slashes; absolute when it lies elsewhere.
    sha256 : str
    bytes : int
    modified_ns : int or None
        When it was changed last, by its folder; with `bytes` it tells that it is the same still.
    """

    kind: FileKind
    path: str
    sha256: str
    bytes: int
    modified_ns: int | None = None

    @property
    def name(self) -> str:
        """Its last part."""
        return self.path.replace("\\", "/").rpartition("/")[2]

    @property
    def outside(self) -> bool:
        """Whether it lies outside the job's folder."""
        return Path(self.path).is_absolute()


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One result, as it was filed.

    Attributes
    ----------
    number : int
        Its place in the notebook, from 1; 0 before it is there.
    filed_utc : datetime
    command : str
        ``probe``, ``watch`` ...
    stage : Stage or None
    place : str or None
        Where on the board.
    exit_code : int
    command_line : str
        As it was typed.
    folder : str
        Where it was typed.
    software : str
        Version of this program.
    sheet : str
        The job's sheet as it was then.
    told : str
        The JSON object of the command.
    files : tuple of KeptFile
        Recordings it was made from, pictures it made.
    """

    number: int = 0
    filed_utc: datetime
    command: str
    stage: Stage | None
    place: str | None
    exit_code: int
    command_line: str
    folder: str
    software: str
    sheet: str
    told: str
    files: tuple[KeptFile, ...] = ()

    @cached_property
    def data(self) -> dict[str, Any]:
        """What the command told, as dicts and lists.

        Raises
        ------
        JobError
            When it is no JSON object any more.
        """
        try:
            data = json.loads(self.told)
        except ValueError:
            data = None
        if not isinstance(data, dict):
            raise JobError(
                f"reading {self.number} of the notebook is damaged: it is no JSON object"
            )
        return data

    @property
    def result(self) -> dict[str, Any]:
        """The command's result, empty when there is none."""
        result = self.data.get("result")
        return result if isinstance(result, dict) else {}

    @property
    def verdict(self) -> str | None:
        """The verdict in one word, None when the command gives none."""
        verdict = self.result.get("verdict")
        return verdict if isinstance(verdict, str) else None

    def renewed(self, **changed: Any) -> "Reading":
        """The same reading with some fields changed."""
        return replace(self, **changed)

    def kept(self, kind: FileKind) -> tuple[KeptFile, ...]:
        """Its files of one kind."""
        return tuple(file for file in self.files if file.kind is kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What a person wrote, or photographed."""

    number: int = 0
    at_utc: datetime
    kind: NoteKind
    stage: Stage | None
    text: str
    photo: KeptFile | None = None
