"""What holds for every test: one thread for linear algebra, Ctrl-C at work, in CI no skips; and
Hypothesis tries the same examples each time, however long one takes."""

import os
import signal
from collections.abc import Iterator
from typing import TYPE_CHECKING

# As `sniff` itself sets it, and before numpy is loaded: two workers with two threads each would
# wait for one another on two cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import hypothesis
import pytest

from tests.browsing import ARGUMENTS, chromium

if TYPE_CHECKING:
    from playwright.sync_api import Browser


hypothesis.settings.register_profile("same", derandomize=True, deadline=None, database=None)
hypothesis.settings.load_profile("same")


def pytest_configure() -> None:
    # A shell's background job ignores Ctrl-C, and so would every program that a test starts.
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    # In CI a skipped test is a failure: a green run must have run everything.
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    """Debian's Chromium without a window.

    For one module at a time: while it is open its loop is the thread's running one, and nothing
    else that is asynchronous can run there, a second such browser neither.
    """
    path = chromium()
    from playwright.sync_api import expect, sync_playwright

    # What comes at once on an idle machine may wait on a busy one.
    expect.set_options(timeout=20_000)
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()
