"""Where to tune for stays: each line off the centre, and none where another one's mirror falls."""

from collections.abc import Sequence
from math import inf

from sniff.model import SourceInfo
from sniff.sweep.candidates import Candidate
from sniff.tuning import Tuning

MOST_REFINED = 80
"""Lines stayed at in one sweep; the weaker ones keep the sweep's own frequency."""

# Of the usable span: nearer to its edge the shape learned from noise, which folds in there, falls
# less than a line does.
_LEVEL_SHARE = 0.7
_GUARD_SHARE = 0.02  # of the rate: how far a line stays from the centre


def plan_stays(candidates: Sequence[Candidate], info: SourceInfo) -> tuple[Tuning, ...]:
    """Tunings that show the strongest candidates, as few as put them all on one side of a centre.

    There no line lies under the spike, and none where the mirror of another one falls.

    Returns
    -------
    tuple of Tuning
        With the numbers of the candidates.
    """
    chosen = [number for number, one in enumerate(candidates) if not one.momentary][:MOST_REFINED]
    chosen.sort(key=lambda number: candidates[number].window.middle_hz)
    if not info.tunable:
        return _held(candidates, chosen, info)
    reach_hz = _LEVEL_SHARE * info.usable_fraction * info.rate_hz / 2.0
    room_hz = reach_hz - _GUARD_SHARE * info.rate_hz
    groups: list[list[int]] = []
    for number in chosen:
        low_hz = candidates[groups[-1][0]].window.low_hz if groups else -inf
        if candidates[number].window.high_hz - low_hz <= room_hz:
            groups[-1].append(number)
        else:
            groups.append([number])
    return tuple(
        Tuning(center_hz=_beside(group, candidates, info, reach_hz), windows=tuple(group))
        for group in groups
    )


def _beside(
    group: Sequence[int], candidates: Sequence[Candidate], info: SourceInfo, reach_hz: float
) -> float:
    """A centre below the group, or above it where the tuner does not reach so far down."""
    windows = [candidates[number].window for number in group]
    middle_hz = (
        min(window.low_hz for window in windows) + max(window.high_hz for window in windows)
    ) / 2.0
    apart_hz = (reach_hz + _GUARD_SHARE * info.rate_hz) / 2.0
    lowest_hz, highest_hz = info.range_hz or (0.0, inf)
    below_hz, above_hz = middle_hz - apart_hz, middle_hz + apart_hz
    return min(above_hz, highest_hz) if below_hz < lowest_hz else below_hz


def _held(
    candidates: Sequence[Candidate], numbers: Sequence[int], info: SourceInfo
) -> tuple[Tuning, ...]:
    """Of what a recording holds, where each line lies farthest from both spike and edge; one that
    was in one hop only is looked for in another."""
    best_hz = info.usable_fraction * info.rate_hz / 4.0
    found: dict[float, list[int]] = {}
    for number in numbers:
        candidate = candidates[number]

        def badness(center_hz: float, candidate: Candidate = candidate) -> tuple[bool, float]:
            same = candidate.once and center_hz == candidate.strongest_hz
            distance_hz = abs(candidate.window.middle_hz - center_hz)
            usable = distance_hz <= info.usable_fraction * info.rate_hz / 2.0
            return same or not usable, abs(distance_hz - best_hz)

        found.setdefault(min(info.centers_hz, key=badness), []).append(number)
    return tuple(
        Tuning(center_hz=center_hz, windows=tuple(mine)) for center_hz, mine in found.items()
    )
