"""What a batch exits with, and what it says of a task that could not be done."""

from concurrent.futures import BrokenExecutor
from datetime import datetime, timezone

import pytest

from sniff import __version__
from sniff.batch.nouns import Task
from sniff.batch.summary import Summary
from sniff.cli.batch_asking import Order
from sniff.cli.batch_showing import exit_code
from sniff.cli.batching import given_up


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
    order = Order(
        question="look",
        options={},
        folder=".",
        begun_utc=datetime.now(timezone.utc),
        software=__version__,
        kept={},
    )
    answer = given_up(order, Task(number=4, source="a.wav", options={"rbw": "1k"}), error)
    assert (answer.number, answer.exit_code, answer.told) == (4, 4, None)
    assert answer.error is not None
    assert answer.error.startswith(words)
    assert len(answer.key) == 64
