"""The runner: all results once, few in flight, and dying workers (really killed) cost nothing."""

import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Timer
from typing import Any

import psutil
import pytest

from sniff.batch.error import BatchError
from sniff.batch.pool import MOST_DEATHS, ProcessPool
from sniff.batch.running import run
from tests.batch import work


@contextmanager
def pool_of(workers: int) -> Iterator[ProcessPool]:
    pool = ProcessPool(workers)
    try:
        yield pool
    finally:
        pool.close(at_once=True)


@pytest.fixture(scope="module")
def pool() -> Iterator[ProcessPool]:
    """For tests in which no worker dies."""
    with pool_of(2) as shared:
        yield shared


class Threads:
    """A pool without processes, where none can die."""

    workers = 2
    tries = 1

    def __init__(self) -> None:
        self.executor = ThreadPoolExecutor(2)

    def submit(self, work: Callable[[Any], Any], item: Any) -> "Future[Any]":
        return self.executor.submit(work, item)

    def renew(self) -> None:
        raise AssertionError("nothing was broken")


def given_up(item: int, error: BaseException) -> int:
    return -item


def test_all_results_come_once(pool: ProcessPool) -> None:
    results = list(run(range(20), work.square, pool, give_up=work.refuse))
    assert sorted(results) == [n * n for n in range(20)]


def test_no_tasks_are_no_results() -> None:
    assert list(run([], work.square, Threads(), give_up=work.refuse)) == []


def test_workers_work_at_the_same_time(pool: ProcessPool, tmp_path: Path) -> None:
    results = list(run(range(2), work.Meet(tmp_path), pool, give_up=work.refuse))
    assert len(set(results)) == 2


def test_items_are_taken_no_faster_than_they_are_computed() -> None:
    taken = 0

    def items() -> Iterator[int]:
        nonlocal taken
        for number in range(10_000):
            taken += 1
            yield number

    ahead = []
    for count, _ in enumerate(run(items(), work.square, Threads(), give_up=work.refuse), start=1):
        ahead.append(taken - count)
    assert max(ahead) <= 4
    assert taken == 10_000


def test_a_killed_worker_costs_nothing(tmp_path: Path) -> None:
    with pool_of(2) as pool:
        results = list(run(range(30), work.DieOnce(tmp_path, 7), pool, give_up=work.refuse))
    assert (tmp_path / "died").exists()
    assert sorted(results) == [n * n for n in range(30)]


def test_what_kills_every_worker_is_given_up_and_nothing_else(tmp_path: Path) -> None:
    with pool_of(2) as pool:
        results = list(run(range(12), work.DieAlways(tmp_path, 5), pool, give_up=given_up))
    assert sorted(results) == sorted([-5, *(n * n for n in range(12) if n != 5)])
    # Once among others, when nobody knew which it was, and then alone.
    assert len(list(tmp_path.iterdir())) == 1 + MOST_DEATHS


def test_two_that_kill_are_both_given_up_after_as_many_tries() -> None:
    class Mortal(Threads):
        tries = MOST_DEATHS
        deaths = 0

        def renew(self) -> None:
            self.deaths += 1

    def deadly(item: int) -> int:
        if item == 5:
            raise BrokenExecutor
        return work.square(item)

    pool = Mortal()
    results = list(run([1, 5, 2, 5, 3], deadly, pool, give_up=given_up))
    assert sorted(results) == [-5, -5, 1, 4, 9]
    assert pool.deaths == 1 + 2 * MOST_DEATHS  # both once among others, then each alone


def test_what_cannot_be_sent_back_is_given_up(pool: ProcessPool) -> None:
    results = list(run(range(6), work.refuse_to_be_sent, pool, give_up=given_up))
    assert sorted(results) == [-3, 0, 1, 2, 4, 5]


