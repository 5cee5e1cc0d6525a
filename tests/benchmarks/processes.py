"""What a whole process takes of the machine."""

import os
import subprocess
import time
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """Wall and processor time of a process, start-up and imports included, and what it said."""

    wall_s: float
    processor_s: float
    said: str


def cost_of(*words: object, code: int = 0, one_thread: bool = False) -> Cost:
    """Of a command that ends with this code: the better of two.

    Ratios are taken of processor time, which other work on the machine does not lengthen.
    """
    command = [str(word) for word in words]
    one = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"} if one_thread else {}
    walls, loads = [], []
    for _ in range(2):
        begin, before = time.perf_counter(), os.times()
        done = subprocess.run(
            command, capture_output=True, text=True, env={**os.environ, **one}, check=False
        )
        walls.append(time.perf_counter() - begin)
        after = os.times()
        loads.append(
            after.children_user
            - before.children_user
            + after.children_system
            - before.children_system
        )
        assert done.returncode == code, done.stderr
    return Cost(wall_s=min(walls), processor_s=min(loads), said=done.stdout)
