"""The work of ``sniff plan``: which of the three questions the options ask."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from calib.correction import Correction
from sniff.cli.plan_options import plan_from
from sniff.errors import UsageError
from sniff.superhet.crystal import stated_carrier_hz
from sniff.superhet.plan import Channel, Side, carry
from sniff.superhet.planning import PlanAnswer, crystal_carriers, infer_plan, plan_lines
from sniff.superhet.seen import parse_seen


def answer(given: Mapping[str, Any]) -> PlanAnswer:
    """Ask the question that the options state.

    Raises
    ------
    UsageError
        When options do not go together, or the numbers cannot be.
    InputError
        When a plan file does not hold a plan.
    """
    if given["seen"]:
        return _which_set(given)
    _refuse(given, ("u_ppm",), "belongs to --seen")
    if given["plan_file"] is not None:
        others = ("crystal", "channel", "channel_base", "channel_step", "multiples")
        _refuse(given, others, "does not go with --plan; write it into the plan")
    if given["crystal"] is not None and given["multiplier"] is None:
        return _which_carrier(given)
    plan = plan_from(_with_carrier(given))
    if given["multiples"] is not None:
        plan = replace(plan, highest_multiple=given["multiples"])
    if given["sibling_carrier"] is not None:
        plan = carry(plan, given["sibling_carrier"])
    return plan_lines(plan)


def _which_set(given: Mapping[str, Any]) -> PlanAnswer:
    found_out = ("side", "second_if", "second_side", "multiples", "plan_file")
    _refuse(given, found_out, "does not go with --seen, which finds the set out")
    _refuse(given, ("crystal",), "does not go with --seen; say --seen crystal=... instead")
    u_ppm = Correction.unknown_dongle().u_ppm if given["u_ppm"] is None else given["u_ppm"]
    return infer_plan(
        [parse_seen(text, u_clock_ppm=u_ppm) for text in given["seen"]],
        carrier_hz=_with_carrier(given)["carrier"],
        if_hz=given["if_hz"],
        multiplier=given["multiplier"],
        tolerance=given["tolerance"],
        sibling_carrier_hz=given["sibling_carrier"],
    )


def _which_carrier(given: Mapping[str, Any]) -> PlanAnswer:
    others = ("carrier", "channel", "channel_base", "channel_step", "plan_file")
    _refuse(given, others, "does not go with --crystal; give one of them")
    needs_multiplier = ("second_if", "second_side", "multiples", "sibling_carrier")
    _refuse(given, needs_multiplier, "needs --multiplier besides --crystal")
    return crystal_carriers(
        given["crystal"],
        if_hz=given["if_hz"],
        side=None if given["side"] is None else Side(given["side"]),
        tolerance=given["tolerance"],
    )


def _with_carrier(given: Mapping[str, Any]) -> Mapping[str, Any]:
    """The options with the carrier that channel or crystal stand for."""
    channel = _channel(given)
    if channel is None and given["crystal"] is None:
        return given
    carrier_hz = stated_carrier_hz(
        carrier_hz=given["carrier"],
        channel=channel,
        crystal_hz=given["crystal"],
        multiplier=given["multiplier"],
        if_hz=given["if_hz"],
        side=None if given["side"] is None else Side(given["side"]),
    )
    return {**given, "carrier": carrier_hz}


def _channel(given: Mapping[str, Any]) -> Channel | None:
    words = [given[word] for word in ("channel", "channel_base", "channel_step")]
    if all(word is None for word in words):
        return None
    if any(word is None for word in words):
        raise UsageError("--channel, --channel-base and --channel-step go together; give all three")
    return Channel(
        base_hz=given["channel_base"],
        step_hz=given["channel_step"],
        number=given["channel"],
        first=given["channel_first"],
    )


def _refuse(given: Mapping[str, Any], words: Iterable[str], why: str) -> None:
    for word in words:
        if given[word] is not None:
            option = word.removesuffix("_hz").removesuffix("_file").replace("_", "-")
            raise UsageError(f"--{option} {why}")
