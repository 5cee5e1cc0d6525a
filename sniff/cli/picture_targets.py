"""Files that the user names for pictures and tables, looked at before anything is measured."""

from collections.abc import Mapping
from typing import Any

from sniff.errors import SourceError


def check_targets(given: Mapping[str, Any]) -> None:
    """Refuse, before long work, what could not be written after it.

    Parameters
    ----------
    given : mapping
        The options as the user gave them: what a job fills in is the job's own business.

    Raises
    ------
    UsageError
        When no picture can be written in that format.
    SourceError
        When a folder is missing.
    """
    for word in ("plot", "course"):
        if given.get(word) is not None:
            from sniff.report.plots.save import check_target

            check_target(given[word])
    table = given.get("csv")
    if table is not None and not table.parent.is_dir():
        raise SourceError(f"{table}: the folder {table.parent} is not there; make it first")
