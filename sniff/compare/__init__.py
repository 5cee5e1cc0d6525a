"""Comparison: a suspect against a known-good set of the same make, also on another frequency."""

from sniff.compare.comparing import compare
from sniff.compare.nouns import (
    ComparedLine,
    Comparison,
    ComparisonResult,
    ComparisonVerdict,
    Likeness,
    Origin,
    Pair,
    PlaceComparison,
    Sight,
)
from sniff.compare.settings import CompareSettings

__all__ = [
    "CompareSettings",
    "ComparedLine",
    "Comparison",
    "ComparisonResult",
    "ComparisonVerdict",
    "Likeness",
    "Origin",
    "Pair",
    "PlaceComparison",
    "Sight",
    "compare",
]
