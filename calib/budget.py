"""Budget: what a number's uncertainty is made of, as the GUM lays it out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, sqrt

COVERAGE = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One line of a budget.

    Attributes
    ----------
    source : str
        Where it comes from, in words.
    u : float
        Standard uncertainty (k = 1) of the input, in its own unit.
    distribution : str
        ``normal`` or ``rectangular``, as it was stated.
    sensitivity : float
        Change of the result per unit of the input.
    degrees : float
        Degrees of freedom; infinite where the figure is taken as known.
    """

    source: str
    u: float
    distribution: str
    sensitivity: float = 1.0
    degrees: float = inf

    @property
    def contribution(self) -> float:
        """Size of its part of the result's standard uncertainty."""
        return abs(self.sensitivity) * self.u


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """All terms of one result.

    Attributes
    ----------
    terms : tuple of Term
    correlations : mapping of (int, int) to float
        Correlation of two inputs by their places; none where a pair is missing.
    """

    terms: tuple[Term, ...]
    correlations: Mapping[tuple[int, int], float]

    @property
    def u(self) -> float:
        """Combined standard uncertainty, law of propagation (JCGM 100:2008, 5.1.2, 5.2.2)."""
        variance = sum(term.contribution**2 for term in self.terms)
        for (one, other), correlation in self.correlations.items():
            a, b = self.terms[one], self.terms[other]
            variance += 2.0 * correlation * a.sensitivity * a.u * b.sensitivity * b.u
        return sqrt(max(variance, 0.0))

    @property
    def expanded(self) -> float:
        """Expanded uncertainty, k = 2."""
        return COVERAGE * self.u

    @property
    def degrees(self) -> float:
        """Effective degrees of freedom (Welch and Satterthwaite; JCGM 100:2008, G.4.1)."""
        below = sum(
            term.contribution**4 / term.degrees for term in self.terms if term.degrees != inf
        )
        return self.u**4 / below if below > 0 else inf


def budget_of(terms: Sequence[Term]) -> Budget:
    """A budget of independent terms."""
    return Budget(terms=tuple(terms), correlations={})
