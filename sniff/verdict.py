"""The decision rule: an error and its uncertainty against a tolerance, with three outcomes."""

from dataclasses import dataclass
from enum import Enum


class Outcome(str, Enum):
    """What may be said of one stated limit."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """An outcome and the sentence that goes with it."""

    outcome: Outcome
    needed_expanded_hz: float | None
    """The expanded uncertainty that would decide an undecided case, Hz."""


def decide(*, error_hz: float, expanded_hz: float, tolerance_hz: float) -> Decision:
    """Judge an error against a tolerance with guard bands of one expanded uncertainty.

    Pass when ``|error| + U <= tolerance``, fail when ``|error| - U > tolerance``, otherwise
    undecided (guarded acceptance and rejection, JCGM 106:2012, 8.3).

    Parameters
    ----------
    error_hz, expanded_hz, tolerance_hz : float
        Measured minus nominal, U (k = 2) and the allowed error, all in Hz.

    Raises
    ------
    ValueError
        When `expanded_hz` or `tolerance_hz` is negative.
    """
    if expanded_hz < 0 or tolerance_hz < 0:
        raise ValueError(f"{expanded_hz=} and {tolerance_hz=} must not be negative")
    size = abs(error_hz)
    if size + expanded_hz <= tolerance_hz:
        return Decision(outcome=Outcome.PASS, needed_expanded_hz=None)
    if size - expanded_hz > tolerance_hz:
        return Decision(outcome=Outcome.FAIL, needed_expanded_hz=None)
    return Decision(outcome=Outcome.UNDECIDED, needed_expanded_hz=abs(tolerance_hz - size))
