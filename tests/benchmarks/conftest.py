"""What several benchmarks hold their own cost against, measured once in a run."""

import sys

import numpy as np
import pytest

from tests.benchmarks.processes import cost_of

# Reads a file as anybody would with numpy and SciPy, and looks for no line at all.
_PLAIN = """
import sys, numpy as np
from scipy import signal
raw = np.fromfile(sys.argv[1], np.uint8).astype(np.float32)
samples = ((raw - 127.5) / 127.5).view(np.complex64)
signal.welch(samples, 2.4e6, "hann", 4096, 2048, return_onesided=False, detrend=False)
"""


@pytest.fixture(scope="session")
def plain_s(tmp_path_factory: pytest.TempPathFactory) -> float:
    """Processor time of numpy and SciPy's Welch alone on 10 s at 2.4 MS/s, s; what the samples are
    makes no odds to them."""
    path = tmp_path_factory.mktemp("plain") / "noise.cu8"
    path.write_bytes(np.random.default_rng(2).bytes(48_000_000))
    return cost_of(sys.executable, "-c", _PLAIN, path).processor_s
