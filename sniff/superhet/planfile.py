"""A plan in TOML: the frequencies of a set as its owner writes them down.

carrier = "72.9M"           # or crystal = "27.8667M", or a [channel] table
if = "10.7M"                # leave out for a transmitter
side = "high"
second_if = "455k"          # dual conversion
second_side = "low"
multiplier = 3
tolerance = "50ppm"         # ppm: of the crystal; hertz: of the carrier

[channel]
base = "72.1M"              # carrier of channel `first`, which is 1 unless given
step = "200k"
number = 5
"""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from sniff.checked_toml import Allowed, Hertz, Table, load
from sniff.errors import InputError, UsageError
from sniff.superhet.crystal import stated_carrier_hz
from sniff.superhet.plan import Channel, Plan, Side

_LARGEST_BYTES = 1_000_000
"""A plan is a few lines; more is some other file."""

_Frequency = Annotated[Hertz, Field(gt=0)]
_Count = Annotated[int, Field(ge=1, strict=True)]


class _ChannelTable(Table):
    base: _Frequency
    step: _Frequency
    number: Annotated[int, Field(strict=True)]
    first: Annotated[int, Field(strict=True)] = 1


class PlanTable(Table):
    """A plan's keys, as a file of its own or as a table of a larger one has them."""

    carrier: _Frequency | None = None
    crystal: _Frequency | None = None
    channel: _ChannelTable | None = None
    if_: Annotated[_Frequency | None, Field(alias="if")] = None
    side: Side | None = None
    second_if: _Frequency | None = None
    second_side: Side | None = None
    multiplier: _Count | None = None
    highest_multiple: _Count | None = None
    tolerance: Allowed | None = None


def parse_plan(text: str, *, name: str) -> Plan:
    """Read a plan from TOML.

    Parameters
    ----------
    text : str
        The TOML.
    name : str
        What to call it in an error, usually its path.

    Raises
    ------
    InputError
        On bad TOML, an unknown key, a wrong unit or a missing word, naming the line where one
        line is to blame; and on frequencies that do not go together.
    """
    table = load(text, PlanTable, name=name)
    try:
        return plan_of(table)
    except UsageError as error:
        raise InputError(f"{name}: {error}") from None


def read_plan(path: Path) -> Plan:
    """Read a plan from a TOML file.

    Raises
    ------
    InputError
        When the file cannot be read as text, and as `parse_plan`.
    """
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except OSError as error:
        raise InputError(f"plan {path} cannot be read: {error.strerror}") from None
    if len(data) > _LARGEST_BYTES:
        raise InputError(f"plan {path} is larger than a megabyte; is it a recording?")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"plan {path} is not text in UTF-8; is it a recording?") from None
    return parse_plan(text, name=str(path))


def plan_of(table: PlanTable) -> Plan:
    """The plan that a table states.

    Raises
    ------
    UsageError
        When its frequencies do not go together.
    """
    channel = None
    if table.channel is not None:
        channel = Channel(
            base_hz=table.channel.base,
            step_hz=table.channel.step,
            number=table.channel.number,
            first=table.channel.first,
        )
    carrier_hz = stated_carrier_hz(
        carrier_hz=table.carrier,
        channel=channel,
        crystal_hz=table.crystal,
        multiplier=table.multiplier,
        if_hz=table.if_,
        side=table.side,
    )
    return Plan(
        carrier_hz=carrier_hz,
        if_hz=table.if_,
        side=table.side,
        second_if_hz=table.second_if,
        second_side=table.second_side,
        multiplier=table.multiplier,
        tolerance=table.tolerance,
        highest_multiple=table.highest_multiple,
    )
