"""A batch's folder: every answer as it came, from which a run goes on and the rows are made."""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timezone
from pathlib import Path
from typing import Any, Final, overload

from sniff.batch.error import BatchError
from sniff.batch.nouns import Answer, Task
from sniff.wholefile import TemporaryBeside, unwritable

FORMAT: Final = 1
ABOUT: Final = "batch.json"
ANSWERS: Final = "answers"

_KEY = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Where the answer to a task is kept."""

    task: Task
    key: str
    seconds: float


class Journal:
    """The folder of a batch.

    An answer is kept under its key, so that nothing that changed (the recording, an option, the
    program) can be taken for done. What could not be answered is kept too, for the rows, and asked
    again by the next run.

    Parameters
    ----------
    folder : Path
        From `begun` or `gone_on`.
    begun_utc : datetime
        When the batch was begun.
    changed : sequence of str, optional
        Options that were others when it was last gone on with, or begun.
    """

    def __init__(self, folder: Path, begun_utc: datetime, changed: Sequence[str] = ()) -> None:
        self.folder = folder
        self.begun_utc = begun_utc
        self.changed = tuple(changed)
        self._places: dict[int, _Place] = {}

    def keep(self, answer: Answer) -> None:
        """Write an answer, whole or not at all.

        Raises
        ------
        SourceError
            When it cannot be written.
        """
        told = {
            "format": FORMAT,
            "key": answer.key,
            "source": answer.source,
            "options": dict(answer.options),
            "exit_code": answer.exit_code,
            "error": answer.error,
            "told": answer.told,
        }
        target = self._file(answer.key)
        with TemporaryBeside(target) as whole:
            text = json.dumps(told, ensure_ascii=False, allow_nan=False)
            whole.file.write(text.encode("utf-8", "surrogatepass") + b"\n")
            whole.move_to(target)
        task = Task(number=answer.number, source=answer.source, options=answer.options)
        self._places[answer.number] = _Place(task=task, key=answer.key, seconds=answer.seconds)

    def take_over(self, task: Task, key: str) -> bool:
        """Whether this was answered before; if so, it counts as kept now.

        A damaged file, or one of another format, is no answer.
        """
        if _read(self._file(key), key).get("told") is None:
            return False
        self._places[task.number] = _Place(task=task, key=key, seconds=0.0)
        return True

    def answers(self) -> "KeptAnswers":
        """All that were kept by this run or taken over by it, by their numbers."""
        places = sorted(self._places.values(), key=lambda place: place.task.number)
        return KeptAnswers(self, places)

    def read(self, place: "_Place") -> Answer:
        """Read an answer.

        Raises
        ------
        BatchError
            When it is gone, or damaged.
        """
        found = _read(self._file(place.key), place.key)
        if not found:
            raise BatchError(
                f"{self._file(place.key)}: was there and is not, or is damaged; --resume asks anew"
            )
        return Answer(
            number=place.task.number,
            source=place.task.source,
            key=place.key,
            options=place.task.options,
            exit_code=found["exit_code"],
            told=found["told"],
            error=found["error"],
            seconds=place.seconds,
        )

    def _file(self, key: str) -> Path:
        assert _KEY.fullmatch(key)  # it becomes a path
        return self.folder / ANSWERS / f"{key}.json"


class KeptAnswers(Sequence[Answer]):
    """Answers that are read when they are asked for: thousands would fill the memory."""

    def __init__(self, journal: Journal, places: Sequence[_Place]) -> None:
        self._journal = journal
        self._places = places

    def __len__(self) -> int:
        return len(self._places)

    @overload
    def __getitem__(self, at: int) -> Answer: ...
    @overload
    def __getitem__(self, at: slice) -> "KeptAnswers": ...
    def __getitem__(self, at: int | slice) -> "Answer | KeptAnswers":
        if isinstance(at, slice):
            return KeptAnswers(self._journal, self._places[at])
        return self._journal.read(self._places[at])

    def __iter__(self) -> Iterator[Answer]:
        return map(self._journal.read, self._places)


def begun(folder: Path, about: Mapping[str, Any], *, resume: bool) -> Journal:
    """Make the folder of a batch, or go on with the one that is there.

    Parameters
    ----------
    folder : Path
    about : mapping
        What is asked, for whoever finds the folder.
    resume : bool
        Whether one may be there already.

    Raises
    ------
    BatchError
        When it is there and may not be, or is no batch's.
    SourceError
        When it cannot be written.
    """
    begun_utc, changed = datetime.now(timezone.utc), []
    try:
        taken = folder.exists() and (not folder.is_dir() or any(folder.iterdir()))
        if taken:
            begun_utc, before = _begun_before(folder, about.get("question"))
            now = {name: list(words) for name, words in about.get("options", {}).items()}
            names = sorted(before.keys() | now.keys())
            changed = [name for name in names if before.get(name) != now.get(name)]
        if taken and not resume:
            raise BatchError(
                f"{folder}: a batch is there already; --resume goes on with it, --out takes "
                "another folder"
            )
        (folder / ANSWERS).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise unwritable(folder, error) from None
    told = {"format": FORMAT, "begun_utc": begun_utc.isoformat(), **about}
    with TemporaryBeside(folder / ABOUT) as whole:
        text = json.dumps(told, indent=1, ensure_ascii=False)
        whole.file.write(text.encode("utf-8", "surrogatepass") + b"\n")
        whole.move_to(folder / ABOUT)
    return Journal(folder, begun_utc, changed)


def _begun_before(folder: Path, question: object) -> tuple[datetime, dict[str, Any]]:
    """When, and with which options."""
    told: Any = None
    with suppress(OSError, ValueError, KeyError, TypeError):
        told = json.loads((folder / ABOUT).read_bytes())
        when = datetime.fromisoformat(told["begun_utc"])
        if (
            told["format"] == FORMAT
            and when.tzinfo is not None
            and told.get("question") == question
        ):
            return when, dict(told.get("options", {}))
    other = told.get("question") if isinstance(told, dict) else None
    if other not in (None, question):
        raise BatchError(
            f"{folder}: holds a batch that asked '{other}'; --out takes another folder"
        )
    raise BatchError(
        f"{folder}: is there and holds no batch ({ABOUT} is missing, damaged or of another "
        "version); --out takes another folder"
    )


def _read(file: Path, key: str) -> dict[str, Any]:
    """What a file holds of an answer; nothing when it is not there, or damaged."""
    try:
        found = json.loads(file.read_bytes())
    except (OSError, ValueError):
        return {}
    whole = isinstance(found, dict) and found.get("format") == FORMAT and found.get("key") == key
    return found if whole and {"exit_code", "error", "told"} <= found.keys() else {}
