"""What a batch's picture shows: which figure in which column, and in which row which recording."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from sniff.batch.fleet import LEAST, LEAST_APART, fleet_of, reach_of
from sniff.batch.quantities import Figure, Kind, Quantity, number, quantities
from sniff.batch.rates import rates
from sniff.batch.summary import Standing, Summary, standing_of
from sniff.batch.table import Row, Table
from sniff.board import LineState
from sniff.report.plots import style
from sniff.report.plots.ranked import Column, Point
from sniff.report.plots.style import Shape
from sniff.units import format_rate

_MOST_COLUMNS: Final = 3
_FIRST_WEIGHT: Final = 1.6

STANDINGS: Final[Mapping[Standing, Shape]] = {
    Standing.AS_EXPECTED: Shape(marker="o", filled=True, color=style.FINE, words="as expected"),
    Standing.NOT_JUDGED: Shape(marker="o", filled=True, color=style.INK, words="measured"),
    Standing.UNDECIDED: Shape(
        marker="h", filled=False, color=style.OPEN_QUESTION, words="undecided"
    ),
    Standing.FAILED: Shape(marker="D", filled=True, color=style.FAULTY, words="failed"),
}
_STATES: Final = {state.value: style.STATES[state] for state in LineState}

_Ringed = frozenset[tuple[int, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """Columns, and the place of each row of the table that has anything to show.

    Attributes
    ----------
    places : mapping of int to int
        From below, by row of the table: sorted by the first column's figure, those without one at
        the bottom.
    columns : tuple of Column
    missing : mapping of Standing to int
        How many rows have nothing to show, by what came of them.
    left_out : tuple of str
        Figures for which there is no room, in words.
    """

    places: Mapping[int, int]
    columns: tuple[Column, ...]
    missing: Mapping[Standing, int]
    left_out: tuple[str, ...] = ()


def arranged(table: Table, summary: Summary) -> Arrangement:
    """Choose the columns for a question, and sort the rows."""
    rows = list(table.as_rows())
    found = quantities(table, summary.question)
    ringed = frozenset((outlier.row, outlier.what) for outlier in summary.outliers)
    if summary.question == "watch":
        return _watched(rows, found, ringed)
    if summary.question in ("probe", "compare"):
        found = tuple(quantity for quantity in found if quantity.kind is not Kind.ERROR)
    chosen = _chosen(found, ringed)
    places = _places([[(f.value, f.row) for f in quantity.figures] for quantity in chosen])
    columns = tuple(
        _column(quantity, rows, places, ringed, weight=1.0 if at else _FIRST_WEIGHT)
        for at, quantity in enumerate(chosen)
    )
    left_out = tuple(quantity.name for quantity in found if quantity not in chosen)
    return Arrangement(
        places=places, columns=columns, missing=_missing(rows, places), left_out=left_out
    )


def _chosen(found: Sequence[Quantity], ringed: _Ringed) -> list[Quantity]:
    """As many as there is room for: wanted lines, then those by which somebody stands out."""
    outstanding = {what for _, what in ringed}
    order = sorted(found, key=lambda each: (not each.wanted, each.what not in outstanding))
    return [each for each in found if each in order[:_MOST_COLUMNS]]


def _places(columns: Sequence[Sequence[tuple[float, int]]]) -> dict[int, int]:
    first = [row for _, row in sorted(columns[0])] if columns else []
    others = {row for column in columns[1:] for _, row in column}
    below = sorted(others.difference(first), reverse=True)
    return {row: place for place, row in enumerate([*below, *first])}


def _missing(rows: Sequence[Row], places: Mapping[int, int]) -> dict[Standing, int]:
    return Counter(standing_of(row) for at, row in enumerate(rows) if at not in places)


def _column(
    quantity: Quantity,
    rows: Sequence[Row],
    places: Mapping[int, int],
    ringed: _Ringed,
    *,
    weight: float,
) -> Column:
    fleet, kind = fleet_of(quantity), quantity.kind
    is_error = kind is Kind.ERROR
    allowed = {
        places[figure.row]: tolerance
        for figure in quantity.figures
        if is_error and (tolerance := _in_ppm(rows[figure.row], "tolerance_hz")) is not None
    }
    return Column(
        name=quantity.line or quantity.name,
        unit=kind.value,
        points=tuple(
            _point(figure, quantity, rows[figure.row], places, ringed)
            for figure in quantity.figures
        ),
        median=fleet.median if fleet.count > 1 else None,
        reach=None if is_error or fleet.count < LEAST else reach_of(fleet, kind),
        least=LEAST_APART[kind],
        allowed=allowed,
        zero=is_error or kind is Kind.RATIO,
        weight=weight,
    )


def _point(
    figure: Figure, quantity: Quantity, row: Row, places: Mapping[int, int], ringed: _Ringed
) -> Point:
    half = _expanded(figure, quantity, row)
    return Point(
        place=places[figure.row],
        value=figure.value,
        low=None if half is None else figure.value - half,
        high=None if half is None else figure.value + half,
        words=quantity.kind.worded(figure.value),
        shape=_shape(row, quantity.line),
        ringed=(figure.row, quantity.what) in ringed,
        is_limit=figure.is_limit,
    )


def _expanded(figure: Figure, quantity: Quantity, row: Row) -> float | None:
    """U of a figure, in its unit; None where a level has none, or a line was not seen."""
    if quantity.kind is Kind.RATIO:
        return number(row.get(f"{quantity.line}.expanded_difference_db"))
    if quantity.kind is not Kind.ERROR:
        return None
    if not quantity.line:
        return _in_ppm(row, "expanded_hz")
    u_hz, hz = (number(row.get(f"{quantity.line}.{field}")) for field in ("u_hz", "expected_hz"))
    # Of a board the clock's part counts too; a shift from the known-good carries its own.
    return 2.0 * figure.u if u_hz is None or not hz else 2.0 * u_hz / hz * 1e6


def _shape(row: Row, line: str) -> Shape:
    """A line of a board by its own state, all else by what came of the recording."""
    state = _STATES.get(str(row.get(f"{line}.state"))) if line else None
    return state or STANDINGS[standing_of(row)]


def _in_ppm(row: Row, column: str) -> float | None:
    hz, nominal_hz = number(row.get(column)), number(row.get("nominal_hz"))
    return None if hz is None or not nominal_hz else hz / nominal_hz * 1e6


def _watched(rows: Sequence[Row], found: Sequence[Quantity], ringed: _Ringed) -> Arrangement:
    """Rates of drop-outs first, the quiet ones by their bounds, and levels beside them."""
    counted = rates(rows)
    order = [(rate.value, rate.at_most, rate.row) for rate in counted]
    ranks = [(float(rank), row) for rank, (_, _, row) in enumerate(sorted(order))]
    places = _places([ranks, *([(f.value, f.row) for f in each.figures] for each in found)])
    points = tuple(
        Point(
            place=places[rate.row],
            value=rate.value,
            low=rate.low,
            high=rate.high if rate.events else rate.at_most,
            words=format_rate(rate.value),
            shape=STANDINGS[standing_of(rows[rate.row])],
            ringed=(rate.row, "rate_per_hour.value") in ringed,
        )
        for rate in counted
    )
    columns = [_column(each, rows, places, ringed, weight=1.0) for each in found]
    if points:
        rate = Column(
            name="drop-outs", unit="per hour", points=points, is_rate=True, weight=_FIRST_WEIGHT
        )
        columns.insert(0, rate)
    return Arrangement(places=places, columns=tuple(columns), missing=_missing(rows, places))
