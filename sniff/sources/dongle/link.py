"""A dongle that is opened, set and read: it works or is dropped, never mended."""

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from calib.tuner import Tuning
from sniff.errors import SourceError
from sniff.sources.dongle.devices import find_dongle
from sniff.sources.dongle.faults import CallFailedError, gone, stalled
from sniff.sources.dongle.gain import nearest_step_db
from sniff.sources.dongle.handle import Handle, UsbStrings
from sniff.sources.dongle.library import Driver, quiet
from sniff.sources.dongle.reader import QUEUE_BYTES, Reader
from sniff.sources.dongle.tuners import Tuner, has_upconverter, tuner_of

IF_STEP = 8
"""Where the IF amplifier is held: 16 dB, as other drivers do when the gain is set by hand."""

_DIRECT_WAYS = {"i": 1, "q": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All that a fresh handle has to be told.

    Attributes
    ----------
    rate_hz, bandwidth_hz, request_hz : int
        Sample rate, filter and centre, Hz, as asked of the driver.
    gain_db : float or None
        Of the tuner; None for automatic.
    direct : str or None
        Input of direct sampling, ``i`` or ``q``.
    bias_supply : bool
        Direct voltage on the antenna socket.
    """

    rate_hz: int
    bandwidth_hz: int
    request_hz: int
    gain_db: float | None
    direct: Literal["i", "q"] | None = None
    bias_supply: bool = False


class Link:
    """A dongle on its way from `open` to `close`.

    Parameters
    ----------
    driver : Driver
    settings : Settings
    made_hz : float
        Sample rate that the resampler makes of the one asked for, Hz.
    name : str
        As the user wrote it.
    queue_bytes : int
        As `reader.QUEUE_BYTES`.
    """

    tuner: Tuner
    strings: UsbStrings
    gains_db: tuple[float, ...]
    tuning: Tuning

    def __init__(
        self,
        driver: Driver,
        settings: Settings,
        *,
        made_hz: float,
        name: str,
        queue_bytes: int = QUEUE_BYTES,
    ) -> None:
        self._driver = driver
        self._settings = settings
        self._name = name
        self._handle = Handle(driver)
        self.reader = Reader(
            self._handle, driver.callback_type, rate_hz=made_hz, queue_bytes=queue_bytes
        )

    def open(self, wanted: str | None, *, first_index: Callable[[], int], stall_s: float) -> None:
        """Open, set, and wait till it sends. `close` it, whether this succeeds or not.

        Parameters
        ----------
        wanted : str or None
            See `find_dongle`.
        first_index : callable
            Tells the number of its first sample, when that is about to be made.
        stall_s : float
            So long may nothing come.

        Raises
        ------
        SourceError
            When it cannot be opened, or cannot be tuned there.
        CallFailedError
            When it fails while it is being set.
        """
        settings = self._settings
        index, self.strings = find_dongle(self._driver, wanted, name=self._name)
        if settings.direct is not None and has_upconverter(self.strings):
            raise SourceError(
                f"{self._name}: this dongle has no direct sampling, and needs none: its own "
                "converter takes it down to 0.5 MHz; leave --direct out"
            )
        self._handle.open(index, name=self._name)
        self.tuner = tuner_of(
            self._handle,
            self.strings,
            bandwidth_hz=settings.bandwidth_hz,
            direct=settings.direct is not None,
        )
        self.gains_db = self._handle.gains_db() if self.tuner.has_gain else ()
        self.tuning = tuning_at(self.tuner, settings.request_hz, name=self._name)
        self._set_all()
        with quiet():  # the driver tells how it allocates its buffers
            self.reader.start(first_index())
            came = self.reader.wait_first(stall_s)
        if not came:
            ended = self.reader.ended
            raise gone(self._name) if ended else stalled(self._name, stall_s)

    def tune(self, request_hz: int) -> None:
        """Set the centre; see `tuning`."""
        tuning = tuning_at(self.tuner, request_hz, name=self._name)
        self._handle.set_center(request_hz)
        self.tuning = tuning

    def set_gain(self, gain_db: float | None) -> None:
        """Set the tuner's gain to the nearest of its steps; None for automatic.

        By hand, the IF amplifier is held as well: under its own loop every level would follow the
        sum of all that is heard.
        """
        if not self.tuner.has_gain:
            return
        if self.tuner.low_if and self._handle.freezes_if:
            self._handle.freeze_if(None if gain_db is None else IF_STEP)
        self._handle.set_gain(None if gain_db is None else nearest_step_db(self.gains_db, gain_db))

    def close(self) -> None:
        """Stop and close; harmless when called twice."""
        if not self.reader.stop():
            return  # the driver never came back: closing now would free what it still uses
        if self._settings.bias_supply:
            # Where that fails the dongle is gone, and the voltage with it.
            with contextlib.suppress(CallFailedError, SourceError):
                self._handle.set_bias_supply(False)
        self._handle.close()

    def _set_all(self) -> None:
        """In the order that the driver's state needs: the IF follows from rate and bandwidth."""
        settings = self._settings
        self._handle.set_rate(settings.rate_hz)
        self._handle.set_bandwidth(settings.bandwidth_hz)
        if settings.direct is not None:
            self._handle.set_direct_sampling(_DIRECT_WAYS[settings.direct])
        self._handle.set_digital_gain_control(False)
        self.set_gain(settings.gain_db)
        if settings.bias_supply:
            self._handle.set_bias_supply(True)
        self._handle.set_center(settings.request_hz)
        self._handle.reset_buffer()


def tuning_at(tuner: Tuner, request_hz: int, *, name: str) -> Tuning:
    """What comes of a request.

    Raises
    ------
    SourceError
        When the tuner cannot reach it, with the way out where there is one.
    """
    try:
        return tuner.tuning(request_hz)
    except ValueError as error:
        hint = ""
        if tuner.has_gain and request_hz < tuner.range_hz[0]:
            hint = (
                "; below it some dongles hear by direct sampling (--direct q), others need a "
                "converter"
            )
        raise SourceError(f"{name}: {error}{hint}") from None
