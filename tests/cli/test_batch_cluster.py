"""``sniff batch --cluster`` on a real scheduler with two worker processes, started by the test."""

import json
import logging
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest

from calib.profile import Profile
from sniff import __version__
from sniff.batch.cluster import ClusterPool
from sniff.batch.error import BatchError
from sniff.batch.running import run as run_on
from sniff.cli.batch_asking import Unfitness
from sniff.cli.clocks import clock_store
from tests.batch import work
from tests.cli.conftest import Run
from tests.cli.fleet import write_set
from tests.cli.test_bad_input import assert_one_line

NOW = datetime(2026, 3, 1, tzinfo=timezone.utc)
ROOT = Path(__file__).parents[2]


@contextmanager
def dask(kind: str, *words: object, folder: Path) -> Iterator[None]:
    """A scheduler or worker of Dask's own command line, as a user starts it, with other clocks."""
    settings = {
        "XDG_DATA_HOME": str(folder),
        "PYTHONPATH": str(ROOT),
        # At the first death the scheduler blames all tasks that the worker had, innocent or not.
        "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0",
    }
    with (folder / f"{kind}.log").open("w") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", f"distributed.cli.dask_{kind}", *map(str, words)],
            stdout=log,
            stderr=log,
            env={**os.environ, **settings},
            cwd=folder,
            start_new_session=True,
        )
        try:
            yield
        finally:
            os.killpg(process.pid, signal.SIGKILL)  # with its own children, and at once
            process.wait(timeout=60)


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a scheduler."""
    folder = tmp_path_factory.mktemp("scheduler")
    told, give_up_at = folder / "told.json", time.monotonic() + 60
    words = ("--host", "127.0.0.1", "--port", 0, "--no-dashboard", "--scheduler-file", told)
    with dask("scheduler", *words, folder=folder):
        while not told.exists() or not told.read_text():
            assert time.monotonic() < give_up_at
            time.sleep(0.02)
        yield json.loads(told.read_text())["address"]


@pytest.fixture(scope="module")
def cluster(scheduler: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The same with two workers."""
    folder = tmp_path_factory.mktemp("workers")
    words = ("--nworkers", 2, "--nthreads", 1, "--no-dashboard", "--host", "127.0.0.1")
    with dask("worker", scheduler, *words, folder=folder):
        yield scheduler


