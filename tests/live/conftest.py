"""A page on a bench, in a process of its own, and a real browser to look at it."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

PLAN = ("--carrier", "72.9M", "--if", "10.7M", "--side", "high", "--multiplier", "3")
QUIETLY = ("--no-browser", "--quiet")
CLOCK = ("--tolerance", "50ppm", "--ppm", "31", "--u-ppm", "0.5")


@dataclass(frozen=True)
class Served:
    """A page that is being served."""

    address: str
    out: Path
    process: subprocess.Popen[str]


def served(tmp_path: Path, *words: str, job: Path | None = None) -> Iterator[Served]:
    """Serve the deaf set in real time; ends it afterwards, and nothing may have gone wrong."""
    out = tmp_path / "kept"
    place = ("--no-job", "--out", str(out)) if job is None else ("--job", str(job))
    folders = {name: str(tmp_path / name) for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME")}
    source = ("--from", "bench:tour-guide-deaf", "--center", "83.5M", "--rate", "1.024M")
    process = subprocess.Popen(
        [sys.executable, "-m", "sniff", "page", *source, *PLAN, *CLOCK, *QUIETLY, *place, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, **folders},
    )
    assert process.stdout is not None
    assert process.stderr is not None
    said = process.stdout.readline()
    found = re.search(r"http://\S+", said)
    assert found, said + process.stderr.read()
    try:
        yield Served(address=found[0], out=out, process=process)
    finally:
        process.terminate()
        _, errors = process.communicate(timeout=20)
        assert "Traceback" not in errors, errors


def opened(browser: Browser, at: Served, *, width: int = 1280, height: int = 900) -> Page:
    context = browser.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.on("pageerror", lambda error: (_ for _ in ()).throw(AssertionError(str(error))))
    page.goto(at.address)
    expect(page.locator("#link")).to_have_text("Connected")
    return page


def frames(page: Page, count: int) -> None:
    """Wait for so many frames; the page's policy forbids to evaluate a text inside it."""
    for _ in range(150):
        if int(page.evaluate("document.body.dataset.frames ?? 0")) > count:
            return
        page.wait_for_timeout(100)
    raise AssertionError(f"fewer than {count} frames")


@pytest.fixture
def page_of_deaf(tmp_path: Path) -> Iterator[Served]:
    yield from served(tmp_path)
