"""What a whole process takes of the machine."""

import os
import subprocess
import time


def seconds_of(*words: object) -> tuple[float, float]:
    """Wall and processor time of a whole process, start-up and imports included: the better of two.

    Ratios are taken of processor time, which other work on the machine does not lengthen.
    """
    walls, loads = [], []
    for _ in range(2):
        begin, before = time.perf_counter(), os.times()
        subprocess.run([str(word) for word in words], check=True, capture_output=True)
        walls.append(time.perf_counter() - begin)
        after = os.times()
        loads.append(
            after.children_user
            - before.children_user
            + after.children_system
            - before.children_system
        )
    return min(walls), min(loads)
