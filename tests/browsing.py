"""A real browser, for what people see."""

import shutil

import pytest

# Background networking off: this browser must not speak to anyone but the page.
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]


def chromium() -> str:
    """Path of Debian's Chromium; skips where there is none, which fails the session in CI."""
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no chromium: apt-get install chromium")
    return path
