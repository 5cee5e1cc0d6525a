"""A batch's table as a file: CSV for a spreadsheet, Parquet for thousands of rows."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from sniff.batch.table import Cell, Table
from sniff.errors import UsageError
from sniff.report.csv_cells import csv_text
from sniff.wholefile import TemporaryBeside

FORMATS: Final = (".csv", ".parquet")
_MOST_INT: Final = 2**63 - 1


def check_target(path: Path) -> None:
    """Say before any work is done that a table could not be written.

    Raises
    ------
    UsageError
        When the suffix is not .csv or .parquet, or what writes the latter is not installed.
    """
    suffix = path.suffix.lower()
    if suffix not in FORMATS:
        raise UsageError(
            f"{path}: a table cannot be written as {path.suffix or 'a file without suffix'!r}; end "
            "its name in .csv or .parquet"
        )
    if suffix == ".parquet":
        _parquet()


def write_table(table: Table, path: Path) -> None:
    """Write a table; the suffix chooses the format.

    Raises
    ------
    UsageError
        As `check_target`.
    SourceError
        When it cannot be written.
    """
    check_target(path)
    (write_csv if path.suffix.lower() == ".csv" else write_parquet)(table, path)


def write_csv(table: Table, path: Path) -> None:
    """Write it as UTF-8 text: a number reads back as the same number, what is not known is empty.

    Raises
    ------
    SourceError
        When it cannot be written.
    """
    with TemporaryBeside(path) as whole:
        whole.file.write(csv_text([table.columns]).encode())
        for row in table.rows:
            whole.file.write(csv_text([row]).encode())
        whole.move_to(path)


def write_parquet(table: Table, path: Path) -> None:
    """Write it as Parquet: a column of whole numbers, of numbers, of truths, or of texts.

    A column in which nothing is known has Parquet's own type for that.

    Raises
    ------
    UsageError
        When pyarrow is not installed.
    SourceError
        When it cannot be written.
    """
    arrow, parquet = _parquet()
    columns = list(zip(*table.rows, strict=True)) or [()] * len(table.columns)
    arrays = [_array(arrow, cells) for cells in columns]
    with TemporaryBeside(path) as whole:
        made = arrow.Table.from_arrays(arrays, names=list(table.columns))
        parquet.write_table(made, whole.file)
        whole.move_to(path)


def _parquet() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise UsageError(
            "Parquet is written by pyarrow, which is not installed; take a .csv, or "
            "pip install 'lo-sniff[parquet]'"
        ) from None
    return pyarrow, pyarrow.parquet


def _array(arrow: Any, cells: Sequence[Cell]) -> Any:
    kinds = {type(cell) for cell in cells if cell is not None}
    if not kinds:
        return arrow.nulls(len(cells))
    if kinds == {bool}:
        return arrow.array(cells, arrow.bool_())
    if kinds == {int} and all(cell is None or abs(int(cell)) <= _MOST_INT for cell in cells):
        return arrow.array(cells, arrow.int64())
    if float in kinds and kinds <= {int, float}:
        return arrow.array([None if c is None else float(c) for c in cells], arrow.float64())
    return arrow.array([None if c is None else _text(c) for c in cells], arrow.string())


def _text(cell: Cell) -> str:
    return str(cell).lower() if isinstance(cell, bool) else str(cell)
