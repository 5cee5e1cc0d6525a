"""``sniff plan``."""

from typing import Any

import click

from sniff.cli.options import FREQUENCY, json_option, stack
from sniff.cli.plan_options import plan_options

_more_options = stack(
    click.option("--channel", type=int, metavar="N", help="Channel number, in place of --carrier."),
    click.option("--channel-base", type=FREQUENCY, help="Carrier of the first channel."),
    click.option("--channel-step", type=FREQUENCY, help="Distance from one channel to the next."),
    click.option(
        "--channel-first",
        type=int,
        default=1,
        show_default=True,
        metavar="N",
        help="Number of the channel that lies on --channel-base.",
    ),
    click.option(
        "--crystal",
        type=FREQUENCY,
        help="What stands on the crystal, in place of --carrier: which carrier does it give?",
    ),
    click.option(
        "--multiples",
        type=int,
        metavar="N",
        help="List multiples of crystal and second LO up to the Nth.",
    ),
    click.option(
        "--seen",
        multiple=True,
        metavar="LINE",
        help="A line seen at a working set, such as 83.6M, lo=83.6M or crystal=27.8667M±40, with U "
        "(k = 2) after the ±. Give two or more, or one and --carrier: which set is it?",
    ),
    click.option(
        "--u-ppm",
        type=click.FloatRange(min=0, max=1000),
        metavar="PPM",
        help="Standard uncertainty (k = 1) of the clock by which lines without ± were read.",
    ),
    click.option(
        "--sibling-carrier",
        type=FREQUENCY,
        help="Carry the plan, or the best one for the lines seen, to this carrier.",
    ),
    json_option,
    click.option("--quiet", is_flag=True, help="No cautions on stderr."),
)


@click.command()
@plan_options
@_more_options
def plan(**given: Any) -> None:
    """Which lines should exist; or the IF and side from lines seen.

    Lines of a set, and the crystal it needs:

    \b
    sniff plan --carrier 72.9M --if 10.7M --side high --multiplier 3

    The carrier that goes with the marking of a crystal:

    \b
    sniff plan --crystal 17.645M --multiplier 9 --if 10.7M --side low

    What a working set is by its lines, and what its sibling should show:

    \b
    sniff plan --seen carrier=72.9M --seen 83.6M --sibling-carrier 74.7M
    """
    from sniff.cli.planning import answer
    from sniff.report.envelope import envelope
    from sniff.report.plan_text import print_plan
    from sniff.report.text import say_cautions

    found = answer(given)
    if given["as_json"]:
        click.echo(envelope("plan", found.result, cautions=found.cautions))
    else:
        print_plan(found.result)
    if not given["quiet"]:
        say_cautions(found.cautions)
