"""The places of a plan as text: what should be there, and how strong."""

from rich.table import Table

from sniff.report.text import table
from sniff.superhet.at_place import lines_at
from sniff.superhet.plan import Plan
from sniff.units import format_dbfs, format_frequency


def places_table(plan: Plan) -> Table:
    """A row for each line of each place; the place stands in the first of them."""
    return table(
        ["place", "<line", "expected", "good set's level", "may be weaker by"],
        [
            (
                "" if number else place.name,
                line.expected.name,
                format_frequency(line.expected.expected_hz),
                "" if line.stated.level_dbfs is None else format_dbfs(line.stated.level_dbfs),
                _allowed(line.stated.level_dbfs, line.stated.within_db),
            )
            for place in plan.places
            for number, line in enumerate(lines_at(plan, place))
        ],
    )


def _allowed(level_dbfs: float | None, within_db: float | None) -> str:
    if level_dbfs is None:
        return ""
    return "what placing explains" if within_db is None else f"{within_db:g} dB"
