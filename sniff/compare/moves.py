"""How far a line may move when the carrier moves: not at all, with it, or by a multiple."""

from dataclasses import dataclass

from sniff.superhet.plan import Plan

_MOST_MULTIPLE = 12
_UNPLANNED = (1.0, 2.0, 3.0, 4.0, 1 / 2, 1 / 3, 1 / 4)
"""Multiples of the carrier's shift when nothing is known of how the set makes it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A line moves by ``times`` the carrier's shift."""

    times: float

    def hz(self, shift_hz: float) -> float:
        """By how much, Hz."""
        return self.times * shift_hz

    @property
    def words(self) -> str:
        """In words."""
        if self.times == 0.0:
            return "stays where it is"
        if self.times == 1.0:
            return "moves with the carrier"
        return f"moves {self.times:.3g} times as far as the carrier"


STAYS = Move(times=0.0)


def moves_of(plan: Plan | None, shift_hz: float | None) -> tuple[Move, ...]:
    """The ways in which lines of a set may move; of the crystal's multiples where it is known.

    An LO moves as far as the carrier, whatever the IF, on either side; its crystal by one part in
    the multiplier, and the crystal's n-th multiple by n such parts.
    """
    if not shift_hz:
        return (STAYS,)
    if plan is None or plan.multiplier is None:
        return (STAYS, *(Move(times=times) for times in _UNPLANNED))
    parts = [count / plan.multiplier for count in range(1, _MOST_MULTIPLE + 1)]
    return (STAYS, *(Move(times=times) for times in sorted(parts, key=lambda t: abs(t - 1.0))))
