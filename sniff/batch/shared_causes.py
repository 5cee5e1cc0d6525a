"""What a fleet's doubts have in common: one clock's error, several gains, too few recordings."""

from collections import Counter
from collections.abc import Sequence
from math import sqrt
from typing import Final

from sniff.batch.clocks import clock_cautions
from sniff.batch.fleet import LEAST, Fleet, fleet_of
from sniff.batch.quantities import Figure, Kind, Quantity, number
from sniff.batch.table import Row
from sniff.model import Caution
from sniff.strength import PLACEMENT_DB
from sniff.units import format_db, format_parts, format_ppm

_LEAST_SHARING: Final = 5
_PER_ROOT: Final = 3.0 * 1.2533
"""Three standard errors of a median of normal figures, times the root of their number, in standard
deviations (``sqrt(pi / 2)`` each; Kendall and Stuart, The Advanced Theory of Statistics)."""


def shared_cautions(quantities: Sequence[Quantity], rows: Sequence[Row]) -> tuple[Caution, ...]:
    """What must be known before figures of a fleet are compared."""
    found: list[Caution] = []
    errors = (each for each in quantities if each.is_by_one_clock and each.wanted)
    first = next(errors, None)
    if first is not None:
        found += _shared_errors(first, rows) + clock_cautions(first, rows)
    for quantity in quantities:
        if quantity.kind is Kind.RATIO and quantity.wanted:
            found += _shared_differences(quantity)
    if any(quantity.kind is not Kind.ERROR for quantity in quantities):
        found += _gains(rows)
    return tuple(found + _too_few(quantities) + _of_recordings(rows))


def _shared_errors(quantity: Quantity, rows: Sequence[Row]) -> list[Caution]:
    """An error that all recordings of one dongle have, and that is larger than they scatter."""
    by_serial: dict[str | None, list[Figure]] = {}
    for figure in quantity.figures:
        serial = rows[figure.row].get("source.serial")
        by_serial.setdefault(None if serial is None else str(serial), []).append(figure)
    found = []
    for serial, figures in by_serial.items():
        fleet = fleet_of(
            Quantity(
                what=quantity.what, name=quantity.name, kind=quantity.kind, figures=tuple(figures)
            )
        )
        if fleet.spread is None or not _is_shared(fleet):
            continue
        dongle = "a dongle that they do not name" if serial is None else f"dongle {serial}"
        clocks = [number(rows[figure.row].get("clock.u_ppm")) or 0.0 for figure in figures]
        found.append(
            Caution(
                code="common-error",
                text=(
                    f"{fleet.count} recordings made by {dongle} share an error of "
                    f"{format_ppm(fleet.median)} on the median ({quantity.name}), and scatter by "
                    f"only {format_parts(fleet.spread)}; {_cause(fleet.median, 2.0 * max(clocks))}"
                ),
            )
        )
    return found


def _shared_differences(quantity: Quantity) -> list[Caution]:
    """A difference that all have from one known-good is rather that one's."""
    fleet = fleet_of(quantity)
    if fleet.spread is None or abs(fleet.median) < PLACEMENT_DB or not _is_shared(fleet):
        return []
    return [
        Caution(
            code="common-difference",
            text=(
                f"{fleet.count} recordings differ from the known-good alike: {quantity.name}, "
                f"{format_db(fleet.median)} on the median, and they scatter by only "
                f"{quantity.kind.apart(fleet.spread)}; rather the known-good is the odd one, or "
                "was recorded otherwise: compare with another"
            ),
        )
    ]


def _is_shared(fleet: Fleet) -> bool:
    """Whether the median is further from zero than the figures scatter, and than its own doubt."""
    if fleet.spread is None or fleet.count < _LEAST_SHARING:
        return False
    return abs(fleet.median) > fleet.spread * max(1.0, _PER_ROOT / sqrt(fleet.count))


def _cause(median_ppm: float, clock_ppm: float) -> str:
    if abs(median_ppm) <= clock_ppm:
        return (
            f"rather the clock's, known to ± {format_parts(clock_ppm)}, than that of so many sets: "
            "calibrate it, and ask again"
        )
    return (
        f"its clock is stated to ± {format_parts(clock_ppm)}: either that is wrong, so check it, "
        "or the sets have one cause, such as a make of crystal or the temperature"
    )


def _gains(rows: Sequence[Row]) -> list[Caution]:
    read = [row for row in rows if row.get("source.kind") is not None]
    gains = {number(row.get("source.gain_db")) for row in read}
    if len(gains) < 2:
        return []
    told = ", ".join(
        format_db(gain).lstrip("+") for gain in sorted(g for g in gains if g is not None)
    )
    unknown = " and unknown ones" if None in gains else ""
    return [
        Caution(
            code="gains",
            text=(
                f"levels are compared as recorded, though at several gains ({told}{unknown}): who "
                "stands out by a level may have been recorded otherwise; use one gain for all"
            ),
        )
    ]


def _too_few(quantities: Sequence[Quantity]) -> list[Caution]:
    most = max((len(quantity.figures) for quantity in quantities), default=LEAST)
    if most >= LEAST:
        return []
    return [
        Caution(
            code="few",
            text=(
                f"too few recordings to tell who stands out of the others: {most} with a figure to "
                f"compare, where it takes {LEAST} before their scatter says anything"
            ),
        )
    ]


def _of_recordings(rows: Sequence[Row]) -> list[Caution]:
    """What the command said beside its answers, which nobody saw."""
    told = [str(row["cautions"]).split() for row in rows if row.get("cautions") is not None]
    if not told:
        return []
    counts = Counter(code for codes in told for code in codes)
    codes = ", ".join(f"{code} ({count})" for code, count in counts.most_common())
    have = "1 recording has" if len(told) == 1 else f"{len(told)} recordings have"
    return [
        Caution(
            code="of-recordings",
            text=(
                f"{have} cautions of their own: {codes}; the column 'cautions' tells which, and "
                "each answer in full"
            ),
        )
    ]
