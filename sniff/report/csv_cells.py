"""A table as comma-separated values, the same way for all tables (RFC 4180).

Numbers read back as the same numbers. A text that a spreadsheet would take for a formula gets an
apostrophe before it: names of files and notes come from elsewhere.
"""

import csv
from collections.abc import Iterable, Sequence
from io import StringIO

_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a text that begins so for a formula (OWASP, CSV Injection)."""


def csv_text(rows: Iterable[Sequence[object]]) -> str:
    """Rows as the text of a CSV file; None is an empty cell."""
    target = StringIO()
    csv.writer(target).writerows([_cell(value) for value in row] for row in rows)
    return target.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str) and value.startswith(_FORMULA):
        return f"'{value}"
    return value
