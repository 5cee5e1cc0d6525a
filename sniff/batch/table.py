"""The table of a batch: one row for each recording, the fields of its answer flattened.

Names of columns are a promise, which people's spreadsheets rely on:

- ``file``, then ``asked.NAME`` for options of the file's own, ``exit_code``, ``verdict``, ``why``,
  ``error``; the fields of the result as they are called in the JSON; ``strongest.FIELD``; of a
  watch ``bursts.FIELD``, how its drop-outs lie in its time (`sniff.batch.bursts.Clumps`);
  ``clock.FIELD``, ``source.FIELD``, and ``cautions``, their codes with a blank between; last
  ``answer``, the name of the file that holds the whole.
- An object's fields follow its name and a point: ``modulation.deviation_peak_hz``.
- A list of objects is counted (``lines.count``). Those with a name go by it (``LO.level_dbfs``, or
  ``LO at PLACE.level_dbfs``); of the others the first three, counted from 0, are shown
  (``peaks.0.frequency_hz``), with the fields that are no objects or lists themselves.
- A list of numbers or words is written with blanks between; one of more than sixteen is counted.
- Where a field is an object in one answer and null in another, there is no column for the null.
- A name that was met before in the row gets ``#2``.

What is not known is None. Nothing here depends on who computed it, or how long that took.
"""

import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any, Final

from sniff.batch.bursts import Clumps, clumps_of
from sniff.batch.nouns import Answer
from sniff.model import NOT_SIGNALS

Cell = str | float | int | bool | None
Row = dict[str, Cell]

