"""The real wrapper over the stand-in for the driver, in this process."""

import ctypes
import sys
import threading
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from sniff.sources.dongle import DongleSource, open_dongle
from tests.standin.build import SITE, rtlsdr_library, usb_library

__all__ = ["rtlsdr_library", "usb_library"]


def forget_wrapper() -> None:
    """One library per import: the next import takes the one that is wanted then."""
    for name in [name for name in sys.modules if name.split(".")[0] in ("rtlsdr", "pyrtlsdrlib")]:
        del sys.modules[name]


@pytest.fixture(scope="package")
def loaded(rtlsdr_library: Path) -> Iterator[ctypes.CDLL]:
    with pytest.MonkeyPatch.context() as patch:
        forget_wrapper()
        patch.syspath_prepend(str(SITE))
        patch.setenv("STANDIN_LIBRARY", str(rtlsdr_library))
        yield ctypes.CDLL(str(rtlsdr_library))
        forget_wrapper()


class Standin:
    """What a test may change of the dongle, and ask it."""

    def __init__(self, library: ctypes.CDLL, patch: pytest.MonkeyPatch) -> None:
        self._library = library
        self._patch = patch
        self._opened: weakref.WeakSet[DongleSource] = weakref.WeakSet()

    def open(self, serial: str | None = None, **changes: object) -> DongleSource:
        """Open it at 100 MHz, 2.4 MS/s, 20.7 dB, unless told otherwise; closed after the test."""
        options: dict[str, Any] = {"rate_hz": 2.4e6, "center_hz": 100e6, "gain": 20.7}
        source = open_dongle(serial, **(options | changes))
        self._opened.add(source)
        return source

    def close(self) -> None:
        for source in list(self._opened):
            source.close()

    def set(self, **variables: object) -> None:
        """Set ``STANDIN_...``; None removes one."""
        for name, value in variables.items():
            if value is None:
                self._patch.delenv(f"STANDIN_{name.upper()}", raising=False)
            else:
                self._patch.setenv(f"STANDIN_{name.upper()}", str(value))

    def soon(self, buffers: int) -> int:
        """Bytes that the dongle will have sent so many buffers from now."""
        return self.ask("served") + 16_384 * buffers

    def ask(self, question: str) -> int:
        """Call ``standin_...``."""
        return int(getattr(self._library, f"standin_{question}")())


def dongle_threads() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name == "dongle"]


@pytest.fixture
def standin(loaded: ctypes.CDLL, monkeypatch: pytest.MonkeyPatch) -> Iterator[Standin]:
    """A dongle that hears a tone at 100.1 MHz; nothing of it is left when the test is over."""
    standin = Standin(loaded, monkeypatch)
    loaded.standin_forget()
    standin.set(tone_hz=100.1e6, tone_dbfs=-40, noise_dbfs=-75, pace=4)
    yield standin
    standin.close()
    assert not dongle_threads()
    assert standin.ask("open_handles") == 0
    assert standin.ask("ppm_calls") == 0
