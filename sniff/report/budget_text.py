"""Uncertainty budgets as text, one table each."""

from collections.abc import Sequence

from sniff.explain import Explained
from sniff.report.text import console, table
from sniff.units import format_expanded, format_reading


def print_budgets(explained: Sequence[Explained]) -> None:
    """Print each reading with the parts of its uncertainty, largest first."""
    out = console()
    for each in explained:
        budget = each.budget
        out.print()
        out.print(f"{each.name}: {format_reading(each.frequency_hz, budget.expanded)} (k = 2)")
        out.print(
            table(
                ["source", "u", "distribution", "sensitivity", "part"],
                [
                    (
                        term.source,
                        f"{float(f'{term.u:.2g}'):g}",  # 330, not 3.3e+02
                        term.distribution,
                        f"{term.sensitivity:.4g}",
                        format_expanded(term.contribution),
                    )
                    for term in sorted(budget.terms, key=lambda term: -term.contribution)
                ],
            )
        )
        out.print(
            f"Combined u {format_expanded(budget.u)}, U = 2 u = {format_expanded(budget.expanded)}"
        )
