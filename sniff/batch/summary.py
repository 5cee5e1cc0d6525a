"""What a batch came to: how many pass, fail or are undecided, and who stands out of the fleet."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from math import inf
from typing import Final

from sniff.batch.clocks import errors_out
from sniff.batch.fleet import Fleet, Outlier, fleet_of, outliers_of
from sniff.batch.quantities import number, quantities
from sniff.batch.rates import burst_cautions, rates, too_frequent
from sniff.batch.shared_causes import shared_cautions
from sniff.batch.table import Row, Table
from sniff.model import Caution


class Standing(str, Enum):
    """What came of one recording, in words, whatever the question calls it."""

    FAILED = "failed"
    UNDECIDED = "undecided"
    NOT_READ = "not read"
    NOT_JUDGED = "measured, not judged"
    AS_EXPECTED = "as expected"


_STANDINGS: Final = {
    "pass": Standing.AS_EXPECTED,
    "as-expected": Standing.AS_EXPECTED,
    "steady": Standing.AS_EXPECTED,
    "alike": Standing.AS_EXPECTED,
    "fail": Standing.FAILED,
    "fault": Standing.FAILED,
    "intermittent": Standing.FAILED,
    "absent": Standing.FAILED,
    "differs": Standing.FAILED,
    "undecided": Standing.UNDECIDED,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One recording and what was said of it.

    Attributes
    ----------
    row : int
        Of the table, from 0.
    file : str
    verdict : str or None
        As the question calls it; None when there is none.
    why : str
        Or the error, when it could not be read.
    """

    row: int
    file: str
    verdict: str | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """The answer to a batch, field by field what ``--json`` prints.

    Attributes
    ----------
    question : str
    recordings, as_expected, failed, undecided, not_judged, not_read : int
        All, and of which so many; not judged are those whose question has no verdict.
    failures, open_cases, unread : tuple of Case
        Those that failed, worst first; undecided; not read, both in the order of the list.
    outliers : tuple of Outlier
        Farthest out first, whatever their verdict.
    fleets : tuple of Fleet
        Each figure that was compared.
    cautions : tuple of Caution
    """

    question: str
    recordings: int
    as_expected: int
    failed: int
    undecided: int
    not_judged: int
    not_read: int
    failures: tuple[Case, ...]
    open_cases: tuple[Case, ...]
    unread: tuple[Case, ...]
    outliers: tuple[Outlier, ...]
    fleets: tuple[Fleet, ...]
    cautions: tuple[Caution, ...]


def summarised(table: Table, *, question: str) -> Summary:
    """Sum a batch up.

    Parameters
    ----------
    table : Table
        Of all answers.
    question : str
        The command that was asked.
    """
    rows = list(table.as_rows())
    files = [str(row["file"]) for row in rows]
    standings = [standing_of(row) for row in rows]
    compared = quantities(table, question)
    found = [
        outlier
        for quantity in compared
        for outlier in (
            errors_out(quantity, rows, files)
            if quantity.is_by_one_clock
            else outliers_of(quantity, files)
        )
    ]
    dropouts = rates(rows) if question == "watch" else ()
    found += too_frequent(dropouts, files)

    def of(standing: Standing) -> list[tuple[int, Row]]:
        return [(at, row) for at, row in enumerate(rows) if standings[at] is standing]

    return Summary(
        question=question,
        recordings=len(rows),
        as_expected=standings.count(Standing.AS_EXPECTED),
        failed=standings.count(Standing.FAILED),
        undecided=standings.count(Standing.UNDECIDED),
        not_judged=standings.count(Standing.NOT_JUDGED),
        not_read=standings.count(Standing.NOT_READ),
        failures=_cases(sorted(of(Standing.FAILED), key=lambda each: -_badness(each[1]))),
        open_cases=_cases(of(Standing.UNDECIDED)),
        unread=_cases(of(Standing.NOT_READ)),
        outliers=tuple(sorted(found, key=lambda outlier: -abs(outlier.score))),
        fleets=tuple(fleet_of(quantity) for quantity in compared),
        cautions=(*burst_cautions(dropouts), *shared_cautions(compared, rows)),
    )


def standing_of(row: Row) -> Standing:
    """What came of a row."""
    if row.get("error") is not None:
        return Standing.NOT_READ
    verdict = row.get("verdict")
    return Standing.NOT_JUDGED if verdict is None else _STANDINGS[str(verdict)]


def _badness(row: Row) -> float:
    """By what those that failed are ordered; where it is equal they keep the list's order."""
    if row.get("verdict") == "absent":
        return inf
    error, tolerance = number(row.get("error_hz")), number(row.get("tolerance_hz"))
    if error is not None and tolerance:
        return abs(error) / tolerance
    return number(row.get("rate_per_hour.value")) or 0.0


def _cases(rows: Sequence[tuple[int, Row]]) -> tuple[Case, ...]:
    return tuple(
        Case(
            row=at,
            file=str(row["file"]),
            verdict=None if row.get("verdict") is None else str(row["verdict"]),
            why=str(row.get("error") or row.get("why") or ""),
        )
        for at, row in rows
    )
