"""A 20 GB recording needs no more memory than one of 20 MB."""

import json
import struct
import subprocess
import sys
import tarfile

import numpy as np
import pytest

pytestmark = pytest.mark.memory

SMALL_BYTES = 20 * 10**6
LARGE_BYTES = 20 * 10**9
RATE_HZ = 2.4e6

# The peak is Linux's VmHWM: getrusage would give that of the process that started this one, if it
# was larger.
READ = r"""
import re, sys
from sniff.sources.opening import Wishes, open_source
center_hz = None if "sigmf" in sys.argv[1] else 83.6e6
rate_hz = None if center_hz is None else 2.4e6
source = open_source(sys.argv[1], Wishes(rate_hz=rate_hz, center_hz=center_hz, verify=False))
samples = 0
for start_s in (0.0, source.info.duration_s - 2.0):
    for block in source.stream(start_s=start_s, seconds=40.0):
        samples += block.samples.size
peak_kb = re.search(r"VmHWM:\s+(\d+)", open("/proc/self/status").read())[1]
print(samples, repr(complex(block.samples[-1])), peak_kb)
"""

LAST = np.array([255, 0], dtype=np.uint8)
"""The last sample, 1 - 1j: everything before it is a hole in the file."""


def sparse(path, head, data_bytes, tail):
    with path.open("wb") as file:
        file.write(head)
        file.seek(data_bytes - len(tail), 1)
        file.write(tail)
    return path


def as_raw(folder, data_bytes):
    return sparse(folder / "set.cu8", b"", data_bytes, LAST.tobytes())


def as_pair(folder, data_bytes):
    sparse(folder / "set.sigmf-data", b"", data_bytes, LAST.tobytes())
    path = folder / "set.sigmf-meta"
    path.write_text(json.dumps(document()))
    return path


def as_archive(folder, data_bytes):
    path = folder / "set.sigmf"
    text = json.dumps(document()).encode()
    about, data = tarfile.TarInfo("s.sigmf-meta"), tarfile.TarInfo("s.sigmf-data")
    about.size, data.size = len(text), data_bytes
    head = about.tobuf(tarfile.PAX_FORMAT) + text + bytes(-len(text) % 512) + data.tobuf()
    return sparse(path, head, data_bytes, LAST.tobytes())


def as_rf64(folder, data_bytes):
    """RF64 by hand, after EBU Tech 3306: 16-bit stereo."""
    form = struct.pack("<HHIIHH", 1, 2, 2_400_000, 9_600_000, 4, 16)
    sizes = struct.pack("<QQQI", data_bytes + 72, data_bytes, data_bytes // 4, 0)
    head = b"RF64\xff\xff\xff\xffWAVEds64" + struct.pack("<I", len(sizes)) + sizes
    head += b"fmt " + struct.pack("<I", len(form)) + form + b"data\xff\xff\xff\xff"
    return sparse(folder / "set.wav", head, data_bytes, struct.pack("<hh", 32767, -32768))


def document():
    return {
        "global": {"core:datatype": "cu8", "core:version": "1.2.0", "core:sample_rate": RATE_HZ},
        "captures": [{"core:sample_start": 0, "core:frequency": 83.6e6}],
        "annotations": [],
    }


def reading(path):
    """Samples read, the last of them, and the peak of the process's memory, bytes."""
    ran = subprocess.run(
        [sys.executable, "-c", READ, str(path)], capture_output=True, text=True, check=False
    )
    assert not ran.stderr
    samples, last, kilobytes = ran.stdout.split()
    return int(samples), complex(last), 1024 * int(kilobytes)


@pytest.mark.parametrize("written", [as_raw, as_pair, as_archive, as_rf64])
def test_twenty_gigabytes_need_no_more_memory_than_twenty_megabytes(tmp_path, written):
    path = written(tmp_path, SMALL_BYTES)
    _, last, small = reading(path)
    assert last == pytest.approx(1 - 1j, abs=1e-4)
    path.unlink()
    path = written(tmp_path, LARGE_BYTES)
    samples, last, large = reading(path)
    assert samples == round(42 * RATE_HZ)  # 200 MB of cu8 in all, from the start and the end
    assert last == pytest.approx(1 - 1j, abs=1e-4)
    assert large - small < 10e6, f"{small / 1e6:.0f} MB became {large / 1e6:.0f} MB"
