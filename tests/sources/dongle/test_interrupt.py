"""Ctrl-C at any moment leaves the dongle closed."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.standin.build import SITE

_ROOT = Path(__file__).parents[3]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGINT to a child alone")
@pytest.mark.parametrize("manner", ["tidy", "careless"])
def test_ctrl_c_at_any_moment_leaves_the_dongle_closed(rtlsdr_library: Path, manner: str) -> None:
    moments_s = [0.0, 0.004, *(random.Random(manner).uniform(0.0, 0.8) for _ in range(4))]
    environment = {
        **os.environ,
        "PYTHONPATH": f"{SITE}{os.pathsep}{_ROOT}",
        "STANDIN_LIBRARY": str(rtlsdr_library),
        "STANDIN_TONE_HZ": "100.1e6",
    }
    programs = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.sources.dongle.interrupted", manner],
            cwd=_ROOT,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in moments_s
    ]
    for moment_s, program in zip(moments_s, programs, strict=True):
        assert program.stdout is not None
        assert program.stdout.readline() == "begin\n"
        time.sleep(moment_s)
        program.send_signal(signal.SIGINT)
        output, errors = program.communicate(timeout=30)
        assert output.splitlines() == ["interrupted", "handles 0"], (moment_s, errors)
        assert program.returncode == 0
