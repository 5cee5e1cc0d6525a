"""Kills a writing process again and again, and tells what the notebook has kept of it.

Run as ``python -m tests.soak.killed_writer FOLDER TRIES``; one line of JSON per kill.
"""

import json
import os
import random
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from sniff.soak.notebook import read
from tests.soak.events import MIDNIGHT_S, dropout, row, run, writing

DAY_S = 86_400.0


def write_for_ever(folder: Path, zero_s: float, acknowledge: int) -> None:
    """A drop-out, a row and a stretch with each commit, and its number when that has returned."""
    with writing(folder, run(zero_s)) as writer:
        for number in range(10**9):
            at_s = 0.2 * number
            writer.observe(at_s, at_s + 0.2)
            writer.add_rows([row(at_s, dropouts=1)])
            writer.add_dropout(dropout(at_s), None)
            writer.set_begun([at_s + 0.19], uncounted=1)
            writer.commit()
            os.write(acknowledge, b"%d\n" % (number + 1))


def kills(folder: Path, tries: int, rng: random.Random) -> Iterator[dict[str, object]]:
    """Kill it after a random time, counted every other time from some commit on, as on a busy
    machine it may take long to the first; and open what is left."""
    for attempt in range(tries):
        zero_s = MIDNIGHT_S + DAY_S * attempt
        ours, theirs = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(ours)
            write_for_ever(folder, zero_s, theirs)
        os.close(theirs)
        with os.fdopen(ours, "rb") as pipe:
            told = [pipe.readline() for _ in range(rng.randint(1, 8) if attempt % 2 else 0)]
            time.sleep(rng.uniform(0.0, 0.12))
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            told += pipe.readlines()
        kept = read(folder)
        mine = [d for d in kept.dropouts if d.start_utc_s >= zero_s]
        yield {
            "acknowledged": int(told[-1]) if told else 0,
            "dropouts": sum(d.duration_s is not None for d in mine),
            "begun": sum(d.duration_s is None for d in mine),
            "counted": sum(m.dropouts for m in kept.minutes if m.start_utc_s >= zero_s),
            "observed_s": sum(o.observed_s for o in kept.observed if o.start_utc_s >= zero_s),
            "runs": len(kept.runs),
            "all": len(kept.dropouts),
        }


if __name__ == "__main__":
    with writing(Path(sys.argv[1]), run(MIDNIGHT_S - DAY_S)) as first:
        first.finish("done")
    for result in kills(Path(sys.argv[1]), int(sys.argv[2]), random.Random(5)):
        print(json.dumps(result), flush=True)
