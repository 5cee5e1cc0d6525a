"""Open a dongle as the user wants it."""

from math import isfinite
from typing import Literal

from calib.tuner import resampler_rate
from sniff.errors import UsageError
from sniff.sources.dongle.library import load_driver
from sniff.sources.dongle.link import Settings
from sniff.sources.dongle.session import Session
from sniff.sources.dongle.settling import SettlingRule
from sniff.sources.dongle.source import DongleSource

DEFAULT_STALL_S = 3.0
_USABLE_FRACTION = 0.8


def open_dongle(
    serial: str | None,
    *,
    rate_hz: float,
    center_hz: float,
    gain: float | Literal["auto", "best"],
    bandwidth_hz: float | None = None,
    direct: Literal["i", "q"] | None = None,
    bias_supply: bool = False,
    wait: bool = False,
    stall_s: float = DEFAULT_STALL_S,
    rule: SettlingRule | None = None,
) -> DongleSource:
    """Open a dongle, set it, and let it send.

    The driver's own ppm setting stays at 0: `calib.correction` does that, exactly.

    Parameters
    ----------
    serial : str or None
        Serial number; or the number in the list of dongles, when it has at most two digits and is
        nobody's serial number; None for the only dongle there is.
    rate_hz : float
        Sample rate, Hz.
    center_hz : float
        Centre, Hz.
    gain : float, "auto" or "best"
        dB, set to the nearest step, with the IF amplifier held; left to the tuner, with levels that
        cannot be compared; or the largest that neither clips nor compresses at this centre.
    bandwidth_hz : float, optional
        Of the tuner's filter, Hz; by default four fifths of the rate, so that what lies beyond the
        span does not fold into it.
    direct : "i" or "q", optional
        Leave the tuner out, and hear 0 ... 14.4 MHz by this input of the converter.
    bias_supply : bool
        Direct voltage on the antenna socket, till it is closed.
    wait : bool
        When the dongle goes away during a stream, wait for it to come back.
    stall_s : float
        So long may nothing come, s.
    rule : SettlingRule, optional
        What is passed over after opening and after each change.

    Raises
    ------
    UsageError
        When the rate is none that the chip can do, or another number makes no sense.
    SourceError
        When the dongle is not there, held by another, cannot be tuned there, or fails.
    """
    name = "dongle" if serial is None else f"dongle:{serial}"
    try:
        made_hz = resampler_rate(rate_hz)
    except ValueError as error:
        raise UsageError(f"{name}: {error}") from None
    width_hz = _USABLE_FRACTION * rate_hz if bandwidth_hz is None else bandwidth_hz
    if not isfinite(width_hz) or width_hz < 1:
        raise UsageError(f"{name}: a bandwidth of {width_hz:g} Hz makes no sense")
    if not isfinite(center_hz) or center_hz < 0:
        raise UsageError(f"{name}: {center_hz:g} Hz is not a frequency")
    if not isinstance(gain, str) and not isfinite(gain):
        raise UsageError(f"{name}: gain {gain} dB is not a number")
    settings = Settings(
        rate_hz=int(rate_hz),
        bandwidth_hz=round(width_hz),
        request_hz=round(center_hz),
        gain_db=None if isinstance(gain, str) else gain,
        direct=direct,
        bias_supply=bias_supply,
    )
    session = Session(load_driver(), serial, settings, made_hz=made_hz, stall_s=stall_s, name=name)
    try:
        source = DongleSource(session, name=name, wait=wait, rule=rule or SettlingRule())
        if gain == "best":
            source.find_gain()
    except BaseException:  # Ctrl-C too must not leave it open
        session.close()
        raise
    return source
