"""Which readings stand for "before", and which for "after"."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sniff.job.entries import Reading, Stage

BEFORE = frozenset({Stage.ARRIVAL, Stage.BEFORE})
AFTER = frozenset({Stage.AFTER, Stage.SOAK})


@dataclass(frozen=True, kw_only=True)
class Sides:
    """Readings on both sides of the repair, the oldest first.

    Attributes
    ----------
    before : tuple of Reading
        Stages arrival and before.
    after : tuple of Reading
        Stages after and soak, from the last reading before on: who finds that the fault is still
        there, and measures "before" anew, begins anew.
    overtaken : int
        How many readings of stages after and soak are left out by that.
    """

    before: tuple[Reading, ...]
    after: tuple[Reading, ...]
    overtaken: int


def sides_of(readings: Sequence[Reading]) -> Sides:
    """Sort readings by the side of the repair on which they lie."""
    before = [reading for reading in readings if reading.stage in BEFORE]
    after = [reading for reading in readings if reading.stage in AFTER]
    last = max((reading.number for reading in before), default=0)
    counted = [reading for reading in after if reading.number > last]
    return Sides(before=tuple(before), after=tuple(counted), overtaken=len(after) - len(counted))


def of_command(readings: Iterable[Reading], command: str) -> list[Reading]:
    """Readings of one command that have a result."""
    return [reading for reading in readings if reading.command == command and reading.result]
