"""Run inside a process with the USB stand-in preloaded: the source over the real driver.

What it did is told as JSON on standard output.
"""

import ctypes
import json
import os

import numpy as np

from sniff.errors import SourceError
from sniff.sources.dongle import list_dongles, open_dongle

_R820T = 0x34


def _registers(usb: ctypes.CDLL) -> dict[str, list[int]]:
    return {
        "tuner": [usb.standin_bus(_R820T, i) for i in range(32)],
        "demodulator": [usb.standin_demodulator(1, i) for i in range(256)],
    }


def main() -> None:
    usb = ctypes.CDLL(None)
    told: dict[str, object] = {"listing": [listing.serial for listing in list_dongles()]}
    source = open_dongle(None, rate_hz=2.4e6, center_hz=100e6, gain=20.7)
    told["opened"] = _registers(usb)
    blocks = list(source.stream_raw(seconds=0.3))
    told["samples"] = sum(block.native.size // 2 for block in blocks)
    # The stand-in's bytes count samples, so each tells its place.
    told["in_place"] = all(
        np.array_equal(
            block.native[::2], (block.index + np.arange(block.native.size // 2)).astype(np.uint8)
        )
        for block in blocks
    )
    stream = source.stream(seconds=None)
    next(stream)
    told["retuned_hz"] = source.tune(433.92e6)  # while samples come
    source.set_gain(40.2)
    told["retuned"] = _registers(usb)
    while next(stream).center_hz != told["retuned_hz"]:
        pass
    source.set_gain(None)
    told["automatic"] = _registers(usb)
    os.environ["STANDIN_UNPLUG"] = "1"
    try:
        while True:
            next(stream)
    except SourceError as error:
        told["unplugged"] = str(error)
    del os.environ["STANDIN_UNPLUG"]
    told["again"] = sum(block.samples.size for block in source.stream(seconds=0.1))
    source.close()
    for _ in range(10):
        open_dongle(None, rate_hz=1.024e6, center_hz=100e6, gain="auto").close()
    told["handles"] = usb.standin_open_handles()
    told["freed_in_flight"] = usb.standin_freed_in_flight()
    print(json.dumps(told))


if __name__ == "__main__":
    main()
