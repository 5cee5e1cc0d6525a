"""What should be there at one place of the board."""

from dataclasses import dataclass, replace

from sniff.errors import UsageError
from sniff.superhet.expected import Expected, expected_lines
from sniff.superhet.place import PlacedLine, PlaceError, PlannedPlace, spelt, told_at
from sniff.superhet.plan import Plan, Role

_NO_LINES = frozenset({Role.IMAGE, Role.HALF_IF, Role.SECOND_IMAGE})
"""Frequencies at which a set responds; nothing stands there by itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineThere:
    """A line, and what a good set shows of it at the place."""

    expected: Expected
    stated: PlacedLine


def place_named(plan: Plan, name: str) -> PlannedPlace | None:
    """The place of this name; None when the plan names no places at all.

    Raises
    ------
    UsageError
        When it names others.
    """
    for place in plan.places:
        if spelt(place.name) == spelt(name):
            return place
    if plan.places:
        names = ", ".join(place.name for place in plan.places)
        raise UsageError(f"the plan names no place {name!r}; it has {names}")
    return None


def lines_at(plan: Plan, place: PlannedPlace) -> tuple[LineThere, ...]:
    """The lines that must be there at a place, in the order in which it names them.

    Raises
    ------
    PlaceError
        When the plan has no such line.
    """
    carrier_hz = plan.carrier_hz if place.carrier_hz is None else place.carrier_hz
    try:
        channel = replace(plan, carrier_hz=carrier_hz, places=())
    except UsageError as error:
        raise PlaceError(str(error), "carrier") from None
    known = {
        spelt(line.name): line for line in expected_lines(channel) if line.role not in _NO_LINES
    }
    there = []
    for number, stated in enumerate(place.lines):
        line = known.get(spelt(stated.name))
        if line is None:
            names = ", ".join(each.name for each in known.values())
            raise PlaceError(
                f"{place.name} cannot expect {stated.name!r}; the plan has {names}",
                "lines",
                number,
                "name",
            )
        there.append(LineThere(expected=replace(line, wanted=True), stated=stated))
    return tuple(there)


def check_places(plan: Plan) -> None:
    """Refuse places that expect what the plan does not have.

    Raises
    ------
    PlaceError
        With the path from the plan on.
    """
    for number, place in enumerate(plan.places):
        with told_at("places", number):
            lines_at(plan, place)
