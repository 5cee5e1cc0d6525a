"""Which drop-out answers which tap: by time alone."""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Protocol

from sniff.regularity import Stretch
from sniff.taps.nouns import THERMAL, Provocation, Stroke, Tally, Tap, Windows
from sniff.watch.nouns import Kind

_ENOUGH_OBSERVED = 0.9
_ENOUGH_OF_WINDOW = 0.2
_BEFORE_S = 10.0  # in which the frequency before cold or heat is taken
_PIECE_S = 5.0  # whose median is taken after it, so that noise makes no drift


class Dropout(Protocol):
    """What of a drop-out matters here; `sniff.watch.nouns.Dropout` is one."""

    @property
    def start_s(self) -> float: ...
    @property
    def end_s(self) -> float: ...
    @property
    def kind(self) -> Kind | None: ...


class Row(Protocol):
    """What of a summary's row matters here; `sniff.watch.nouns.Row` is one."""

    @property
    def start_s(self) -> float: ...
    @property
    def median_dbfs(self) -> float | None: ...
    @property
    def indicated_hz(self) -> float | None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What a watch saw while taps fell.

    Attributes
    ----------
    dropouts : sequence of Dropout
        In order of time.
    observed : sequence of (float, float)
        Stretches that were observed, in order, s.
    rows : sequence of Row
        The watch's summary, for the drift under cold and heat.
    """

    dropouts: Sequence[Dropout]
    observed: Sequence[Stretch]
    rows: Sequence[Row] = ()


def pair(taps: Iterable[Tap], watched: Watched, windows: Windows) -> tuple[Stroke, ...]:
    """Find what came of each tap.

    A drop-out answers a tap when it begins within the window, which ends where the next tap's
    begins. Drop-outs of kind ``pull`` are no answer: something near detuned the oscillator, its
    contact held. A tap does not count when the line was gone already, when a tenth of its window
    was unobserved, or when the next tap left less than a fifth of it.

    Returns
    -------
    tuple of Stroke
        In order of time.
    """
    seen = _Seen(watched)
    ordered = sorted(taps, key=lambda tap: tap.at_s)
    ends_s = [tap.at_s - windows.reaction_s for tap in ordered[1:]]
    strokes = []
    for number, tap in enumerate(ordered):
        from_s, to_s = tap.at_s - windows.reaction_s, tap.at_s + windows.after_s(tap.by)
        cut_s = min(to_s, ends_s[number]) if number < len(ends_s) else to_s
        too_soon = cut_s - from_s < _ENOUGH_OF_WINDOW * (to_s - from_s)
        why = "the next tap came too soon" if too_soon else seen.why_blind(from_s, cut_s)
        strokes.append(_stroke(tap, from_s, cut_s, why, seen))
    return tuple(strokes)


def untouched(watched: Watched, taps: Iterable[Tap], windows: Windows, by: Provocation) -> Tally:
    """The same windows laid over the time in which nothing was touched.

    Returns
    -------
    Tally
        How many windows there were, and in how many a drop-out began that was no pull.
    """
    touched = sorted(
        (tap.at_s - windows.reaction_s, tap.at_s + windows.after_s(tap.by)) for tap in taps
    )
    seen, length_s = _Seen(watched), windows.length_s(by)
    count = answered = 0
    for start_s, end_s in _without(watched.observed, touched):
        for number in range(int((end_s - start_s) / length_s)):
            from_s = start_s + number * length_s
            if seen.gone_at(from_s):
                continue
            count += 1
            answered += bool(seen.begun(from_s, from_s + length_s, pulls=False))
    return Tally(answered=answered, taps=count)


class _Seen:
    """What was seen, to be asked by time."""

    def __init__(self, watched: Watched) -> None:
        self.watched = watched
        self._dropouts = watched.dropouts
        self._starts_s = [dropout.start_s for dropout in watched.dropouts]

    def begun(self, from_s: float, to_s: float, *, pulls: bool) -> list[Dropout]:
        """The drop-outs that began then, and are pulls or are none."""
        first, last = bisect_left(self._starts_s, from_s), bisect_left(self._starts_s, to_s)
        # One without a kind was not seen to begin.
        return [
            drop
            for drop in self._dropouts[first:last]
            if drop.kind is not None and (drop.kind is Kind.PULL) is pulls
        ]

    def gone_at(self, at_s: float) -> bool:
        """Whether the line was not there in this moment."""
        before = bisect_left(self._starts_s, at_s)
        return before > 0 and self._dropouts[before - 1].end_s > at_s

    def why_blind(self, from_s: float, to_s: float) -> str | None:
        """Why a drop-out could not have begun, or been seen, in this time."""
        seen_s = sum(
            max(0.0, min(to_s, end_s) - max(from_s, start_s))
            for start_s, end_s in self.watched.observed
        )
        if seen_s < _ENOUGH_OBSERVED * (to_s - from_s):
            return "not all of its time was observed"
        return "the line was gone already" if self.gone_at(from_s) else None


def _stroke(tap: Tap, from_s: float, to_s: float, why: str | None, seen: _Seen) -> Stroke:
    begun = seen.begun(from_s, to_s, pulls=False)
    drift = _drift(tap, to_s, seen.watched.rows) if tap.by in THERMAL else (None, None)
    return Stroke(
        tap=tap,
        from_s=from_s,
        to_s=to_s,
        answered=bool(begun) if why is None else None,
        why_not_counted=why,
        dropouts=len(begun),
        pulls=len(seen.begun(from_s, to_s, pulls=True)),
        after_s=begun[0].start_s - tap.at_s if begun else None,
        drift_hz=drift[0],
        drift_db=drift[1],
    )


def _without(stretches: Iterable[Stretch], cut: Sequence[Stretch]) -> list[Stretch]:
    """What is left of `stretches`; `cut` is in order of its beginnings."""
    left = []
    for start_s, end_s in stretches:
        at_s = start_s
        for from_s, to_s in cut:
            if from_s > at_s:
                left.append((at_s, min(from_s, end_s)))
            at_s = max(at_s, to_s)
            if at_s >= end_s:
                break
        left.append((at_s, end_s))
    return [(start_s, end_s) for start_s, end_s in left if end_s > start_s]


def _drift(tap: Tap, to_s: float, rows: Sequence[Row]) -> tuple[float | None, float | None]:
    before = [row for row in rows if tap.at_s - _BEFORE_S <= row.start_s < tap.at_s]
    after = [row for row in rows if tap.at_s <= row.start_s < to_s]
    pieces = [int((row.start_s - tap.at_s) / _PIECE_S) for row in after]
    return (
        _largest_change(
            [row.indicated_hz for row in before], pieces, [row.indicated_hz for row in after]
        ),
        _largest_change(
            [row.median_dbfs for row in before], pieces, [row.median_dbfs for row in after]
        ),
    )


def _largest_change(
    before: Sequence[float | None], pieces: Sequence[int], after: Sequence[float | None]
) -> float | None:
    known = [value for value in before if value is not None]
    by_piece: dict[int, list[float]] = {}
    for piece, value in zip(pieces, after, strict=True):
        if value is not None:
            by_piece.setdefault(piece, []).append(value)
    if not known or not by_piece:
        return None
    return max((median(values) - median(known) for values in by_piece.values()), key=abs)
