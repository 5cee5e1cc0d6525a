"""One open dongle: bare calls, each of them checked."""

import ctypes
from dataclasses import dataclass
from typing import Any

from sniff.errors import SourceError
from sniff.sources.dongle.faults import CallFailedError, not_opened
from sniff.sources.dongle.library import Driver, quiet

_MOST_GAINS = 50
_STRING_BYTES = 256
_IF_FROZEN = 10_000
"""To this the driver adds the step of the IF amplifier, 0 ... 15, at which it is held."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsbStrings:
    """What a dongle says of itself."""

    maker: str
    product: str
    serial: str


def usb_strings(driver: Driver, index: int) -> UsbStrings:
    """Read them; the dongle must not be open in another program on some systems.

    Raises
    ------
    CallFailedError
        When it does not tell.
    """
    texts = [ctypes.create_string_buffer(_STRING_BYTES) for _ in range(3)]
    pointers = [ctypes.cast(text, ctypes.POINTER(ctypes.c_ubyte)) for text in texts]
    code = driver.calls.rtlsdr_get_device_usb_strings(index, *pointers)
    if code < 0:
        raise CallFailedError(code, "reading its name")
    maker, product, serial = (text.value.decode("utf-8", "replace").strip() for text in texts)
    return UsbStrings(maker=maker, product=product, serial=serial)


_NOTHING = ctypes.c_void_p()


class Handle:
    """One dongle. After any `CallFailedError`, `close` it.

    Nothing here may be called from the callback of `read_async`.

    Parameters
    ----------
    driver : Driver
    """

    def __init__(self, driver: Driver) -> None:
        self._driver = driver
        self._calls = driver.calls
        self._device: Any = _NOTHING

    def open(self, index: int, *, name: str) -> None:
        """Open the dongle of this index; `name` as the user wrote it.

        Raises
        ------
        SourceError
            When it cannot be opened.
        """
        # The driver itself fills this in, so that whatever interrupts Python after the call, such
        # as Ctrl-C, finds a handle that `close` closes.
        self._device = ctypes.c_void_p()
        with quiet():
            code = self._calls.rtlsdr_open(ctypes.byref(self._device), index)
        if code < 0 or not self._device:
            self._device = _NOTHING
            raise not_opened(name, code)

    @property
    def freezes_if(self) -> bool:
        """Whether the library has the call that holds the IF amplifier."""
        return self._driver.freezes_if

    @property
    def tuner_type(self) -> int:
        """Number of the tuner's type, 0 when the driver does not know it."""
        return int(self._calls.rtlsdr_get_tuner_type(self._live()))

    @property
    def tuner_clock_hz(self) -> float:
        """Nominal clock of the tuner, Hz."""
        clock_hz, tuner_hz = ctypes.c_uint(), ctypes.c_uint()
        code = self._calls.rtlsdr_get_xtal_freq(
            self._live(), ctypes.byref(clock_hz), ctypes.byref(tuner_hz)
        )
        self._check(code, "reading its clock")
        return float(tuner_hz.value)

    def gains_db(self) -> tuple[float, ...]:
        """Steps of the tuner's gain, dB, from low to high."""
        tenths = (ctypes.c_int * _MOST_GAINS)()
        count = self._check(
            self._calls.rtlsdr_get_tuner_gains(self._live(), tenths), "reading its gains"
        )
        return tuple(sorted(value / 10 for value in tenths[:count]))

    def set_rate(self, rate_hz: int) -> None:
        """Set the sample rate, Hz."""
        with quiet():  # it tells the exact rate, which `calib.tuner` knows
            code = self._calls.rtlsdr_set_sample_rate(self._live(), rate_hz)
        self._check(code, f"setting the rate to {rate_hz} Hz")

    def set_bandwidth(self, bandwidth_hz: int) -> None:
        """Set the tuner's filter, Hz."""
        applied_hz = ctypes.c_uint32()
        code = self._calls.rtlsdr_set_and_get_tuner_bandwidth(
            self._live(), bandwidth_hz, ctypes.byref(applied_hz), 1
        )
        # The wrapper declares the result unsigned; zero is the only success.
        self._check(ctypes.c_int32(code).value, f"setting the bandwidth to {bandwidth_hz} Hz")

    def set_direct_sampling(self, way: int) -> None:
        """0 off, 1 the I input, 2 the Q input."""
        with quiet():
            code = self._calls.rtlsdr_set_direct_sampling(self._live(), way)
        self._check(code, "setting direct sampling")

    def set_center(self, request_hz: int) -> None:
        """Set the frequency, Hz."""
        code = self._calls.rtlsdr_set_center_freq(self._live(), request_hz)
        self._check(code, f"tuning to {request_hz / 1e6:g} MHz")

    def set_gain(self, gain_db: float | None) -> None:
        """Set the tuner's gain to one of its steps, dB; None leaves it to the tuner."""
        manual = gain_db is not None
        code = self._calls.rtlsdr_set_tuner_gain_mode(self._live(), int(manual))
        self._check(code, "setting the gain's mode")
        if gain_db is not None:
            code = self._calls.rtlsdr_set_tuner_gain(self._live(), round(gain_db * 10))
            self._check(code, f"setting the gain to {gain_db:g} dB")

    def freeze_if(self, step: int | None) -> None:
        """Hold the IF amplifier at a step (-12 dB + 3.5 dB each), or None: leave it automatic."""
        mode = 0 if step is None else _IF_FROZEN + step
        code = self._calls.rtlsdr_set_tuner_if_mode(self._live(), mode)
        self._check(code, "holding the IF amplifier")

    def set_digital_gain_control(self, on: bool) -> None:
        """The demodulator's own gain loop."""
        code = self._calls.rtlsdr_set_agc_mode(self._live(), int(on))
        self._check(code, "setting the digital gain control")

    def set_bias_supply(self, on: bool) -> None:
        """Direct voltage on the antenna socket."""
        self._check(
            self._calls.rtlsdr_set_bias_tee(self._live(), int(on)), "switching the bias supply"
        )

    def reset_buffer(self) -> None:
        """Throw away what waits in the dongle."""
        self._check(self._calls.rtlsdr_reset_buffer(self._live()), "emptying its buffer")

    def read_async(self, callback: Any, *, buffers: int, buffer_bytes: int) -> int:
        """Call `callback` (made with the driver's callback type) with samples till `cancel_async`.

        Returns the driver's code, which tells nothing reliable of why it ended.
        """
        return int(
            self._calls.rtlsdr_read_async(self._live(), callback, None, buffers, buffer_bytes)
        )

    def cancel_async(self) -> None:
        """Ask `read_async` to end; it may not have begun, so ask again till it has."""
        if self._device:
            self._calls.rtlsdr_cancel_async(self._device)

    def close(self) -> None:
        """Let go of the device; harmless when called twice. No read may be under way: the driver
        would wait for it, for ever."""
        with quiet():
            if device := self._device:
                # Forgotten first: closed twice, it would be freed twice. Python looks for Ctrl-C
                # after the call, not between these two.
                self._device = _NOTHING
                self._calls.rtlsdr_close(device)

    def _live(self) -> Any:
        if not self._device:
            raise SourceError("the dongle was closed; open it again")
        return self._device

    def _check(self, code: int, doing: str) -> int:
        if code < 0:
            raise CallFailedError(code, doing)
        return code
