"""Ctrl-C at any moment leaves the dongle closed."""

import importlib.metadata
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sniff.sources.dongle.library import load_driver
from tests.sources.dongle.conftest import forget_wrapper
from tests.standin.build import environment

_ROOT = Path(__file__).parents[3]


def test_ctrl_c_is_not_lost_while_the_wrapper_is_imported(
    loaded: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    forget_wrapper()

    def version(name: str) -> str:
        signal.raise_signal(signal.SIGINT)
        return "0"

    # The wrapper asks for its own version under a bare ``except:``.
    monkeypatch.setattr(importlib.metadata, "version", version)
    with pytest.raises(KeyboardInterrupt):
        load_driver()
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGINT to a child alone")
@pytest.mark.parametrize(("manner", "longest_s"), [("tidy", 1.2), ("careless", 0.3)])
def test_ctrl_c_at_any_moment_leaves_the_dongle_closed(
    rtlsdr_library: Path, manner: str, longest_s: float
) -> None:
    moments_s = [0.0, 0.004, *(random.Random(manner).uniform(0.0, longest_s) for _ in range(3))]
    programs = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.sources.dongle.interrupted", manner],
            cwd=_ROOT,
            env=environment(rtlsdr_library, tone_hz=100.1e6),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in moments_s
    ]
    try:
        for moment_s, program in zip(moments_s, programs, strict=True):
            assert program.stdout is not None
            assert program.stdout.readline() == "begin\n"
            time.sleep(moment_s)
            program.send_signal(signal.SIGINT)
            output, errors = program.communicate(timeout=30)
            assert output.splitlines() == ["interrupted", "handles 0"], (moment_s, errors)
            assert program.returncode == 0
    finally:  # a failure must not leave the others running
        for program in programs:
            program.kill()
            program.communicate()
