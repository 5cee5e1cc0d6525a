"""What a batch exits with, and what it says of a task that could not be done."""

from concurrent.futures import BrokenExecutor
from datetime import datetime, timezone
from pathlib import Path

import pytest

from sniff import __version__
from sniff.batch.journal import begun
from sniff.batch.nouns import Task
from sniff.batch.pool import ProcessPool
from sniff.batch.summary import Summary
from sniff.cli.batch_asking import Order
from sniff.cli.batch_showing import exit_code, show_batch
from sniff.cli.batching import _Batch, _Interruption, given_up
from sniff.errors import SourceError
from sniff.model import Caution
from tests.batch.told import answer, carrier

ORDER = Order(
    question="look",
    options={},
    folder=".",
    begun_utc=datetime(2026, 3, 1, tzinfo=timezone.utc),
    software=__version__,
    kept={},
)


def summary(*, failed: int = 0, undecided: int = 0, not_read: int = 0) -> Summary:
    return Summary(
        question="carrier",
        recordings=10,
        as_expected=10 - failed - undecided - not_read,
        failed=failed,
        undecided=undecided,
        not_judged=0,
        not_read=not_read,
        failures=(),
        open_cases=(),
        unread=(),
        outliers=(),
        fleets=(),
        cautions=(),
    )


@pytest.mark.parametrize(
    ("failed", "not_read", "undecided", "code"),
    [(0, 0, 0, 0), (0, 0, 1, 3), (0, 1, 0, 4), (0, 1, 1, 4), (1, 0, 0, 1), (1, 1, 1, 1)],
)
def test_a_failed_verdict_goes_before_an_unread_file_before_an_open_verdict(
    failed: int, not_read: int, undecided: int, code: int
) -> None:
    assert exit_code(summary(failed=failed, undecided=undecided, not_read=not_read)) == code


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (BrokenExecutor(), "its worker died each time that it was asked, also alone"),
        (ValueError("too\nlarge"), "could not be sent to a worker, or back: too large"),
    ],
)
def test_a_task_that_was_given_up_is_a_row_in_one_line(error: Exception, words: str) -> None:
    given = given_up(ORDER, Task(number=4, source="a.wav", options={"rbw": "1k"}), error)
    assert (given.number, given.exit_code, given.told) == (4, 4, None)
    assert given.error is not None
    assert given.error.startswith(words)
    assert len(given.key) == 64


def test_what_cannot_be_written_is_printed_all_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal = begun(tmp_path / "b", {"question": "carrier"}, resume=False)
    for number in range(3):
        journal.keep(answer(number, carrier(1.0 + number)))
    (tmp_path / "b" / "rows.csv").mkdir()
    given = {"no_plot": False, "plot": None, "as_json": False, "quiet": False}
    passed_over = Caution(code="no-recording", text="fleet/empty: no recording in it")
    with pytest.raises(SourceError, match=r"rows\.csv: cannot be written"):
        show_batch(
            journal.answers(),
            tmp_path / "b" / "rows.csv",
            "carrier",
            given,
            cautions=[passed_over],
        )
    told = capsys.readouterr()
    assert told.out.endswith("All 3 as expected.\n")
    assert "Caution: fleet/empty: no recording in it\n" in told.err


def test_a_disk_that_is_full_ends_it_and_says_that_answers_are_kept(tmp_path: Path) -> None:
    journal = begun(tmp_path / "b", {"question": "carrier"}, resume=False)
    pool = ProcessPool(1)
    batch = _Batch(journal, ORDER, pool, _Interruption(), quiet=True)
    pool.close()
    (tmp_path / "b" / "answers").rmdir()
    with pytest.raises(SourceError, match=r"cannot be written: .*; answers before it are kept"):
        batch._keep(answer(0, carrier(1.0)))