def test_no_worker_is_one_line(
    run: Run, tmp_path: Path, scheduler: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sniff.batch.cluster._ANSWER_S", 0.5)
    monkeypatch.chdir(tmp_path)
    recording = write_set(tmp_path, "set", error_ppm=0.0)
    answer = run("batch", "look", "--cluster", scheduler, recording)
    assert_one_line(answer, 4, "no worker has joined", "dask worker")
    assert not (tmp_path / "look-batch").exists()


def test_no_scheduler_is_one_line(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sniff.batch.cluster._ANSWER_S", 0.2)
    monkeypatch.chdir(tmp_path)
    answer = run("batch", "look", "--cluster", "tcp://127.0.0.1:1", "a.wav")
    assert_one_line(answer, 4, "no scheduler answers there", "dask scheduler")
    assert not (tmp_path / "look-batch").exists()


@pytest.mark.parametrize(
    ("address", "words"),
    [("the shed", "is no address"), ("http://10.0.0.5:8786", "is no address"),
     ("tls://127.0.0.1:1", "certificates")],
)  # fmt: skip
def test_what_is_no_address_is_one_line(run: Run, address: str, words: str) -> None:
    assert_one_line(run("batch", "look", "--cluster", address, "a.wav"), 2, words)


def test_without_the_extra_it_says_how_to_install_it(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    answer = run("batch", "look", "--cluster", "tcp://127.0.0.1:1", "a.wav")
    assert_one_line(answer, 2, "lo-sniff[cluster]")


def test_workers_are_the_clusters(run: Run) -> None:
    answer = run("batch", "look", "--cluster", "tcp://127.0.0.1:1", "--workers", 2, "a.wav")
    assert_one_line(answer, 2, "--workers")


def test_a_cluster_answers_as_this_machine_does_bit_by_bit(
    run: Run, tmp_path: Path, cluster: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the user's own clock, which the workers do not have."""
    monkeypatch.chdir(tmp_path)
    made = NOW - timedelta(days=1)
    mine = Profile(name="mine", ppm=1.5, u_ppm=0.2, made=made, references=("lab:100M",))
    clock_store().save(mine)
    for number in range(6):
        write_set(tmp_path / "fleet", f"set-{number}", error_ppm=number, seed=number)
    write_set(tmp_path / "fleet", "set-6", error_ppm=0.0).write_text("{")
    # The clock's age in a batch is that at its beginning, which is the same for both here.
    monkeypatch.setattr("sniff.batch.journal.datetime", Frozen)
    asked = ("batch", "carrier", "--nominal", "72.9M", "--tolerance", "20ppm", "--clock", "mine")
    there = run(*asked, "--cluster", cluster, "--no-plot", "--out", "there", "fleet")
    here = run(*asked, "--workers", 1, "--no-plot", "--out", "here", "fleet")
    assert there.code == here.code == 4  # set-6 cannot be read
    assert there.out.replace("there", "here") == here.out
    kept = {path.name: path.read_bytes() for path in (tmp_path / "there" / "answers").iterdir()}
    assert kept == {
        path.name: path.read_bytes() for path in (tmp_path / "here" / "answers").iterdir()
    }
    assert len(kept) == 7
    for name in ("rows.csv", "summary.json"):
        assert (tmp_path / "there" / name).read_bytes() == (tmp_path / "here" / name).read_bytes()
    assert "1.5" in (tmp_path / "there" / "rows.csv").read_text().splitlines()[1].split(",")


class Frozen(datetime):
    """A clock that stands still."""

    @classmethod
    def now(cls, tz: object = None) -> datetime:
        return NOW


def test_a_killed_worker_costs_nothing_and_what_kills_all_is_given_up(
    cluster: str, tmp_path: Path
) -> None:
    pool = ClusterPool(cluster, unfit=Unfitness(folder=str(tmp_path), software=__version__))
    (tmp_path / "always").mkdir()
    try:
        once = run_on(range(12), work.DieOnce(tmp_path, 3), pool, give_up=work.refuse)
        assert sorted(once) == [n * n for n in range(12)]
        always = work.DieAlways(tmp_path / "always", 2)
        results = list(run_on(range(5), always, pool, give_up=lambda item, error: -item))
        assert sorted(results) == [-2, 0, 1, 9, 16]
    finally:
        pool.close(at_once=True)


def test_a_worker_that_cannot_do_the_work_is_told_of(cluster: str, tmp_path: Path) -> None:
    unfit = Unfitness(folder="/nowhere/at all", software=__version__)
    with pytest.raises(BatchError, match="does not see /nowhere/at all"):
        ClusterPool(cluster, unfit=unfit)
    with pytest.raises(BatchError, match=r"has sniff .*, and this is 0\.0\.1"):
        ClusterPool(cluster, unfit=Unfitness(folder=str(tmp_path), software="0.0.1"))


def test_a_cluster_that_has_lost_all_its_workers_is_not_waited_for_without_end(
    tmp_path: Path, cluster: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sniff.batch.cluster._COUNTED_S", 0.0)
    monkeypatch.setattr("sniff.batch.cluster._DESERTED_S", 0.5)
    pool = ClusterPool(cluster, unfit=Unfitness(folder=str(tmp_path), software=__version__))
    try:
        # What the libraries say of a lost scheduler are pages.
        assert not any(
            logging.getLogger(name).isEnabledFor(logging.ERROR)
            for name in ("distributed.client", "tornado.application")
        )
        assert pool.workers >= 1  # another may be starting anew, after the test before
        monkeypatch.setattr(
            pool._client, "nthreads", dict
        )  # the scheduler's word, its workers gone
        assert pool.workers == 1
        monkeypatch.setattr("sniff.batch.cluster._DESERTED_S", 0.0)
        with pytest.raises(BatchError, match=r"has had no worker .* --resume goes on"):
            list(run_on([1], work.square, pool, give_up=work.refuse))
    finally:
        pool.close(at_once=True)
