"""What a rate of drop-outs, and a repair, come to in sentences that a customer understands."""

from sniff.regularity import Bursts
from sniff.sureness import HOUR_S, Change, Improvement, RatePerHour
from sniff.units import format_at_least, format_rate, format_seconds, format_share

_FAR_S = 10_000 * HOUR_S  # beyond a year of watching nobody waits


def rate_in_words(rate: RatePerHour) -> str:
    """How often, and how sure."""
    sure = f"With {format_share(rate.confidence)} confidence it drops out no more often than "
    bound = f"{format_rate(rate.at_most, at_most=True)}, {_once_in(rate.at_most)}"
    watched = format_seconds(rate.observed_s)
    if rate.events == 0:
        return (
            f"No drop-out was seen in {watched}. {sure}{bound}. "
            "That it never will cannot be shown by watching."
        )
    return f"{_dropouts(rate.events)} in {watched}: {format_rate(rate.value)}. {sure}{bound}."


def improvement_in_words(found: Improvement) -> str:
    """Whether the repair helped, by how much at least, and what would show more."""
    sure = f"with {format_share(found.confidence)} confidence"
    counts = (
        f"{_dropouts(found.before.events).lower()} in {format_seconds(found.before.observed_s)} "
        f"before, {_dropouts(found.after.events).lower()} in "
        f"{format_seconds(found.after.observed_s)} since"
    )
    if found.change is Change.BETTER:
        text = (
            f"The repair helped: {sure} it drops out at least "
            f"{format_at_least(found.at_least_times)} times less often ({counts})."
        )
    elif found.change is Change.WORSE and found.at_most_times:
        return (
            f"It got worse: {sure} it drops out at least "
            f"{format_at_least(1.0 / found.at_most_times)} times as often ({counts})."
        )
    elif not found.before.events:
        return f"Nothing failed before, so that no repair can be shown to help ({counts})."
    else:
        text = f"Whether the repair helped cannot be said yet ({counts})."
    nearest = next((need for need in found.needs if need.more_s < _FAR_S), None)
    if nearest is None:
        return text
    goal = "that it helped" if nearest.times == 1.0 else f"{nearest.times:g} times"
    return f"{text} Another {format_seconds(nearest.more_s)} without a drop-out would show {goal}."


def bursts_in_words(found: Bursts) -> str:
    """What bursts do to all that is said of a rate."""
    return (
        f"the drop-outs come in bursts (dispersion {found.dispersion:.1f}, 1 by chance), so that "
        "every bound of the rate is too narrow: watch for several times as long as it takes from "
        "one burst to the next"
    )


def _dropouts(count: int) -> str:
    return {0: "No drop-out", 1: "1 drop-out"}.get(count, f"{count} drop-outs")


def _once_in(per_hour: float) -> str:
    return f"once in {format_seconds(HOUR_S / per_hour)} on average"