def test_a_stop_keeps_what_is_done_and_begins_nothing_more(pool: ProcessPool) -> None:
    taken: list[int] = []

    def items() -> Iterator[int]:
        for number in range(1000):
            taken.append(number)
            yield number

    results: set[int] = set()
    for result in run(
        items(), work.square, pool, give_up=work.refuse, stopped=lambda: len(results) >= 3
    ):
        results.add(result)
    assert 3 <= len(results) <= len(taken) <= 12
    assert results <= {n * n for n in taken}


def test_workers_heed_no_ctrl_c(pool: ProcessPool) -> None:
    results = list(run(range(3), work.heed_no_interrupt, pool, give_up=work.refuse))
    assert sorted(results) == [0, 1, 4]


def test_workers_that_never_start_end_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sniff.batch.pool._nothing", work.die)
    with pool_of(1) as pool, pytest.raises(BatchError, match="die as soon as they start"):
        list(run(range(5), work.die, pool, give_up=work.refuse))


def test_a_pool_that_went_away_ends_the_run_in_words() -> None:
    class Gone(Threads):
        def submit(self, work: Callable[[Any], Any], item: Any) -> "Future[Any]":
            future: Future[Any] = Future()
            future.cancel()
            future.set_running_or_notify_cancel()
            return future

    with pytest.raises(BatchError, match="--resume goes on"):
        list(run(range(5), work.square, Gone(), give_up=work.refuse))


def test_a_pool_that_is_broken_when_it_is_given_a_task_is_renewed() -> None:
    class Brittle(Threads):
        renewed = 0

        def submit(self, work: Callable[[Any], Any], item: Any) -> "Future[Any]":
            if item == 2 and not self.renewed:
                raise BrokenExecutor
            return super().submit(work, item)

        def renew(self) -> None:
            self.renewed += 1

    pool = Brittle()
    results = list(run(range(5), work.square, pool, give_up=work.refuse))
    assert sorted(results) == [0, 1, 4, 9, 16]
    assert pool.renewed == 1


def test_a_pool_is_renewed_when_all_its_tasks_have_come_to_their_end() -> None:
    class Slow(Threads):
        def __init__(self) -> None:
            super().__init__()
            self.given: list[Future[Any]] = []
            self.renewed = 0

        def submit(self, work: Callable[[Any], Any], item: Any) -> "Future[Any]":
            if self.renewed:
                return super().submit(work, item)
            future: Future[Any] = Future()
            self.given.append(future)
            if item == 0:
                future.set_exception(BrokenExecutor())
            else:
                Timer(0.05, future.set_exception, (BrokenExecutor(),)).start()
            return future

        def renew(self) -> None:
            self.renewed += 1
            assert all(future.done() for future in self.given)

    results = list(run(range(6), work.square, Slow(), give_up=work.refuse))
    assert sorted(results) == [0, 1, 4, 9, 16, 25]


def test_a_stop_does_not_wait_for_what_flies_beside_a_dead_worker() -> None:
    class Endless(Threads):
        def submit(self, work: Callable[[Any], Any], item: Any) -> "Future[Any]":
            future: Future[Any] = Future()
            if item == 0:
                future.set_exception(BrokenExecutor())
            return future

    asked = iter([False, False, True, True, True])
    results = run(range(6), work.square, Endless(), give_up=work.refuse, stopped=asked.__next__)
    assert list(results) == []


def test_workers_end_with_a_killed_parent(tmp_path: Path) -> None:
    code = (
        "from sniff.batch.pool import ProcessPool\n"
        "from tests.batch import work\n"
        "if __name__ == '__main__':\n"
        "    pool = ProcessPool(1)\n"
        "    print(pool.submit(work.who, 0).result()[1], flush=True)\n"
        "    work.die(None)\n"
    )
    told = tmp_path / "worker"
    with told.open("w") as out:  # not a pipe, whose end a worker that lives on would hold
        done = subprocess.run([sys.executable, "-c", code], stdout=out)
    assert done.returncode == -signal.SIGKILL
    with suppress(psutil.NoSuchProcess):
        psutil.Process(int(told.read_text())).wait(timeout=10)
