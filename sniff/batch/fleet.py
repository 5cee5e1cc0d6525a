"""Who stands out of a fleet: a recording's figure against the median of all.

The rule is the modified z score, ``0.6745 (x - median) / MAD`` beyond ±3.5, MAD being the median
absolute deviation from the median (Iglewicz and Hoaglin, How to Detect and Handle Outliers, 1993;
NIST/SEMATECH e-Handbook, 1.3.5.17). Median and MAD are not moved by the very outliers that are
sought, as mean and standard deviation would be. Where figures scatter by chance alone (normally)
somebody is named by each in about one batch of ten, and of a thousand recordings in two of five
(by simulation): who is named is worth a look, and no verdict.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from sniff.batch.quantities import Figure, Kind, Quantity

LIMIT: Final = 3.5
LEAST: Final = 8
"""Of fewer figures the MAD itself is so uncertain that one batch in five would name somebody."""
RULE: Final = (
    f"modified z score beyond ±{LIMIT} (Iglewicz and Hoaglin 1993), of {LEAST} recordings or more; "
    "by each figure chance alone names somebody in one batch of ten, of a thousand recordings in "
    "two of five"
)
_PER_MAD: Final = 1.0 / 0.6745
"""Standard deviation over MAD of a normal distribution."""
LEAST_APART: Final = {Kind.LEVEL: 1.0, Kind.DENSITY: 1.0, Kind.RATIO: 1.0, Kind.ERROR: 0.02}
"""Nearer to the median than this nothing stands out, however alike the others are: what one set
shows twice differs by as much (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """What a figure comes to over all recordings that have it.

    Attributes
    ----------
    what, name, unit : str
        Column of the table, the same in words, and the unit of all that follows.
    count : int
        Recordings that have it.
    median : float
        A line that was not seen counts by the level at which it would have been.
    spread : float or None
        MAD / 0.6745: the standard deviation, if the figures scatter normally; one alone has none.
    low, high : float
        Smallest and largest.
    low_is_limit : bool
        Whether the smallest is of a line that was not seen, and lies below it.
    """

    what: str
    name: str
    unit: str
    count: int
    median: float
    spread: float | None
    low: float
    high: float
    low_is_limit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A recording whose figure lies far from the fleet's.

    Attributes
    ----------
    row : int
        Of the table, from 0.
    file, what : str
        The recording, and the column of the table.
    value, typical : float
        Its figure and the fleet's median, in the column's unit; of a rate, that of all others.
    is_limit : bool
        Whether its line was not seen, and lies below `value`.
    score : float
        Modified z score; of a rate, the normal deviate of the same probability.
    sentence : str
    rule : str
        By which it counts as far.
    """

    row: int
    file: str
    what: str
    value: float
    typical: float
    is_limit: bool = False
    score: float
    sentence: str
    rule: str = RULE


def fleet_of(quantity: Quantity) -> Fleet:
    """Median and spread of a figure."""
    values = [figure.value for figure in quantity.figures]
    lowest = min(quantity.figures, key=lambda figure: (figure.value, not figure.is_limit))
    middle = median(values)
    return Fleet(
        what=quantity.what,
        name=quantity.name,
        unit=quantity.kind.value,
        count=len(values),
        median=middle,
        spread=_PER_MAD * median(abs(v - middle) for v in values) if len(values) > 1 else None,
        low=lowest.value,
        high=max(values),
        low_is_limit=lowest.is_limit,
    )


def outliers_of(quantity: Quantity, files: Sequence[str], *, of: str = "") -> list[Outlier]:
    """Who stands out by a figure, in the order of the rows; none when there are fewer than `LEAST`.

    A figure within its own U (k = 2) of the median does not stand out.

    Parameters
    ----------
    quantity : Quantity
    files : sequence of str
        Of all rows.
    of : str, optional
        Which recordings these are, where they are not all.
    """
    fleet = fleet_of(quantity)
    if fleet.count < LEAST:
        return []
    found = []
    for figure in quantity.figures:
        score = score_of(figure, fleet, quantity.kind)
        too_high = figure.is_limit and score > 0  # how far below that it lies, nobody knows
        if abs(score) > LIMIT and not too_high:
            found.append(
                Outlier(
                    row=figure.row,
                    file=files[figure.row],
                    what=quantity.what,
                    value=figure.value,
                    typical=fleet.median,
                    is_limit=figure.is_limit,
                    score=score,
                    sentence=_sentence(quantity, figure, fleet, of),
                )
            )
    return found


def score_of(figure: Figure, fleet: Fleet, kind: Kind) -> float:
    """How far out; nothing nearer than is worth telling reaches `LIMIT`."""
    least = max(LEAST_APART[kind], 2.0 * figure.u) / LIMIT
    return (figure.value - fleet.median) / max(fleet.spread or 0.0, least)


def reach_of(fleet: Fleet, kind: Kind) -> float:
    """How far from the median a figure may lie, its own U apart, without standing out."""
    return max(LIMIT * (fleet.spread or 0.0), LEAST_APART[kind])


def _sentence(quantity: Quantity, figure: Figure, fleet: Fleet, of: str) -> str:
    kind = quantity.kind
    apart = kind.apart(figure.value - fleet.median)
    middle = f"the median of {fleet.count}{of}, {kind.worded(fleet.median)}"
    value = kind.worded(figure.value)
    if figure.is_limit:
        return f"{quantity.name}: not seen, so below {value}, at least {apart} below {middle}"
    side = "above" if figure.value > fleet.median else "below"
    return f"{quantity.name}: {value}, {apart} {side} {middle}"
