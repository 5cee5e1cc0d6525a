"""Limits as data: what a user holds a transmitter against, with where it is written.

A TOML file:

title = "Radio microphones in the bench's own band"
source = "my own notes, 2026-01"
note = "check your local rules"

[[bands]]
low = "72M"
high = "76M"
tolerance = "50ppm"
deviation = "75k"
bandwidth = "200k"          # occupied, 99 %

A limit that is met is no verdict of legality: rules change, and ask for more than is measured here.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Annotated

from pydantic import Field, model_validator

from sniff.checked_toml import Allowed, Hertz, Table, load
from sniff.units import Tolerance
from sniff.verdict import Outcome, decide


class Quantity(str, Enum):
    """What is limited."""

    FREQUENCY_ERROR = "frequency error"
    DEVIATION = "peak deviation"
    BANDWIDTH = "occupied bandwidth"


class _Band(Table):
    low: Annotated[Hertz, Field(gt=0)]
    high: Annotated[Hertz, Field(gt=0)]
    tolerance: Allowed | None = None
    deviation: Annotated[Hertz | None, Field(gt=0)] = None
    bandwidth: Annotated[Hertz | None, Field(gt=0)] = None

    @model_validator(mode="after")
    def _says_something(self) -> "_Band":
        if self.low >= self.high:
            raise ValueError("low must lie below high")
        if self.tolerance is None and self.deviation is None and self.bandwidth is None:
            raise ValueError("a band needs a tolerance, a deviation or a bandwidth")
        return self


class _Limits(Table):
    title: Annotated[str, Field(min_length=1)]
    source: Annotated[str, Field(min_length=1)]
    note: str = "check your local rules"
    bands: Annotated[tuple[_Band, ...], Field(min_length=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Limits of one band; None where there is none.

    Attributes
    ----------
    low_hz, high_hz : float
        Hz.
    tolerance : Tolerance or None
        Of the carrier's frequency.
    deviation_hz, bandwidth_hz : float or None
        Largest peak deviation and occupied bandwidth, Hz.
    """

    low_hz: float
    high_hz: float
    tolerance: Tolerance | None
    deviation_hz: float | None
    bandwidth_hz: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """A set of limits.

    Attributes
    ----------
    title, source, note : str
        What it is, where it is written, and what to mind.
    bands : tuple of Band
    """

    title: str
    source: str
    note: str
    bands: tuple[Band, ...]

    def band_of(self, frequency_hz: float) -> Band | None:
        """The first band that holds a frequency."""
        return next((b for b in self.bands if b.low_hz <= frequency_hz <= b.high_hz), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One quantity held against one limit.

    Attributes
    ----------
    quantity : Quantity
    limit_hz : float
        Hz.
    measured_hz, expanded_hz : float or None
        With U (k = 2), Hz; None when it could not be measured.
    outcome : Outcome
    why : str
    """

    quantity: Quantity
    limit_hz: float
    measured_hz: float | None
    expanded_hz: float | None
    outcome: Outcome
    why: str


def parse_limits(text: str, *, name: str) -> Limits:
    """Read limits from TOML.

    Parameters
    ----------
    text : str
        The TOML.
    name : str
        What to call it in an error, usually its path.

    Raises
    ------
    InputError
        When it does not say what it must; the message names the line.
    """
    table = load(text, _Limits, name=name)
    return Limits(
        title=table.title,
        source=table.source,
        note=table.note,
        bands=tuple(
            Band(
                low_hz=band.low,
                high_hz=band.high,
                tolerance=band.tolerance,
                deviation_hz=band.deviation,
                bandwidth_hz=band.bandwidth,
            )
            for band in table.bands
        ),
    )


def hold(
    quantity: Quantity, *, limit_hz: float, measured_hz: float | None, expanded_hz: float | None
) -> Held:
    """Hold a quantity against its limit, by the rule of `sniff.verdict`."""
    if measured_hz is None:
        outcome, why = Outcome.UNDECIDED, "not measured"
    elif expanded_hz is None:
        outcome, why = Outcome.UNDECIDED, "its U is not known at this SNR"
    else:
        outcome = decide(
            error_hz=measured_hz, expanded_hz=expanded_hz, tolerance_hz=limit_hz
        ).outcome
        why = {
            Outcome.PASS: "within",
            Outcome.FAIL: "beyond",
            Outcome.UNDECIDED: "nearer to the limit than U",
        }[outcome]
    return Held(
        quantity=quantity,
        limit_hz=limit_hz,
        measured_hz=measured_hz,
        expanded_hz=expanded_hz,
        outcome=outcome,
        why=why,
    )
