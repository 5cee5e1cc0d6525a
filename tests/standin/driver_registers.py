"""Run inside a process with the USB stand-in preloaded: settings in, registers out.

Standard input: a JSON list of ``{"frequency_hz", "rate_hz", "bandwidth_hz"}``; standard output: a
JSON list of what the real packaged driver wrote for each into tuner and demodulator. With the
argument ``direct`` the tuner is left out: direct sampling of the Q input.
"""

import ctypes
import json
import os
import sys

from rtlsdr.librtlsdr import librtlsdr as driver

_CHIPS = {"r820t": 0x34, "r828d": 0x74, "v4": 0x74, "e4000": 0xC8, "fc0012": 0xC6, "fc0013": 0xC6}


def main() -> None:
    usb = ctypes.CDLL(None)
    chip = _CHIPS[os.environ["STANDIN_TUNER"]]
    device = ctypes.c_void_p()
    if driver.rtlsdr_open(ctypes.byref(device), 0) != 0:
        sys.exit("the driver did not open the stand-in")
    if sys.argv[1:] == ["direct"] and driver.rtlsdr_set_direct_sampling(device, 2) != 0:
        sys.exit("the driver refused direct sampling")
    answers = []
    for setting in json.load(sys.stdin):
        applied_hz = ctypes.c_uint32()
        results = (
            driver.rtlsdr_set_sample_rate(device, setting["rate_hz"]),
            driver.rtlsdr_set_and_get_tuner_bandwidth(
                device, setting["bandwidth_hz"], ctypes.byref(applied_hz), 1
            ),
            driver.rtlsdr_set_center_freq(device, setting["frequency_hz"]),
        )
        answers.append(
            {
                "results": results,
                "applied_hz": applied_hz.value,
                "tuner": [usb.standin_bus(chip, i) for i in range(32)],
                "demodulator": [usb.standin_demodulator(1, i) for i in range(256)],
            }
        )
    driver.rtlsdr_close(device)
    json.dump(answers, sys.stdout)


if __name__ == "__main__":
    main()
