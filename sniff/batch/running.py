"""Runs tasks on workers that may die: few in flight, and nothing lost."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Future, wait
from itertools import islice
from typing import Protocol, TypeVar

from sniff.batch.error import BatchError

Item = TypeVar("Item")
Result = TypeVar("Result")

_IN_FLIGHT = 2  # tasks for each worker: while one is computed the next is there already
_POLL_S = 0.2  # how soon a stop is heeded


class Pool(Protocol):
    """Workers behind the futures of the standard library."""

    @property
    def workers(self) -> int:
        """How many tasks are computed at once.

        Raises
        ------
        BatchError
            When there are none, and none to be waited for.
        """
        ...

    @property
    def tries(self) -> int:
        """How often a task that is alone may be the end of a worker before it is given up."""
        ...

    def submit(self, work: Callable[[Item], Result], item: Item) -> "Future[Result]":
        """Have a worker do it.

        Raises
        ------
        BrokenExecutor
            When a worker has died; the futures of what was in flight have it for their exception.
        """
        ...

    def renew(self) -> None:
        """Replace all workers, after one has died.

        Raises
        ------
        BatchError
            When new ones do not start.
        """
        ...


def run(
    items: Iterable[Item],
    work: Callable[[Item], Result],
    pool: Pool,
    *,
    give_up: Callable[[Item, BaseException], Result],
    stopped: Callable[[], bool] = lambda: False,
) -> Iterator[Result]:
    """Results as they come, in no order.

    When a worker dies, nobody knows which task was its end: all that were in flight are asked
    again one by one, and only one that is alone with a dying worker is to blame.

    Parameters
    ----------
    items : iterable
        Taken from no faster than they are computed.
    work : callable
        What a worker does with one; both must be picklable.
    pool : Pool
    give_up : callable
        The result of an item that was the end of too many workers, or could not be sent to one or
        back; it is given the error.
    stopped : callable, optional
        Asked several times a second; once it is true nothing more is begun, and what is not done
        by then is left.

    Raises
    ------
    BatchError
        When there are no workers any more.
    """
    waiting = iter(items)
    suspects: deque[Item] = deque()
    deaths = 0
    flying: dict[Future[Result], Item] = {}
    while not stopped():
        workers = pool.workers
        if not suspects:
            room = max(0, _IN_FLIGHT * workers - len(flying))  # a cluster may shrink
            flying.update((_submitted(pool, work, item), item) for item in islice(waiting, room))
        elif not flying:
            flying[_submitted(pool, work, suspects[0])] = suspects[0]
        if not flying:
            return
        done, _ = wait(flying, timeout=_POLL_S, return_when=FIRST_COMPLETED)
        while any(map(_is_dead, done)) and len(done) < len(flying) and not stopped():
            done, _ = wait(flying, timeout=_POLL_S)  # with a broken pool all come to their end
        dead = [flying[future] for future in done if _is_dead(future)]
        for future in done:
            item = flying.pop(future)
            if not _is_dead(future):
                yield _result_of(future, item, give_up)
                if suspects:
                    suspects.popleft()
                    deaths = 0
        if not dead or stopped():
            continue
        if not suspects:
            suspects.extend(dead)
        elif deaths + 1 < pool.tries:
            deaths += 1
        else:
            yield give_up(suspects.popleft(), BrokenExecutor())
            deaths = 0
        pool.renew()
    for future, item in flying.items():
        if future.done() and not _is_dead(future):
            yield _result_of(future, item, give_up)


def _submitted(pool: Pool, work: Callable[[Item], Result], item: Item) -> "Future[Result]":
    """The future of an item; one that has failed already when the pool has."""
    try:
        return pool.submit(work, item)
    except BrokenExecutor as error:
        failed: Future[Result] = Future()
        failed.set_exception(error)
        return failed


def _is_dead(future: "Future[Result]") -> bool:
    return not future.cancelled() and isinstance(future.exception(), BrokenExecutor)


def _result_of(
    future: "Future[Result]", item: Item, give_up: Callable[[Item, BaseException], Result]
) -> Result:
    try:
        return future.result()
    except CancelledError:
        raise BatchError(
            "the workers went away, and what they were at is lost; what was done before is kept, "
            "and --resume goes on"
        ) from None
    except Exception as error:
        return give_up(item, error)
