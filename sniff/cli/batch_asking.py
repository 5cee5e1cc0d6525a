"""What a worker does: ask one recording, by the very command that a user would run on it."""

import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from hashlib import sha256
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock
from time import perf_counter
from typing import Any, Final

from sniff import __version__
from sniff.batch.nouns import Answer, Task
from sniff.cli import outcome_of
from sniff.cli.batch_checking import Words, all_words
from sniff.cli.batch_questions import QUESTIONS, own_words, recording_word
from sniff.cli.kept_folder import lent
from sniff.errors import BenchError, UsageError
from sniff.job.hashing import sha256_of
from sniff.sources.opening import files_of

_FAILED: Final = 4
_CHANGED: Final = "it, or what it is held against, changed while it was read; --resume asks again"
# Folder and output belong to the whole process, and a cluster's worker may have several threads.
_ALONE: Final = Lock()


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is the same for all tasks of a batch; it is sent with each.

    Attributes
    ----------
    question : str
        Name of the command.
    options : mapping
        Words of the common options.
    folder : str
        To which paths are relative.
    begun_utc : datetime
        When the batch was begun: until then clocks have aged.
    software : str
        Version of the program.
    kept : mapping of str to str
        What is kept of the user's dongles: text by path in their folder.
    """

    question: str
    options: Words
    folder: str
    begun_utc: datetime
    software: str
    kept: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """The work of asking: called with a task it gives the answer, whatever goes wrong."""

    order: Order

    def __call__(self, task: Task) -> Answer:
        """Ask one recording."""
        order = self.order
        with _ALONE:
            try:
                with _as_ordered(order):
                    contents = _contents(order, task)
                    key = _key(order, task, contents)
                    begin = perf_counter()
                    code, told, error = _asked(order, task)
                    seconds = perf_counter() - begin
                    if told is not None and _contents(order, task) != contents:
                        code, told, error = _FAILED, None, _CHANGED  # it is under another's key
            except OSError as trouble:
                where = trouble.filename or order.folder
                why = f"the worker cannot work: {where}: {trouble.strerror or trouble}"
                return failed(order, task, why)
        return Answer(
            number=task.number,
            source=task.source,
            key=key,
            options=task.options,
            exit_code=code,
            told=told,
            error=error,
            seconds=seconds,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Keying:
    """The work of finding out under which key the answer to a task is kept, if it is."""

    order: Order

    def __call__(self, task: Task) -> tuple[Task, str]:
        """The task and its key."""
        with _ALONE, _as_ordered(self.order):
            return task, _key(self.order, task, _contents(self.order, task))


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfitness:
    """Why a worker elsewhere cannot do the work; None when it can."""

    folder: str
    software: str

    def __call__(self) -> str | None:
        """Look at this worker."""
        if self.software != __version__:
            return f"has sniff {__version__}, and this is {self.software}"
        if not Path(self.folder).is_dir():
            return (
                f"does not see {self.folder}: recordings must lie in a folder that all "
                "workers share, under the same path"
            )
        return None


def failed(order: Order, task: Task, why: str) -> Answer:
    """The answer to a task that could not be asked at all."""
    return Answer(
        number=task.number,
        source=task.source,
        key=_key(order, task, {}),
        options=task.options,
        exit_code=_FAILED,
        told=None,
        error=why,
        seconds=0.0,
    )


@contextmanager
def _as_ordered(order: Order) -> Iterator[None]:
    """In the folder of whoever gave the order, and with what he knows of his dongles."""
    before = Path.cwd()
    os.chdir(order.folder)
    try:
        with TemporaryDirectory(prefix="sniff-") as kept, lent(Path(kept)):
            for place, text in order.kept.items():
                file = Path(kept) / place
                file.parent.mkdir(exist_ok=True)
                file.write_text(text, encoding="utf-8")
            yield
    finally:
        os.chdir(before)


def _asked(order: Order, task: Task) -> tuple[int, Mapping[str, Any] | None, str | None]:
    """Exit code, JSON object, and the line that says why there is none."""
    out = StringIO()
    with redirect_stdout(out), redirect_stderr(StringIO()):
        try:
            code, line = outcome_of(lambda: _invoked(order, task))
        except Exception as error:  # a fault of ours in one file must not end the batch
            return _FAILED, None, f"sniff itself failed: {type(error).__name__}: {error}"
    if line is not None:
        return code, None, line.removeprefix(f"{task.source}: ")  # the row names it already
    told = json.loads(out.getvalue())
    assert isinstance(told, dict)
    return code, told, None


def _invoked(order: Order, task: Task) -> object:
    if order.software != __version__:
        raise UsageError(
            f"this worker has sniff {__version__}, and the batch is asked by {order.software}"
        )
    if task.source.partition(":")[0] == "dongle":
        raise UsageError(f"{task.source}: a batch asks recordings; sniff record makes one")
    question = QUESTIONS[order.question]
    words = all_words(order.options, own_words(question, task.options))
    asked = [*words, recording_word(question, task.source), "--json", "--quiet", "--no-job"]
    command = question.command()
    with command.make_context(f"sniff batch {question.name}", asked) as context:
        context.params.update(threads=1, clock_utc=order.begun_utc)
        return command.invoke(context)


def _key(order: Order, task: Task, contents: Mapping[str, list[str]]) -> str:
    """Hash of all that an answer depends on."""
    depends = {
        "software": order.software,
        "question": order.question,
        "source": task.source,
        "common": order.options,
        "own": dict(task.options),
        "contents": contents,
        "kept": order.kept,
    }
    text = json.dumps(depends, sort_keys=True)
    return sha256(text.encode("ascii")).hexdigest()


def _contents(order: Order, task: Task) -> dict[str, list[str]]:
    """Hashes of the files that the recording and the options name."""
    common = (word.partition("=")[2] for words in order.options.values() for word in words)
    texts = {task.source, *common, *task.options.values()}
    texts |= {text.partition("=")[2] for text in texts}  # of compare's PLACE=SOURCE
    found = {text: _hashes(text) for text in texts}
    return {text: hashes for text, hashes in found.items() if hashes}


def _hashes(text: str) -> list[str]:
    path = text.removeprefix("bench:")
    try:
        if not os.path.isfile(path):  # noqa: PTH113  most texts are no paths, whatever they hold
            return []
        stats = [(file, file.stat()) for file in files_of(path)]
        return [_hash(str(file), stat.st_size, stat.st_mtime_ns) for file, stat in stats]
    except (BenchError, OSError):  # its answer will say what is wrong with it
        return []


@lru_cache(maxsize=64)
def _hash(path: str, size: int, modified_ns: int) -> str:
    """Of a file that all tasks name, such as a sibling, once."""
    return sha256_of(Path(path))