SHOWN: Final = 3
"""Of a list without names, and of what can be hundreds: peaks come strongest first, drop-outs in
the order of time."""
_MOST_JOINED: Final = 16
_TOLD_BEFORE: Final = frozenset({"verdict", "why", "sentence"})
_NO_SIGNALS: Final = frozenset(mark.value for mark in NOT_SIGNALS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of one length; a cell that does not apply, or is not known, is None.

    Attributes
    ----------
    columns : tuple of str
        A column that the first row lacks stands behind the one it follows in the first row that
        has it.
    rows : tuple of tuple of str, float, int, bool or None
        In the order of the list of recordings.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def as_rows(self) -> Iterator[Row]:
        """Each row by its columns, in order."""
        return (dict(zip(self.columns, row, strict=True)) for row in self.rows)


def flattened(answers: Iterable[Answer]) -> Table:
    """The table of answers that may come in any order; each is let go of once it is flat."""
    numbered = [(answer.number, flat(answer)) for answer in answers]
    rows = [row for _, row in sorted(numbered, key=lambda each: each[0])]
    columns = _columns(rows)
    return Table(
        columns=columns, rows=tuple(tuple(row.get(column) for column in columns) for row in rows)
    )


def flat(answer: Answer) -> Row:
    """One answer as cells by their columns."""
    told = answer.told or {}
    result = _object(told.get("result"))
    row: Row = {}
    _put(row, "file", answer.source)
    for name, text in sorted(answer.options.items()):
        _put(row, f"asked.{name}", text)
    row["exit_code"] = answer.exit_code
    row["verdict"] = _text(result.get("verdict"))
    row["why"] = _text(result.get("why")) or _text(result.get("sentence"))
    _put(row, "error", answer.error)
    _spread(row, {key: value for key, value in result.items() if key not in _TOLD_BEFORE}, "")
    if "peaks" in result:
        _spread(row, _strongest(result["peaks"]), "strongest.")
    if "dropout_count" in result:
        _spread(row, _clumped(result), "bursts.")
    _spread(row, _object(told.get("clock")), "clock.")
    for key, value in _object(told.get("source")).items():
        if key != "cautions":
            _put(row, f"source.{key}", _joined(value) if isinstance(value, list) else value)
    if "cautions" in told:
        codes = (str(each.get("code")) for each in _objects(told["cautions"]))
        row["cautions"] = " ".join(dict.fromkeys(codes)) or None
    row["answer"] = answer.key
    return row


def _columns(rows: Sequence[Row]) -> tuple[str, ...]:
    """All columns: those of the first row, each later one behind its forerunner."""
    columns: list[str] = []
    known: set[str] = set()
    for row in rows:
        before: str | None = None
        for column in row:
            if column not in known:
                at = 0 if before is None else columns.index(before) + 1
                columns.insert(at, column)
                known.add(column)
            before = column
    objects = {column[:at] for column in columns for at, mark in enumerate(column) if mark == "."}
    return tuple(
        column
        for column in columns
        if column not in objects or any(row.get(column) is not None for row in rows)
    )


def _strongest(peaks: Any) -> dict[str, Any]:
    """The strongest peak that the receiver did not make itself."""
    signals = (
        peak for peak in _objects(peaks) if not _NO_SIGNALS.intersection(peak.get("marks") or ())
    )
    first = next(signals, {})
    return {key: first.get(key) for key in ("frequency_hz", "u_hz", "level_dbfs", "snr_db")}


def _clumped(result: Mapping[str, Any]) -> dict[str, Any]:
    """How a watch's drop-outs lie in its time."""
    rate, listed = _object(result.get("rate_per_hour")), _objects(result.get("dropouts"))
    if not rate:
        return dict.fromkeys(field.name for field in fields(Clumps))
    clumps = clumps_of(
        [each["start_s"] for each in listed],
        [each["duration_s"] for each in listed],
        count=rate["events"],
        observed_s=rate["observed_s"],
    )
    return asdict(clumps)


def _spread(row: Row, data: Mapping[str, Any], within: str) -> None:
    for key, value in data.items():
        name = f"{within}{key}"
        if isinstance(value, Mapping):
            _spread(row, value, f"{name}.")
        elif isinstance(value, list):
            _spread_list(row, value, name, within)
        else:
            _put(row, name, value)


def _spread_list(row: Row, items: Sequence[Any], name: str, within: str) -> None:
    if not all(isinstance(item, Mapping) for item in items):
        if len(items) <= _MOST_JOINED:
            _put(row, name, _joined(items))
        else:
            _put(row, f"{name}.count", len(items))
        return
    _put(row, f"{name}.count", len(items))
    unnamed = 0
    for item in items:
        called = _name(item)
        if called is not None:
            rest = {key: value for key, value in item.items() if key not in ("name", "place")}
            _spread(row, rest, f"{within}{called}.")
        elif unnamed < SHOWN:
            for key, value in item.items():
                if _is_plain(value):
                    plain = _joined(value) if isinstance(value, list) else value
                    _put(row, f"{name}.{unnamed}.{key}", plain)
            unnamed += 1


def _name(item: Mapping[str, Any]) -> str | None:
    name, place = _text(item.get("name")), _text(item.get("place"))
    if "name" not in item:
        return place
    return name if name is None or place is None else f"{name} at {place}"


def _is_plain(value: Any) -> bool:
    if isinstance(value, list):
        return all(isinstance(each, str) for each in value)  # marks of a peak
    return not isinstance(value, Mapping)


def _joined(items: Sequence[Any]) -> str | None:
    return " ".join("" if item is None else str(item) for item in items) or None


def _put(row: Row, name: str, value: Any) -> None:
    free, copy = name, 1
    while free in row:
        copy += 1
        free = f"{name}#{copy}"
    if isinstance(value, str) and not value.isascii():
        # A file's name need be no text: what is none is shown as its bytes.
        value = value.encode("utf-8", "backslashreplace").decode()
    row[sys.intern(free)] = value  # thousands of rows share their names


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None


def _object(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _objects(value: Any) -> list[Mapping[str, Any]]:
    return [each for each in value if isinstance(each, Mapping)] if isinstance(value, list) else []
