"""The driver's library, loaded when a dongle is wanted and not before."""

import contextlib
import ctypes
import os
import signal
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from types import FrameType
from typing import Any

from sniff.errors import SourceError


@dataclass(frozen=True, slots=True, kw_only=True)
class Driver:
    """The wrapper's layer of bare C calls.

    Its class above that layer is left alone: it closes the device by itself when a call fails,
    which waits for ever while samples are coming in, and then goes on with a handle that is freed.

    Attributes
    ----------
    calls : ctypes.CDLL
        The library, argument types set by the wrapper.
    callback_type : type
        What turns a Python function into the callback of an asynchronous read.
    freezes_if : bool
        True when the IF amplifier of an R820T or kin can be held still. Only the driver that
        comes with the wrapper has that call, and only its arithmetic is `calib.tuner`'s.
    """

    calls: Any
    callback_type: Any
    freezes_if: bool


def load_driver() -> Driver:
    """Load wrapper and library.

    Raises
    ------
    SourceError
        When they are not installed, too old, or switched off.
    """
    if os.environ.get("RTLSDR_CLIENT_MODE", "").lower() in ("true", "1", "yes"):
        raise SourceError(
            "RTLSDR_CLIENT_MODE is set, which keeps the dongle's driver from being loaded; unset it"
        )
    try:
        # Its loader prints to standard output when a library does not load; results go there.
        with _interrupts_kept(), contextlib.redirect_stdout(sys.stderr):
            from rtlsdr.librtlsdr import librtlsdr, rtlsdr_read_async_cb_t
    except AttributeError as error:
        raise SourceError(
            f"the dongle's driver library is too old ({error}); install the one that comes with "
            "the wrapper: pip install --upgrade 'pyrtlsdr[lib]'"
        ) from None
    except (ImportError, OSError) as error:
        raise SourceError(
            f"the dongle's driver library does not load ({error}); install it: "
            "pip install --upgrade 'pyrtlsdr[lib]'"
        ) from None
    freezes_if = hasattr(librtlsdr, "rtlsdr_set_tuner_if_mode")
    if freezes_if:
        librtlsdr.rtlsdr_set_tuner_if_mode.argtypes = [ctypes.c_void_p, ctypes.c_int]
        librtlsdr.rtlsdr_set_tuner_if_mode.restype = ctypes.c_int
    return Driver(calls=librtlsdr, callback_type=rtlsdr_read_async_cb_t, freezes_if=freezes_if)


@contextlib.contextmanager
def _interrupts_kept() -> Iterator[None]:
    """Keep Ctrl-C till the end: the wrapper's import has ``except:`` clauses that would eat it."""
    is_main = threading.current_thread() is threading.main_thread()
    if not is_main or signal.getsignal(signal.SIGINT) is None:  # not Python's to set
        yield
        return
    kept: list[tuple[int, FrameType | None]] = []
    usual = signal.signal(signal.SIGINT, lambda number, frame: kept.append((number, frame)))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, usual)
        if kept and callable(usual):
            usual(*kept[0])


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """Keep the library's chatter (tuner found, buffers allocated) off the terminal.

    It writes to file descriptor 2 past Python, so that is turned aside for the moment; what
    matters comes back as a return value. On Windows the library has a table of its own, and
    nothing is done.
    """
    if sys.platform == "win32":
        yield
        return
    try:
        kept = os.dup(2)
    except OSError:  # no standard error at all, as under some services
        yield
        return
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere, 2)
        finally:
            os.close(nowhere)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
