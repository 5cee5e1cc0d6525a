"""Words that a job's text and its report share."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sniff.superhet.plan import Plan
from sniff.units import format_frequency


def utc_minute(at: datetime | None) -> str:
    """A time in UTC to the minute."""
    return "" if at is None else f"{at:%Y-%m-%d %H:%M}"


def says_of(result: Mapping[str, Any]) -> str:
    """The sentence that goes with a result's verdict, empty where there is none."""
    for key in ("why", "sentence"):
        if isinstance(result.get(key), str) and result[key]:
            return str(result[key])
    return ""


def plan_words(plan: Plan | None) -> str:
    """A plan in one line."""
    if plan is None:
        return "none in the sheet"
    words = [f"carrier {format_frequency(plan.carrier_hz)}"]
    if plan.if_hz is not None and plan.side is not None and plan.lo_hz is not None:
        words.append(f"IF {format_frequency(plan.if_hz)}, {plan.side.value} side")
        words.append(f"LO {format_frequency(plan.lo_hz)}")
    if plan.second_if_hz is not None and plan.second_side is not None:
        words.append(f"second IF {format_frequency(plan.second_if_hz)}, {plan.second_side.value}")
    if plan.crystal_hz is not None:
        words.append(f"crystal {format_frequency(plan.crystal_hz)} times {plan.multiplier}")
    stated = "" if plan.tolerance is not None else " (assumed)"
    words.append(f"tolerance {plan.allowed}{stated}")
    if plan.places:
        words.append(f"places {', '.join(place.name for place in plan.places)}")
    return ", ".join(words)
