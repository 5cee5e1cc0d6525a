"""When a line goes and when it comes back: two thresholds, and the times of crossing them."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sniff.model import Doubles


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """A change of state.

    Attributes
    ----------
    at_s : float
        When, between two decisions, s.
    there : bool
        The state from then on.
    seen : bool
        False when it was only found so after lost time, or at first.
    """

    at_s: float
    there: bool
    seen: bool


class TwoThresholds:
    """Decides step by step; between the thresholds it stays as it was.

    Parameters
    ----------
    step_s : float
        From one decision to the next, s.
    """

    def __init__(self, *, step_s: float) -> None:
        self._step_s = step_s
        self.there: bool | None = None
        self._last = np.nan
        self._end_s = -np.inf

    def push(
        self, start_s: float, relative: Doubles, *, gone_below: float, there_above: float
    ) -> tuple[np.ndarray, tuple[Crossing, ...]]:
        """Decide some successive steps.

        Parameters
        ----------
        start_s : float
            Time of the first, s.
        relative : ndarray of float64, shape (n,)
            Power over the line's own.

        Returns
        -------
        ndarray of bool, shape (n,)
            Whether it was there.
        tuple of Crossing
        """
        joins = abs(start_s - self._end_s) < 0.5 * self._step_s
        marks = np.zeros(relative.size, np.int8)
        marks[relative >= there_above] = 1
        marks[relative < gone_below] = -1
        first = self.there
        if first is None or not joins:
            # Nothing came before: what is between the thresholds counts as before the gap.
            first = bool(relative[0] >= (gone_below if first is not False else there_above))
        known = np.flatnonzero(marks)
        at = np.searchsorted(known, np.arange(marks.size), side="right") - 1
        states = np.full(marks.size, first)
        states[at >= 0] = marks[known[at[at >= 0]]] > 0
        crossings = tuple(
            self._crossings(start_s, relative, states, joins=joins, edges=(gone_below, there_above))
        )
        self.there = bool(states[-1])
        self._last = float(relative[-1])
        self._end_s = start_s + relative.size * self._step_s
        return states, crossings

    def _crossings(
        self,
        start_s: float,
        relative: Doubles,
        states: np.ndarray,
        *,
        joins: bool,
        edges: tuple[float, float],
    ) -> Iterator[Crossing]:
        before = self.there
        if before is None or (not joins and bool(states[0]) != before):
            yield Crossing(at_s=start_s, there=bool(states[0]), seen=False)
            before = bool(states[0])
        changed = np.flatnonzero(np.diff(np.concatenate([[before], states])))
        for number in changed.tolist():
            there = bool(states[number])
            edge = edges[1] if there else edges[0]
            last = self._last if number == 0 else float(relative[number - 1])
            yield Crossing(
                at_s=start_s
                + (number - _before(last, float(relative[number]), edge)) * self._step_s,
                there=there,
                seen=True,
            )


def _before(last: float, this: float, edge: float) -> float:
    """How long before this step the level crossed an edge, in steps, evenly in dB."""
    low, high = np.log(max(last, 1e-9)), np.log(max(this, 1e-9))
    if not np.isfinite(low) or low == high:
        return 0.0
    return float(np.clip((high - np.log(edge)) / (high - low), 0.0, 1.0))
