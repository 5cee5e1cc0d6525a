"""What the user says of a recording, and how it is weighed against what the file says."""

from dataclasses import dataclass
from math import isfinite

from sniff.errors import UsageError
from sniff.model import Caution
from sniff.sources.recording.datatypes import Datatype, find_datatype
from sniff.units import format_frequency

_LARGEST_HZ = 1e12  # the SigMF schema's bound for rates and frequencies


def rate_fault(rate_hz: float) -> str | None:
    """What is wrong with a sample rate; None when nothing is."""
    if isfinite(rate_hz) and 1.0 <= rate_hz <= _LARGEST_HZ:
        return None
    return f"a sample rate of {rate_hz:g} Hz makes no sense"


def center_fault(center_hz: float) -> str | None:
    """What is wrong with a centre frequency; None when nothing is."""
    if isfinite(center_hz) and 0.0 < center_hz <= _LARGEST_HZ:
        return None
    return f"a centre of {center_hz:g} Hz makes no sense"


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """The user's options, checked on construction.

    Attributes
    ----------
    datatype : Datatype or None
    rate_hz, center_hz : float or None
    on_the_air : bool
        Whether the centre is one on the air, ahead of what a file says lay ahead, or what the
        receiver heard.

    Raises
    ------
    UsageError
        When a rate or centre is not a positive, finite frequency.
    """

    datatype: Datatype | None = None
    rate_hz: float | None = None
    center_hz: float | None = None
    on_the_air: bool = True

    def __post_init__(self) -> None:
        fault = None
        if self.rate_hz is not None and (fault := rate_fault(self.rate_hz)):
            raise UsageError(f"{fault}; write for example --rate 2.4M")
        if self.center_hz is not None and (fault := center_fault(self.center_hz)):
            raise UsageError(f"{fault}; write for example --center 83.6M")


def read_given(
    *,
    datatype: str | None,
    rate_hz: float | None,
    center_hz: float | None,
    on_the_air: bool = True,
) -> Given:
    """Check the options of a command.

    Raises
    ------
    UsageError
        When one of them cannot be.
    """
    try:
        found = None if datatype is None else find_datatype(datatype.lower())
    except ValueError as error:
        raise UsageError(str(error)) from None
    return Given(datatype=found, rate_hz=rate_hz, center_hz=center_hz, on_the_air=on_the_air)


def overridden(what: str, *, said: str, used: str) -> Caution:
    """The caution that goes with a value used against what the file says."""
    return Caution(
        code=f"{what}-overridden", text=f"{what}: the file says {said}; {used} is used as asked"
    )


def overridden_hz(what: str, *, said_hz: float, used_hz: float) -> Caution:
    """The same for a rate or a centre."""
    said, used = format_frequency(said_hz), format_frequency(used_hz)
    if said == used:  # they differ by less than is shown
        said, used = f"{said_hz!r} Hz", f"{used_hz!r} Hz"
    return overridden(what, said=said, used=used)
