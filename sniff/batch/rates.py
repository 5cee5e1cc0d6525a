"""Who drops out more often than the others: counts in observed time against those of all others."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

from sniff.batch.bursts import Clumps, are_told_apart, come_in_bursts
from sniff.batch.fleet import Outlier
from sniff.batch.quantities import number
from sniff.batch.table import Row
from sniff.model import Caution
from sniff.sureness import HOUR_S
from sniff.units import format_rate, format_seconds, format_times

DOUBT: Final = 0.05
"""Chance that any of a fleet of equal sets is named."""
_BY: Final = (
    f"than the others' rate explains, each coming by itself, at {100 * DOUBT:g} % for all "
    "recordings together (Przyborowski and Wilenski 1940, Bonferroni)"
)
RULE: Final = f"more drop-outs {_BY}"
BURSTS_RULE: Final = f"more bursts of drop-outs {_BY}"
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
    clumps : Clumps or None
        How they lie in its time; None where that is not known.
    """

    row: int
    events: int
    observed_s: float
    value: float
    low: float
    high: float
    at_most: float
    clumps: Clumps | None = None

    @property
    def bursts(self) -> int:
        """Bursts; as many as drop-outs where it is not known how they lie."""
        return self.events if self.clumps is None else self.clumps.count


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
                clumps=_clumps(row),
            )
        )
    return tuple(found)


def _clumps(row: Row) -> Clumps | None:
    count, doubtful, chi2, degrees = (
        number(row.get(f"bursts.{field}")) for field in ("count", "doubtful", "chi2", "degrees")
    )
    if count is None or doubtful is None or chi2 is None or degrees is None:
        return None
    return Clumps(count=int(count), doubtful=int(doubtful), chi2=chi2, degrees=int(degrees))


class _Counted(Enum):
    """What of a fleet's drop-outs comes by itself, and so can be counted."""

    DROPOUTS = "drop-outs"
    BURSTS = "bursts"
    NEITHER = "neither"


def _counted(found: Sequence[Rate]) -> _Counted:
    clumps = [rate.clumps for rate in found if rate.clumps is not None]
    if not come_in_bursts(clumps):
        return _Counted.DROPOUTS
    return _Counted.BURSTS if are_told_apart(clumps) else _Counted.NEITHER


def burst_cautions(found: Sequence[Rate]) -> list[Caution]:
    """What bursts do to the question who drops out more often."""
    counted = _counted(found)
    if len(found) < 2 or counted is _Counted.DROPOUTS:
        return []
    events, bursts = (
        sum(each) for each in zip(*((r.events, r.bursts) for r in found), strict=True)
    )
    if counted is _Counted.BURSTS:
        text = (
            f"the drop-outs come in bursts, {events} in {_bursts(bursts)}: who drops out more "
            "often than the others is told by bursts, of which each counts once"
        )
    else:
        text = (
            "the drop-outs come in bursts that run into each other: nobody is named for dropping "
            "out more often, since chance alone gives one set many and the next none; watch longer"
        )
    return [Caution(code="bursts", text=text)]


def too_frequent(found: Sequence[Rate], files: Sequence[str]) -> list[Outlier]:
    """Recordings that drop out more often than the others together, the worst first.

    Were all alike, each of the drop-outs of all would fall to this one with the chance of its share
    of the observed time (Przyborowski and Wilenski, Biometrika 31, 1940). It is named when it has
    so many with a chance below 5 %, shared out among all recordings (Bonferroni). Then the rest are
    asked again without it, lest one very bad set hide the next (a step-down test). Where drop-outs
    come in bursts, these are counted; where bursts cannot be told apart, nobody is named.
    """
    from scipy.special import betainc, ndtri

    counted = _counted(found)
    if counted is _Counted.NEITHER:
        return []
    by_bursts = counted is _Counted.BURSTS
    counts = {rate.row: rate.bursts if by_bursts else rate.events for rate in found}
    left = list(found)
    named: list[Outlier] = []
    while len(left) > 1:
        events = sum(counts[rate.row] for rate in left)
        time_s = sum(rate.observed_s for rate in left)

        def chance_of(rate: Rate, events: int = events, time_s: float = time_s) -> float:
            """Of as many or more, were it like the others."""
            count = counts[rate.row]
            if not count or rate.observed_s >= time_s:
                return 1.0
            return float(betainc(count, events - count + 1, rate.observed_s / time_s))

        worst = min(left, key=chance_of)
        chance = chance_of(worst)
        if chance * len(found) >= DOUBT:
            break
        left.remove(worst)
        others_s = time_s - worst.observed_s
        others = sum(rate.events for rate in left)
        rest = "the other one" if len(left) == 1 else f"the other {len(left)} together"
        if named:
            rest = f"{rest}, without those worse," if len(left) > 1 else "the one left"
        named.append(
            Outlier(
                row=worst.row,
                file=files[worst.row],
                what="rate_per_hour.value",
                value=worst.value,
                typical=others * HOUR_S / others_s,
                score=-float(ndtri(max(chance, _LEAST_P))),
                sentence=_sentence(
                    worst, events - counts[worst.row], others_s, rest, by_bursts=by_bursts
                ),
                rule=BURSTS_RULE if by_bursts else RULE,
            )
        )
    return named


def _sentence(rate: Rate, others: int, others_s: float, rest: str, *, by_bursts: bool) -> str:
    own = f"gone {format_times(rate.events)} in {format_seconds(rate.observed_s)}"
    per_hour = format_rate(rate.value)
    if by_bursts:
        own = f"{own}, in {_bursts(rate.bursts)}"
        per_hour = format_rate(rate.bursts * HOUR_S / rate.observed_s).replace(" ", " bursts ", 1)
    if not others:
        return f"{own}; {rest} never"
    return f"{own}, {per_hour}; {rest} {format_rate(others * HOUR_S / others_s)}"


def _bursts(count: int) -> str:
    return "1 burst" if count == 1 else f"{count} bursts"
