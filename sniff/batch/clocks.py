"""Errors of frequency in a fleet that several clocks have heard.

What one clock is off by is in all errors that it read, and falls out where they are compared with
each other. Two clocks' errors do not: a set heard by the other dongle would stand out by what that
dongle is off.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import hypot
from typing import Final

from sniff.batch.fleet import LEAST, Outlier, outliers_of
from sniff.batch.quantities import Figure, Quantity, number
from sniff.batch.table import Row
from sniff.model import Caution
from sniff.units import format_parts, format_ppm

_Clock = tuple[str | None, float | None]
"""A dongle's serial number, where it is told, and what its clock was taken to be off by."""
_SHOWN: Final = 4


def errors_out(quantity: Quantity, rows: Sequence[Row], files: Sequence[str]) -> list[Outlier]:
    """Who stands out by an error.

    Where a clock has heard enough recordings they are compared with each other; what the others
    have heard is held against the median of all, with the clocks' own uncertainty added to its own.

    Parameters
    ----------
    quantity : Quantity
        Of `Kind.ERROR`, read by one clock each.
    rows : sequence of Row
    files : sequence of str
        Of all rows.
    """
    heard = _heard(quantity, rows)
    if len(heard) < 2:
        return outliers_of(quantity, files)
    found = []
    for clock, figures in heard.items():
        if len(figures) >= LEAST:
            mine = replace(quantity, figures=tuple(figures))
            found += outliers_of(mine, files, of=f" heard by {_name(clock, heard)}")
    others = {
        figure.row for figures in heard.values() if len(figures) < LEAST for figure in figures
    }
    doubts = _doubts_ppm(heard, rows)
    doubtful = replace(
        quantity,
        figures=tuple(
            replace(figure, u=hypot(figure.u, doubts[_clock(rows[figure.row])]))
            for figure in quantity.figures
        ),
    )
    found += [outlier for outlier in outliers_of(doubtful, files) if outlier.row in others]
    return sorted(found, key=lambda outlier: outlier.row)


def clock_cautions(quantity: Quantity, rows: Sequence[Row]) -> list[Caution]:
    """That errors are not all by one clock, and what was done about it."""
    heard = _heard(quantity, rows)
    if len(heard) < 2:
        return []
    by_count = sorted(heard.items(), key=lambda each: -len(each[1]))
    told = ", ".join(
        f"{_name(clock, heard)}: {len(figures)}" for clock, figures in by_count[:_SHOWN]
    )
    if len(by_count) > _SHOWN:
        told += f" and {len(by_count) - _SHOWN} more"
    few = [clock for clock, figures in heard.items() if len(figures) < LEAST]
    doubts = _doubts_ppm(heard, rows)
    if few:
        most = format_parts(2.0 * max(doubts[clock] for clock in few))
        among = "errors" if len(few) == len(heard) else "those of clocks with fewer"
        rest = f"{among} are held against the median of all, within what the clocks may be off "
        rest += f"against each other, up to ± {most} (k = 2)"
    if len(few) < len(heard):
        own = f"errors are compared among {LEAST} or more that one clock has heard"
        rest = f"{own}, and {rest}" if few else own
    return [Caution(code="clocks", text=f"several clocks have heard the fleet ({told}): {rest}")]


def _heard(quantity: Quantity, rows: Sequence[Row]) -> dict[_Clock, list[Figure]]:
    heard: dict[_Clock, list[Figure]] = {}
    for figure in quantity.figures:
        heard.setdefault(_clock(rows[figure.row]), []).append(figure)
    return heard


def _clock(row: Row) -> _Clock:
    serial = row.get("source.serial")
    return None if serial is None else str(serial), number(row.get("clock.ppm"))


def _doubts_ppm(
    heard: Mapping[_Clock, Sequence[Figure]], rows: Sequence[Row]
) -> dict[_Clock, float]:
    """Standard uncertainty of each clock against the worst of the others, ppm."""
    own = {
        clock: max(number(rows[figure.row].get("clock.u_ppm")) or 0.0 for figure in figures)
        for clock, figures in heard.items()
    }
    return {
        clock: hypot(u_ppm, max((u for other, u in own.items() if other != clock), default=0.0))
        for clock, u_ppm in own.items()
    }


def _name(clock: _Clock, heard: Mapping[_Clock, Sequence[Figure]]) -> str:
    serial, ppm = clock
    name = "a dongle that is not named" if serial is None else f"dongle {serial}"
    alike = sum(other == serial for other, _ in heard) > 1
    return f"{name} at {format_ppm(ppm)}" if alike and ppm is not None else name
