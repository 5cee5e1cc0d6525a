"""Who drops out more often than the others: counts in observed time against those of all others."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from sniff.batch.fleet import Outlier
from sniff.batch.quantities import number
from sniff.batch.table import Row
from sniff.sureness import HOUR_S
from sniff.units import format_rate, format_seconds, format_times

DOUBT: Final = 0.05
"""Chance that any of a fleet of equal sets is named."""
RULE: Final = (
    f"more drop-outs than the others' rate explains, at {100 * DOUBT:g} % for all recordings "
    "together (Przyborowski and Wilenski 1940, Bonferroni)"
)
_LEAST_P: Final = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """Drop-outs of one recording.

    Attributes
    ----------
    row : int
        Of the table.
    events : int
    observed_s : float
        Time in which one would have been seen, s.
    value, low, high, at_most : float
        Per hour, with the exact bounds that the watch told.
    """

    row: int
    events: int
    observed_s: float
    value: float
    low: float
    high: float
    at_most: float


def rates(rows: Sequence[Row]) -> tuple[Rate, ...]:
    """The rates that are known, in the order of the rows."""
    found = []
    for at, row in enumerate(rows):
        value, low, high, at_most, events, observed_s = (
            number(row.get(f"rate_per_hour.{field}"))
            for field in ("value", "low", "high", "at_most", "events", "observed_s")
        )
        if value is None or low is None or high is None or at_most is None:
            continue
        if events is None or not observed_s:
            continue
        found.append(
            Rate(
                row=at,
                events=int(events),
                observed_s=observed_s,
                value=value,
                low=low,
                high=high,
                at_most=at_most,
            )
        )
    return tuple(found)


def too_frequent(found: Sequence[Rate], files: Sequence[str]) -> list[Outlier]:
    """Recordings that drop out more often than the others together.

    Were all alike, each of the drop-outs of all would fall to this one with the chance of its share
    of the observed time (Przyborowski and Wilenski, Biometrika 31, 1940). It is named when it has
    so many with a chance below 5 %, shared out among all recordings (Bonferroni).
    """
    from scipy.special import betainc, ndtri

    events = sum(rate.events for rate in found)
    time_s = sum(rate.observed_s for rate in found)
    named = []
    for rate in found:
        others_s = time_s - rate.observed_s
        if not rate.events or others_s <= 0:
            continue
        share = rate.observed_s / time_s
        chance = max(float(betainc(rate.events, events - rate.events + 1, share)), _LEAST_P)
        if chance * len(found) < DOUBT:
            others = (events - rate.events) * HOUR_S / others_s
            named.append(
                Outlier(
                    row=rate.row,
                    file=files[rate.row],
                    what="rate_per_hour.value",
                    value=rate.value,
                    typical=others,
                    score=-float(ndtri(chance)),
                    sentence=_sentence(rate, events - rate.events, others, len(found) - 1),
                    rule=RULE,
                )
            )
    return named


def _sentence(rate: Rate, others: int, others_per_hour: float, count: int) -> str:
    own = f"gone {format_times(rate.events)} in {format_seconds(rate.observed_s)}"
    rest = "the other one" if count == 1 else f"the other {count} together"
    if not others:
        return f"{own}; {rest} never"
    return f"{own}, {format_rate(rate.value)}; {rest} {format_rate(others_per_hour)}"
