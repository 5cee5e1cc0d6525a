"""What each tuner can do, and where it really goes."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from calib.tuner import (
    RTL_CLOCK_HZ,
    Tuning,
    direct_sampling_tuning,
    e4000_tuning,
    fc0012_tuning,
    fc0013_tuning,
    r82xx_filter,
    r82xx_range,
    r82xx_tuning,
    unknown_tuning,
)
from sniff.sources.dongle.handle import Handle, UsbStrings

_UPCONVERTER = ("RTLSDRBlog", "Blog V4")
"""USB maker and product by which the driver knows a dongle whose built-in converter takes all
below its clock up by its clock."""

_UPCONVERTER_LOWEST_HZ = 500e3
_UNKNOWN_RANGE_HZ = (24e6, 1.8e9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuner:
    """A tuner as the source needs to know it.

    Attributes
    ----------
    name : str
        Of its chip.
    low_if : bool
        True for an R820T or kin, whose IF amplifier can be held; others have no IF.
    has_gain : bool
        False in direct sampling.
    tuning : callable
        From a frequency asked for, Hz, to the tuning that comes of it; raises ValueError.
    range_hz : tuple of float
        Lowest and highest centre, Hz.
    width_hz : float or None
        -3 dB width of the filter set, Hz, where it is known.
    """

    name: str
    low_if: bool
    has_gain: bool
    tuning: Callable[[float], Tuning]
    range_hz: tuple[float, float]
    width_hz: float | None = None


def has_upconverter(strings: UsbStrings) -> bool:
    """Whether the dongle has a converter of its own below its clock's frequency."""
    return (strings.maker, strings.product) == _UPCONVERTER


def tuner_of(
    handle: Handle, strings: UsbStrings, *, bandwidth_hz: float, direct: bool = False
) -> Tuner:
    """The tuner of an open dongle at this bandwidth.

    Raises
    ------
    CallFailedError
        When the dongle does not answer.
    """
    kind = handle.tuner_type
    if direct or kind == 0:
        return Tuner(
            name="direct sampling",
            low_if=False,
            has_gain=False,
            tuning=direct_sampling_tuning,
            range_hz=(0.0, RTL_CLOCK_HZ / 2),
        )
    if kind in _LOW_IF:
        return _low_if(handle, _LOW_IF[kind], bandwidth_hz, upconverter=has_upconverter(strings))
    if kind in _ZERO_IF:
        name, tuning, range_hz = _ZERO_IF[kind]
        return Tuner(name=name, low_if=False, has_gain=True, tuning=tuning, range_hz=range_hz)
    return _unknown(_UNKNOWN.get(kind, f"of unknown type {kind}"), low_if=False)


_LOW_IF = {5: "R820T", 6: "R828D"}
# Ranges: DONGLE facts sheet, public reports.
_ZERO_IF: dict[int, tuple[str, Callable[[float], Tuning], tuple[float, float]]] = {
    1: ("E4000", e4000_tuning, (52e6, 2.2e9)),
    2: ("FC0012", fc0012_tuning, (22e6, 948.599999e6)),
    3: ("FC0013", fc0013_tuning, (22e6, 1.1e9)),
}
_UNKNOWN = {4: "FC2580"}


def _low_if(handle: Handle, name: str, bandwidth_hz: float, *, upconverter: bool) -> Tuner:
    if not handle.freezes_if:  # not the driver whose arithmetic is known
        return _unknown(name, low_if=True)
    clock_hz = handle.tuner_clock_hz
    lowest_hz, highest_hz = r82xx_range(bandwidth_hz=bandwidth_hz)

    def tuning(request_hz: float) -> Tuning:
        return r82xx_tuning(request_hz, bandwidth_hz=bandwidth_hz, tuner_clock_hz=clock_hz)

    return Tuner(
        name=name,
        low_if=True,
        has_gain=True,
        tuning=_upconverted(tuning) if upconverter else tuning,
        range_hz=(_UPCONVERTER_LOWEST_HZ if upconverter else lowest_hz, highest_hz),
        width_hz=r82xx_filter(bandwidth_hz)[0],
    )


def _upconverted(tuning: Callable[[float], Tuning]) -> Callable[[float], Tuning]:
    """Below its clock the driver tunes a clock higher; the centre asked for stays the user's."""

    def through_converter(request_hz: float) -> Tuning:
        if not _UPCONVERTER_LOWEST_HZ <= request_hz < RTL_CLOCK_HZ:
            return tuning(request_hz)
        up = tuning(request_hz + RTL_CLOCK_HZ)
        return replace(up, request_hz=request_hz, center_hz=up.center_hz - RTL_CLOCK_HZ)

    return through_converter


def _unknown(name: str, *, low_if: bool) -> Tuner:
    return Tuner(
        name=name, low_if=low_if, has_gain=True, tuning=unknown_tuning, range_hz=_UNKNOWN_RANGE_HZ
    )
