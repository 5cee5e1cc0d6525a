"""Channel lists: the carriers that a set may be on, by name.

A TOML file holds channels one by one, rows of them, or both:

[[channels]]
name = "A1"
frequency = "72.9M"

[[rows]]
base = "446.00625M"         # of the first
step = "12.5k"
count = 16
first = 1                   # number of the first, unless it is 1
prefix = "PMR "             # before the number
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from sniff.checked_toml import Hertz, Table, load
from sniff.errors import InputError, UsageError
from sniff.units import parse_frequency

MOST_CHANNELS = 10_000

_ROW = re.compile(r"(?P<base>[^+*]+)\+(?P<step>[^+*]+)\*\s*(?P<count>[0-9]{1,6})\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One channel.

    Attributes
    ----------
    name : str
    frequency_hz : float
        Nominal, Hz.
    """

    name: str
    frequency_hz: float


_Frequency = Annotated[Hertz, Field(gt=0)]


class _One(Table):
    name: Annotated[str, Field(min_length=1)]
    frequency: _Frequency


class _Row(Table):
    base: _Frequency
    step: _Frequency
    count: Annotated[int, Field(ge=1, le=MOST_CHANNELS, strict=True)]
    first: Annotated[int, Field(strict=True)] = 1
    prefix: str = ""


class _List(Table):
    channels: tuple[_One, ...] = ()
    rows: tuple[_Row, ...] = ()


def parse_row(text: str) -> tuple[Channel, ...] | None:
    """Read ``446.00625M+12.5k*16``: base, step and count; None when the text is no such row.

    Raises
    ------
    UsageError
        When it looks like one, but its numbers cannot be.
    """
    found = _ROW.fullmatch(text)
    if found is None:
        return None
    base_hz, step_hz = parse_frequency(found["base"]), parse_frequency(found["step"])
    count = int(found["count"])
    if base_hz <= 0 or step_hz <= 0 or not 1 <= count <= MOST_CHANNELS:
        raise UsageError(
            f"channels {text!r}: base and step must be above zero, and the count 1 to "
            f"{MOST_CHANNELS}"
        )
    return _row(base_hz, step_hz, count, first=1, prefix="")


def parse_channels(text: str, *, name: str) -> tuple[Channel, ...]:
    """Read a channel list from TOML, in order of frequency.

    Parameters
    ----------
    text : str
        The TOML.
    name : str
        What to call it in an error, usually its path.

    Raises
    ------
    InputError
        When it does not say what it must, or names no channel, or one twice.
    """
    table = load(text, _List, name=name)
    made = [Channel(name=one.name, frequency_hz=one.frequency) for one in table.channels]
    for row in table.rows:
        made += _row(row.base, row.step, row.count, first=row.first, prefix=row.prefix)
    if not made:
        raise InputError(f"{name}: no channel is in it; write [[channels]] or [[rows]]")
    if len(made) > MOST_CHANNELS:
        raise InputError(f"{name}: {len(made)} channels are more than {MOST_CHANNELS}")
    names = [channel.name for channel in made]
    twice = next((each for each in names if names.count(each) > 1), None)
    if twice is not None:
        raise InputError(f"{name}: channel {twice!r} is there twice; give it another name")
    return tuple(sorted(made, key=lambda channel: channel.frequency_hz))


def nearest(channels: Sequence[Channel], frequency_hz: float) -> Channel:
    """The channel nearest to a frequency; the list must not be empty."""
    return min(channels, key=lambda channel: abs(channel.frequency_hz - frequency_hz))


def _row(
    base_hz: float, step_hz: float, count: int, *, first: int, prefix: str
) -> tuple[Channel, ...]:
    return tuple(
        Channel(name=f"{prefix}{first + number}", frequency_hz=base_hz + number * step_hz)
        for number in range(count)
    )
