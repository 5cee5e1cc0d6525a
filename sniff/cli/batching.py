"""The work of ``sniff batch``: ask all recordings, and keep each answer as it comes."""

import signal
import threading
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from time import perf_counter
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

from sniff import __version__
from sniff.batch.error import BatchError
from sniff.batch.journal import Journal, begun
from sniff.batch.manifest import read_manifest
from sniff.batch.nouns import Answer, Task
from sniff.batch.pool import ProcessPool, cores
from sniff.batch.running import Pool, run
from sniff.cli import INTERRUPTED
from sniff.cli.batch_asking import Asking, Keying, Order, Unfitness, failed
from sniff.cli.batch_checking import Words, check_tasks
from sniff.cli.batch_finding import Found, found_by, without
from sniff.cli.batch_questions import Question
from sniff.cli.clocks import clock_store
from sniff.cli.kept_folder import kept_folder
from sniff.cli.levels import levels_kept
from sniff.errors import SourceError, UsageError
from sniff.model import Caution
from sniff.report.batch_table import check_target
from sniff.report.progress import shown_progress
from sniff.report.text import say_cautions
from sniff.units import format_seconds

if TYPE_CHECKING:
    from sniff.batch.cluster import ClusterPool


def run_batch(question: Question, common: Words, given: Mapping[str, Any]) -> int:
    """Ask all recordings as the options say; returns the exit code."""
    found = _found(given)
    if given["manifest"] is None and "good" in common:
        found = without(found, (word.partition("=")[2] for word in common["good"]))
    tasks = found.tasks
    check_tasks(question, common, tasks, str(given["manifest"]))
    folder = given["out"] or Path(f"{question.name}-batch")
    rows = folder / f"rows.{given['table']}"
    _check_targets(rows, given)
    about = {"question": question.name, "options": common, "software": __version__}
    kept = kept_of_dongles()
    with _interruptible() as interruption:
        trouble: BatchError | None = None
        asked = False
        with _pool(question, len(tasks), given) as pool:
            journal = begun(folder, about, resume=given["resume"])
            if journal.changed and not _is_quiet(given):
                say_cautions([_other_options(journal)])
            order = Order(
                question=question.name,
                options=common,
                folder=str(Path.cwd()),
                begun_utc=journal.begun_utc,
                software=__version__,
                kept=kept,
            )
            batch = _Batch(journal, order, pool, interruption, quiet=_is_quiet(given))
            try:
                left = batch.not_done(tasks) if given["resume"] else tasks
                asked = not interruption.asked
                if asked:
                    batch.ask(left)
            except BatchError as error:
                trouble = error
        # Unless it was asked nobody knows what is done: rows of a part would replace those of all.
        code = _shown(journal, rows, question, given, found.cautions) if asked else INTERRUPTED
        if trouble is not None:
            raise trouble
    if interruption.asked:
        done = f"{len(journal.answers())} of {len(tasks)} are done and kept in {folder}"
        nothing = f"before anything was asked: {folder} is as it was"
        words = f": {done}" if asked else f" {nothing}"
        click.echo(f"sniff: interrupted{words}; the same with --resume goes on", err=True)
        return INTERRUPTED
    return code


def _other_options(journal: Journal) -> Caution:
    names = ", ".join(f"--{name}" for name in journal.changed)
    text = f"{journal.folder} was begun with another {names}: all is asked anew"
    return Caution(code="other-options", text=text)


def _check_targets(rows: Path, given: Mapping[str, Any]) -> None:
    """Say before any work is done that rows or picture could not be written."""
    check_target(rows)
    if given["plot"] is not None and not given["no_plot"]:
        from sniff.report.plots.save import check_target as check_picture

        picture: Path = given["plot"]
        # The folder of the batch will be there by then.
        check_picture(Path(picture.name) if picture.parent == rows.parent else picture)


def _shown(
    journal: Journal,
    rows: Path,
    question: Question,
    given: Mapping[str, Any],
    cautions: Sequence[Caution],
) -> int:
    answers = journal.answers()
    if not answers:
        return 0
    # What draws and counts is loaded when the workers are done: they need the time more.
    from sniff.cli.batch_showing import show_batch

    return show_batch(answers, rows, question.name, given, cautions=cautions)


def _found(given: Mapping[str, Any]) -> Found:
    if given["cluster"] is not None and given["workers"] is not None:
        raise UsageError("--cluster and --workers do not go together: a cluster has its own")
    if given["manifest"] is None:
        return found_by(given["files"])
    if given["files"]:
        raise UsageError("--manifest and files do not go together; write them into the manifest")
    return Found(tasks=read_manifest(given["manifest"]))


