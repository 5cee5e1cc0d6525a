"""Largest memory of a command."""

import subprocess
import sys

_COMMAND = """
import sys
sys.argv = ["sniff", *sys.argv[1:]]
from sniff.cli import main
try: main()
except SystemExit: pass
# Not getrusage: its figure is inherited from the process that started this one.
with open("/proc/self/status") as status:
    print(next(line for line in status if line.startswith("VmHWM")).split()[1], file=sys.stderr)
"""


def peak_bytes(*words: object) -> int:
    """Peak resident memory of ``sniff WORDS``, bytes; Linux only."""
    done = subprocess.run(
        [sys.executable, "-c", _COMMAND, *map(str, words)],
        check=True,
        capture_output=True,
        text=True,
    )
    return int(done.stderr.split()[-1]) * 1024
