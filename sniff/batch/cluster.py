"""Workers of a Dask cluster, behind the same futures as processes of this machine."""

import logging
import re
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Future
from contextlib import suppress
from time import monotonic
from typing import Any, TypeVar

from sniff.batch.error import BatchError
from sniff.errors import UsageError

Item = TypeVar("Item")
Result = TypeVar("Result")

_ADDRESS = re.compile(r"((tcp|tls)://)?[^\s/@]+:[0-9]{1,5}")
_ANSWER_S = 10.0  # how long a scheduler, and its first worker, may take to answer
_COUNTED_S = 5.0  # how long a count of the workers holds
_DESERTED_S = 120.0  # how long a cluster may be without any worker; one may be starting anew


class ClusterPool:
    """Workers of a scheduler that runs somewhere; they may come and go.

    A task whose worker dies is given to another by the scheduler itself, up to a limit of its own.
    At that limit it blames also those that only waited at the same worker.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``tcp://10.0.0.5:8786``.
    unfit : callable
        Run by every worker first: why it cannot do the work, or None.

    Raises
    ------
    UsageError
        When the address is none, or `distributed` is not installed.
    BatchError
        When there is no scheduler, no worker, or one that cannot do the work.
    """

    def __init__(self, address: str, *, unfit: Callable[[], str | None]) -> None:
        distributed = _distributed()
        # Its own words about a lost connection are many lines; ours is one.
        for name in list(logging.root.manager.loggerDict):
            if name.partition(".")[0] in ("distributed", "tornado"):
                logging.getLogger(name).setLevel(logging.CRITICAL)
        self._address = address
        try:
            self._client = distributed.Client(
                address, timeout=_ANSWER_S, set_as_default=False, security=_security(address)
            )
        except OSError as error:
            raise BatchError(
                f"--cluster {address}: no scheduler answers there ({_line(error)}); 'dask "
                "scheduler' starts one and tells its address"
            ) from None
        try:
            self._begin(unfit)
        except BaseException:
            self.close()
            raise
        self._executor = self._client.get_executor(pure=False)  # the same task may be asked again

    @property
    def idle_threads(self) -> int:
        """Threads beyond one for each worker, which get nothing to do."""
        return sum(threads - 1 for threads in self._threads.values())

    @property
    def workers(self) -> int:
        """How many there are now, each with one task at a time; 1 while one is waited for.

        Raises
        ------
        BatchError
            When there has been none for two minutes.
        """
        if monotonic() - self._counted_at > _COUNTED_S:
            with suppress(Exception):  # while it cannot be asked the old count will do
                self._count()
        if monotonic() - self._staffed_at > _DESERTED_S:
            raise BatchError(
                f"--cluster {self._address}: has had no worker for {_DESERTED_S:.0f} s; what was "
                "done is kept: start workers, and --resume goes on"
            )
        return max(1, len(self._threads))

    @property
    def tries(self) -> int:
        """One: the scheduler itself has tried several workers before it says that they died."""
        return 1

    def submit(self, work: Callable[[Item], Result], item: Item) -> "Future[Result]":
        """Have a worker do it."""
        asked: Future[Result] = self._executor.submit(work, item)
        told: Future[Result] = Future()
        asked.add_done_callback(lambda done: _pass_on(done, told))
        return told

    def renew(self) -> None:
        """Nothing to do: the scheduler replaces workers, or not."""

    def close(self, *, at_once: bool = False) -> None:
        """Let go of the cluster, which goes on."""
        with suppress(Exception):  # it may be gone
            if at_once:
                self._executor.shutdown(wait=False)
        with suppress(Exception):
            self._client.close(timeout=_ANSWER_S)

    def _begin(self, unfit: Callable[[], str | None]) -> None:
        try:
            self._client.wait_for_workers(1, timeout=_ANSWER_S)
        except Exception as error:
            raise BatchError(
                f"--cluster {self._address}: no worker has joined ({_line(error)}); start one by "
                f"'dask worker {self._address} --nthreads 1'"
            ) from None
        self._count()
        try:
            found: dict[str, str | None] = self._client.run(unfit)
        except Exception as error:
            raise BatchError(
                f"--cluster {self._address}: a worker cannot do the work ({_line(error)}); install "
                "the same version of lo-sniff there"
            ) from None
        for worker, why in found.items():
            if why is not None:
                raise BatchError(f"--cluster {self._address}: the worker {worker} {why}")

    def _count(self) -> None:
        self._threads: dict[str, int] = dict(self._client.nthreads())
        self._counted_at = monotonic()
        if self._threads:
            self._staffed_at = self._counted_at


def _pass_on(done: "Future[Result]", told: "Future[Result]") -> None:
    """The end of a task, in the words of the standard library."""
    if done.cancelled():
        told.cancel()
        told.set_running_or_notify_cancel()
        return
    error = done.exception()
    if error is None:
        told.set_result(done.result())
    elif isinstance(error, _distributed().KilledWorker):
        told.set_exception(BrokenExecutor())
    else:
        told.set_exception(error)


def _security(address: str) -> Any:
    """How to talk to a scheduler there.

    Checked before a client is made: one that is given what it does not understand lives on and
    complains for long.
    """
    if not _ADDRESS.fullmatch(address):
        raise UsageError(f"--cluster {address!r} is no address; write tcp://10.0.0.5:8786")
    if not address.startswith("tls://"):
        return None
    security = _distributed().Security()
    if security.get_connection_args("client")["ssl_context"] is None:
        raise UsageError(
            f"--cluster {address}: Dask's own configuration names no certificates for TLS"
        )
    return security


def _distributed() -> Any:
    try:
        import distributed
    except ImportError:
        raise UsageError(
            "--cluster is by Dask's distributed, which is not installed; pip install "
            "'lo-sniff[cluster]'"
        ) from None
    return distributed


def _line(error: BaseException) -> str:
    return " ".join(str(error).split()) or type(error).__name__
