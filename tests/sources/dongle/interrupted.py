"""A program that reads a dongle and is interrupted; how it ends is told on standard output.

``tidy`` looks for the best gain first, which takes its time, and closes the source as every command
does; ``careless`` leaves that to the exit.
"""

import atexit
import ctypes
import os
import sys


def _report() -> None:
    library = ctypes.CDLL(os.environ["STANDIN_LIBRARY"])
    print(f"handles {library.standin_open_handles()}", flush=True)


def main() -> None:
    from sniff.sources.dongle import open_dongle

    tidy = sys.argv[1] == "tidy"
    source = None
    try:
        print("begin", flush=True)  # the signal may come before this returns
        gain = "best" if tidy else 20.7
        source = open_dongle(None, rate_hz=2.4e6, center_hz=100e6, gain=gain)
        while True:
            for _ in source.stream(seconds=0.03):
                pass
            source.tune(100.1e6)
    except KeyboardInterrupt:
        print("interrupted", flush=True)
    finally:
        if source is not None and tidy:
            source.close()


if __name__ == "__main__":
    atexit.register(_report)  # first registered, last run: after the source's own
    main()
