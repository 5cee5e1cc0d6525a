"""A pool of processes on this machine that heeds no Ctrl-C and outlives nobody."""

import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from importlib import import_module
from multiprocessing import get_context, parent_process
from multiprocessing.connection import Connection, wait
from typing import TypeVar

from sniff.batch.error import BatchError

Item = TypeVar("Item")
Result = TypeVar("Result")


MOST_DEATHS = 3
"""Workers that one task, asked alone, may bring down before it is given up."""


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class ProcessPool:
    """Workers of `concurrent.futures`, each a new process.

    Each is a fresh interpreter: a fork would copy locks that threads of this process may hold.

    Parameters
    ----------
    workers : int
    warm : iterable of str
        Modules that each imports before its first task.
    """

    def __init__(self, workers: int, *, warm: Iterable[str] = ()) -> None:
        self._workers = workers
        self._warm = tuple(warm)
        self._start()

    @property
    def workers(self) -> int:
        """How many there are."""
        return self._workers

    @property
    def tries(self) -> int:
        """How often a task that is alone may be the end of a worker before it is given up."""
        return MOST_DEATHS

    def submit(self, work: Callable[[Item], Result], item: Item) -> "Future[Result]":
        """Have a worker do it."""
        with _unheard_interrupts():  # a worker begins here, and inherits that
            return self._executor.submit(work, item)

    def renew(self) -> None:
        """Replace all workers, after one has died.

        Raises
        ------
        BatchError
            When a new one cannot do even nothing.
        """
        self.close(at_once=True)
        self._start()
        try:
            self.submit(_nothing, None).result()
        except BrokenExecutor:
            raise BatchError(
                "the workers die as soon as they start; is there memory for them? Try --workers 1"
            ) from None

    def close(self, *, at_once: bool = False) -> None:
        """End all workers, `at_once` also in the middle of a task."""
        if at_once:
            self._alive.close()
        self._executor.shutdown(cancel_futures=True)
        for end in (self._alive, self._shared):
            end.close()

    def _start(self) -> None:
        context = get_context("spawn")
        self._shared, self._alive = context.Pipe(duplex=False)
        self._executor = ProcessPoolExecutor(
            self._workers,
            mp_context=context,
            initializer=_begin,
            initargs=(self._shared, self._warm),
        )


@contextmanager
def _unheard_interrupts() -> Iterator[None]:
    """Ctrl-C reaches all processes of a terminal; the workers' end is the parent's to tell."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin(shared: Connection, warm: tuple[str, ...]) -> None:
    """What a worker does first."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, args=(shared,), daemon=True).start()
    for name in warm:
        with suppress(Exception):  # the task that needs it will say so, in its row
            import_module(name)


def _end_with_parent(shared: Connection) -> None:
    """Nothing is ever sent: the pipe ends when the parent closes it, or is no more."""
    parent = parent_process()
    assert parent is not None
    wait([shared, parent.sentinel])
    os._exit(0)


def _nothing(item: None) -> None:
    return item
