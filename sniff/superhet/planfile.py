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

[[places]]                  # where on the board a loop can be held
name = "feed B"
carrier = "74.5M"           # of its channel, in a set of several; else the plan's

[[places.lines]]            # what must be there; the names are those of `sniff plan`
name = "LO"
level = "-43dBFS"           # what a good set shows there, at the same gain; may be left out
within = "6dB"              # so much weaker it may be; else by what placing the loop explains
"""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from sniff.checked_toml import Allowed, Decibels, Hertz, Level, Table, load, place_in
from sniff.errors import InputError, UsageError
from sniff.superhet.at_place import check_places
from sniff.superhet.crystal import stated_carrier_hz
from sniff.superhet.place import PlacedLine, PlaceError, PlannedPlace, told_at
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


class _LineTable(Table):
    name: str
    level: Level | None = None
    within: Annotated[Decibels | None, Field(ge=0)] = None


class _PlaceTable(Table):
    name: str
    carrier: _Frequency | None = None
    lines: tuple[_LineTable, ...]


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
    places: tuple[_PlaceTable, ...] = ()


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
    return checked_plan(load(text, PlanTable, name=name), text=text, name=name)


def checked_plan(table: PlanTable, *, text: str, name: str, under: tuple[str, ...] = ()) -> Plan:
    """The plan that a table states, its mistakes named by where they stand in the text.

    Parameters
    ----------
    table : PlanTable
    text, name : str
        The TOML from which it comes, and what to call that.
    under : tuple of str
        Names of the tables in which the plan's keys lie.

    Raises
    ------
    InputError
        When frequencies or places do not go together.
    """
    within = "".join(f"{key}: " for key in under)
    try:
        return plan_of(table)
    except PlaceError as error:
        where = place_in(text, [*under, *error.path], name=name)
        raise InputError(f"{where}: {within}{error}") from None
    except UsageError as error:
        raise InputError(f"{name}: {within}{error}") from None


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
    PlaceError
        When a place cannot be.
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
    plan = Plan(
        carrier_hz=carrier_hz,
        if_hz=table.if_,
        side=table.side,
        second_if_hz=table.second_if,
        second_side=table.second_side,
        multiplier=table.multiplier,
        tolerance=table.tolerance,
        highest_multiple=table.highest_multiple,
        places=tuple(_place(place, number) for number, place in enumerate(table.places)),
    )
    check_places(plan)
    return plan


def _place(table: _PlaceTable, number: int) -> PlannedPlace:
    with told_at("places", number):
        lines = tuple(_line(line, at) for at, line in enumerate(table.lines))
        return PlannedPlace(name=table.name, lines=lines, carrier_hz=table.carrier)


def _line(table: _LineTable, number: int) -> PlacedLine:
    with told_at("lines", number):
        return PlacedLine(name=table.name, level_dbfs=table.level, within_db=table.within)
