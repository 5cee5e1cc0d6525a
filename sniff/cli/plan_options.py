"""Options that say how a set's frequencies hang together, and the plan they make."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sniff.cli.options import FREQUENCY, TOLERANCE, stack
from sniff.errors import UsageError

if TYPE_CHECKING:
    from sniff.superhet.plan import Plan

_SIDES = click.Choice(["low", "high"])

set_options: Callable[[Any], Any] = stack(
    click.option(
        "--if", "if_hz", type=FREQUENCY, help="Intermediate frequency; a transmitter has none."
    ),
    click.option("--side", type=_SIDES, help="Side of the carrier on which the LO lies."),
    click.option(
        "--multiplier",
        type=int,
        metavar="N",
        help="LO (of a transmitter: carrier) over crystal: 3 for a tripler.",
    ),
    click.option("--second-if", type=FREQUENCY, help="Second IF of a dual-conversion set."),
    click.option("--second-side", type=_SIDES, help="Side of the second LO."),
    click.option(
        "--tolerance",
        type=TOLERANCE,
        help="How far off it may be: 50ppm of the crystal, or 5kHz of the carrier.",
    ),
)

plan_options: Callable[[Any], Any] = stack(
    click.option(
        "--plan",
        "plan_file",
        type=click.Path(dir_okay=False, path_type=Path),
        metavar="FILE",
        help="A plan in TOML, in place of --carrier to --tolerance.",
    ),
    click.option("--carrier", type=FREQUENCY, help="Frequency sent, or to be received."),
    set_options,
)

_WORDS = ("carrier", "if_hz", "side", "multiplier", "second_if", "second_side", "tolerance")
_FIELDS = {"carrier": "carrier_hz", "second_if": "second_if_hz"}


def plan_from(given: Mapping[str, Any]) -> "Plan":
    """The plan that the options state; what they leave open is taken from that of the job.

    Raises
    ------
    UsageError
        When neither a file nor a carrier is given, or both.
    InputError
        When the file does not hold a plan.
    """
    from sniff.superhet.plan import Plan, Side, places_moved
    from sniff.superhet.planfile import read_plan

    words = [word for word in _WORDS if given[word] is not None]
    planned: Plan | None = given.get("planned")
    if given["plan_file"] is not None:
        if words:
            name = words[0].removesuffix("_hz").replace("_", "-")
            raise UsageError(f"--plan and --{name} do not go together; write it into the plan")
        return read_plan(given["plan_file"])
    stated: dict[str, Any] = {_FIELDS.get(word, word): given[word] for word in words}
    for side in ("side", "second_side"):
        if side in stated:
            stated[side] = Side(stated[side])
    if planned is not None:
        step_hz = stated.get("carrier_hz", planned.carrier_hz) - planned.carrier_hz
        return replace(planned, places=places_moved(planned.places, step_hz), **stated)
    if given["carrier"] is None:
        raise UsageError("which set? Give --carrier (and --if, --side), or --plan FILE")
    return Plan(**stated)