def kept_of_dongles() -> dict[str, str]:
    """All that is kept of the user's dongles, by path: a task may need any of it.

    Raises
    ------
    StoreError
        When some of it is damaged: to leave it out would change answers.
    """
    clocks, levels = clock_store(), levels_kept()
    places = []
    for name in clocks.names():
        clocks.history(name)
        places.append(f"clocks/{name}.json")
    for name in levels.names():
        levels.history(name)
        places.append(f"levels/{name}.json")
    return {place: (kept_folder() / place).read_text(encoding="utf-8") for place in places}


def _is_quiet(given: Mapping[str, Any]) -> bool:
    return bool(given["quiet"] or given["as_json"])


@contextmanager
def _pool(question: Question, tasks: int, given: Mapping[str, Any]) -> Iterator[Pool]:
    """Workers, which end when this ends: after the last answer they have nothing to do."""
    pool: ProcessPool | ClusterPool
    if given["cluster"] is None:
        pool = ProcessPool(min(given["workers"] or cores(), tasks), warm=question.works)
    else:
        pool = _cluster(given)
    try:
        yield pool
    finally:
        pool.close(at_once=True)


def _cluster(given: Mapping[str, Any]) -> "ClusterPool":
    from sniff.batch.cluster import ClusterPool

    pool = ClusterPool(
        given["cluster"], unfit=Unfitness(folder=str(Path.cwd()), software=__version__)
    )
    if pool.idle_threads and not given["quiet"]:
        text = (
            f"{pool.idle_threads} threads of the cluster get nothing to do: a worker asks one "
            "recording at a time; start as many workers as there are cores, with --nthreads 1"
        )
        say_cautions([Caution(code="idle-threads", text=text)])
    return pool


@dataclass(slots=True)
class _Interruption:
    """Whether the user wants it to end."""

    asked: bool = False


@contextmanager
def _interruptible() -> Iterator[_Interruption]:
    """Take the first Ctrl-C for a wish; the second ends the program."""
    interruption = _Interruption()
    if threading.current_thread() is not threading.main_thread():
        yield interruption
        return

    def wish(number: int, frame: FrameType | None) -> None:
        interruption.asked = True
        signal.signal(signal.SIGINT, before)

    before = signal.signal(signal.SIGINT, wish)
    try:
        yield interruption
    finally:
        signal.signal(signal.SIGINT, before)


@dataclass(frozen=True, slots=True)
class _Batch:
    """What a run of tasks needs."""

    journal: Journal
    order: Order
    pool: Pool
    interruption: _Interruption
    quiet: bool

    def not_done(self, tasks: Sequence[Task]) -> list[Task]:
        """Those whose answer is not kept; the others count as kept."""
        open_tasks = []
        with shown_progress("looking what is done", len(tasks), quiet=self.quiet) as step:
            for task, key in run(
                tasks,
                Keying(order=self.order),
                self.pool,
                give_up=lambda task, _: (task, ""),
                stopped=self._stopped,
            ):
                if not key or not self.journal.take_over(task, key):
                    open_tasks.append(task)
                step()
        return sorted(open_tasks, key=lambda task: task.number)

    def ask(self, tasks: Sequence[Task]) -> None:
        """Ask, and keep each answer."""
        begin, computing, done = perf_counter(), 0.0, 0
        with shown_progress(
            f"asking '{self.order.question}'", len(tasks), quiet=self.quiet
        ) as step:
            for answer in run(
                tasks,
                Asking(order=self.order),
                self.pool,
                give_up=partial(given_up, self.order),
                stopped=self._stopped,
            ):
                self._keep(answer)
                computing += answer.seconds
                done += 1
                step()
        if done and not self.quiet:
            took, all_of_it = format_seconds(perf_counter() - begin), format_seconds(computing)
            click.echo(f"Asked in {took}; the workers computed {all_of_it}.", err=True)
        if not tasks and not self.quiet:
            click.echo("Nothing to ask: each has its answer already.", err=True)

    def _keep(self, answer: Answer) -> None:
        try:
            self.journal.keep(answer)
        except SourceError as error:
            raise SourceError(
                f"{error}; answers before it are kept, and --resume goes on with them"
            ) from None

    def _stopped(self) -> bool:
        return self.interruption.asked


def given_up(order: Order, task: Task, error: BaseException) -> Answer:
    """The answer to a task that no worker could do."""
    why = f"could not be sent to a worker, or back: {' '.join(str(error).split())}"
    if isinstance(error, BrokenExecutor):
        why = "its worker died each time that it was asked, also alone: was there memory for it?"
    return failed(order, task, why)
