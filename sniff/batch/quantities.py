"""The figures by which a fleet is compared: which of the table's columns, for which question."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

from sniff.batch.table import Cell, Row, Table
from sniff.units import format_db, format_dbfs, format_parts, format_ppm


class Kind(str, Enum):
    """What sort of figure; its value is the unit."""

    LEVEL = "dBFS"
    DENSITY = "dBFS/Hz"
    RATIO = "dB"
    ERROR = "ppm"

    def worded(self, value: float) -> str:
        """The figure with its unit."""
        if self is Kind.ERROR:
            return format_ppm(value)
        if self is Kind.RATIO:
            return format_db(value)
        return f"{format_dbfs(value)}{'/Hz' if self is Kind.DENSITY else ''}"

    def apart(self, difference: float) -> str:
        """The size of a difference of two such figures."""
        if self is Kind.ERROR:
            return format_parts(abs(difference))
        return format_db(abs(difference)).removeprefix("+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One recording's figure.

    Attributes
    ----------
    row : int
        Of the table.
    value : float
        In the unit of its kind.
    u : float
        Standard uncertainty (k = 1) of what two recordings by one clock can differ by; 0 where none
        is stated.
    is_limit : bool
        Whether nothing was seen, and the line lies below `value`, from which on it would have been.
    """

    row: int
    value: float
    u: float = 0.0
    is_limit: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A figure that recordings have in common.

    Attributes
    ----------
    what : str
        Column of the table.
    name : str
        In words.
    kind : Kind
    line : str
        Name of the line whose figure it is; empty where there is but one.
    wanted : bool
        False of a line that may be too weak to be seen.
    figures : tuple of Figure
        Of the recordings that have it, in the order of the rows.
    """

    what: str
    name: str
    kind: Kind
    line: str = ""
    wanted: bool = True
    figures: tuple[Figure, ...]

    @property
    def is_by_one_clock(self) -> bool:
        """Whether each is an error by the clock that read it; a shift has two clocks' doubt."""
        return self.what.endswith("error_ppm")


_UNSEEN: Final = frozenset({"hidden", "out-of-view"})


def quantities(table: Table, question: str) -> tuple[Quantity, ...]:
    """The figures of a question, the most telling first; none of lines that half of all lack.

    Parameters
    ----------
    table : Table
    question : str
        The command that was asked: ``carrier``, ``probe``, ``compare``, ``watch`` or ``look``.
    """
    rows = list(table.as_rows())
    found: list[Quantity] = []
    if question == "carrier":
        found.append(_of("error_ppm", "carrier's error", Kind.ERROR, _errors(rows, "")))
        found.append(_of("level_dbfs", "carrier's level", Kind.LEVEL, _levels(rows, "")))
    elif question == "watch":
        found.append(_of("level_dbfs", "line's level", Kind.LEVEL, _levels(rows, "")))
    elif question == "look":
        strongest, noise = "strongest.level_dbfs", "noise_dbfs_per_hz"
        found.append(_of(strongest, "strongest line", Kind.LEVEL, _plain(rows, strongest)))
        found.append(_of(noise, "noise", Kind.DENSITY, _plain(rows, noise)))
    elif question == "probe":
        found += _of_lines(table, rows, "level_dbfs", "level of {}", Kind.LEVEL, _levels)
        found += _of_lines(table, rows, "error_ppm", "error of {}", Kind.ERROR, _errors)
    elif question == "compare":
        words = "{} against the known-good's"
        found += _of_lines(table, rows, "difference_db", words, Kind.RATIO, _differences)
        words = "{}'s shift from the known-good's"
        found += _of_lines(table, rows, "shift_ppm", words, Kind.ERROR, _shifts)
    return tuple(quantity for quantity in found if _is_seen(quantity))


def _is_seen(quantity: Quantity) -> bool:
    """Whether more than half are no limits, so that the median is a figure and no limit."""
    limits = sum(figure.is_limit for figure in quantity.figures)
    return 2 * limits < len(quantity.figures)


def _of(what: str, name: str, kind: Kind, figures: Iterator[Figure]) -> Quantity:
    return Quantity(what=what, name=name, kind=kind, figures=tuple(figures))


def _of_lines(
    table: Table,
    rows: Sequence[Row],
    field: str,
    words: str,
    kind: Kind,
    figures: Callable[[Sequence[Row], str], Iterator[Figure]],
) -> list[Quantity]:
    """A figure of each named line: those wanted in any recording first, else as the columns are."""
    columns = set(table.columns)
    names = [
        name
        for name, dot, last in (column.rpartition(".") for column in table.columns)
        if dot and last == field and f"{name}.state" in columns and not name.startswith("lines.")
    ]
    found = [
        Quantity(
            what=f"{name}.{field}",
            name=words.format(name),
            kind=kind,
            line=name,
            wanted=any(row.get(f"{name}.wanted") is True for row in rows),
            figures=tuple(figures(rows, f"{name}.")),
        )
        for name in names
    ]
    return sorted(found, key=lambda quantity: not quantity.wanted)


def _plain(rows: Sequence[Row], column: str) -> Iterator[Figure]:
    for at, row in enumerate(rows):
        value = number(row.get(column))
        if value is not None:
            yield Figure(row=at, value=value)


def _errors(rows: Sequence[Row], prefix: str) -> Iterator[Figure]:
    for at, row in enumerate(rows):
        error, u_hz = number(row.get(f"{prefix}error_ppm")), row.get(f"{prefix}u_indicated_hz")
        frequency = number(row.get(f"{prefix}frequency_hz"))
        if error is not None:
            u_ppm = (number(u_hz) or 0.0) / frequency * 1e6 if frequency else 0.0
            yield Figure(row=at, value=error, u=u_ppm)


def _levels(rows: Sequence[Row], prefix: str) -> Iterator[Figure]:
    for at, row in enumerate(rows):
        state, level = row.get(f"{prefix}state"), number(row.get(f"{prefix}level_dbfs"))
        would_see = number(row.get(f"{prefix}would_see_dbfs"))
        if state in _UNSEEN:
            continue
        if level is not None:
            yield Figure(row=at, value=level)
        elif would_see is not None:
            yield Figure(row=at, value=would_see, is_limit=True)


def _differences(rows: Sequence[Row], prefix: str) -> Iterator[Figure]:
    for at, row in enumerate(rows):
        difference = number(row.get(f"{prefix}difference_db"))
        bound = number(row.get(f"{prefix}difference_bound_db"))
        u_db = number(row.get(f"{prefix}u_difference_db")) or 0.0
        if difference is not None:
            yield Figure(row=at, value=difference, u=u_db)
        elif bound is not None and row.get(f"{prefix}state") in ("only-good", "weak"):
            yield Figure(row=at, value=bound, is_limit=True)


def _shifts(rows: Sequence[Row], prefix: str) -> Iterator[Figure]:
    for at, row in enumerate(rows):
        shift, u = number(row.get(f"{prefix}shift_ppm")), number(row.get(f"{prefix}u_shift_ppm"))
        if shift is not None:
            yield Figure(row=at, value=shift, u=u or 0.0)


def number(cell: Cell) -> float | None:
    """A cell as a number; None when it is none."""
    return float(cell) if isinstance(cell, (int, float)) and not isinstance(cell, bool) else None
