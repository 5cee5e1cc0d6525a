"""Drop-outs before and after the repair, and how sure one can be that it helped."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sniff.job.entries import FileKind, Reading
from sniff.plainwords import improvement_in_words, rate_in_words
from sniff.report.html.fields import number, rows, table, words
from sniff.report.html.pairing import Sides, of_command
from sniff.sureness import Change, Improvement, RatePerHour, improvement, rate_per_hour
from sniff.units import format_frequency, format_seconds

_SAME_LINE = 200e-6
"""Two watches nearer than this, relatively, are of one line: no tolerance of a set is wider."""


@dataclass(frozen=True, kw_only=True)
class Watched:
    """All watches of one line on one side of the repair.

    Attributes
    ----------
    readings : tuple of Reading
    rate : RatePerHour or None
        Over all of them; None when the line was not found.
    observed, events, kinds, longest, says : str
    """

    readings: tuple[Reading, ...]
    rate: RatePerHour | None
    observed: str
    events: str
    kinds: str
    longest: str
    says: str


@dataclass(frozen=True, kw_only=True)
class WatchPair:
    """One line watched before and after."""

    line: str
    place: str
    before: Watched | None
    after: Watched | None
    change: Improvement | None
    says: str

    @property
    def better(self) -> bool:
        """Whether it is shown that the repair helped."""
        return self.change is not None and self.change.change is Change.BETTER


def watch_pairs(sides: Sides) -> tuple[WatchPair, ...]:
    """Pool the watches of each line on each side, and compare."""
    before, after = of_command(sides.before, "watch"), of_command(sides.after, "watch")
    return tuple(
        _pair(
            place,
            line_hz,
            [r for r in before if _is_of(r, place, line_hz)],
            [r for r in after if _is_of(r, place, line_hz)],
        )
        for place, line_hz in _lines([*before, *after])
    )


def _lines(readings: Iterable[Reading]) -> list[tuple[str, float | None]]:
    found: list[tuple[str, float | None]] = []
    for reading in readings:
        if not any(_is_of(reading, place, line_hz) for place, line_hz in found):
            found.append((reading.place or "", _line_hz(reading)))
    known = [line for line in found if line[1] is not None]
    return known or found


def _line_hz(reading: Reading) -> float | None:
    for key in ("frequency_hz", "line_hz", "indicated_hz"):
        line_hz = number(reading.result, key)
        if line_hz is not None:
            return line_hz
    return None


def _is_of(reading: Reading, place: str, line_hz: float | None) -> bool:
    if (reading.place or "") != place:
        return False
    own_hz = _line_hz(reading)
    # A watch that found nothing tells no frequency; it belongs to whatever was watched there.
    return own_hz is None or line_hz is None or abs(own_hz / line_hz - 1.0) <= _SAME_LINE


def _pair(
    place: str, line_hz: float | None, before: Sequence[Reading], after: Sequence[Reading]
) -> WatchPair:
    sides = [_watched(_each_once(side)) if side else None for side in (before, after)]
    rates = [None if side is None else side.rate for side in sides]
    change = (
        improvement(rates[0], rates[1]) if rates[0] is not None and rates[1] is not None else None
    )
    return WatchPair(
        line="the line" if line_hz is None else format_frequency(round(line_hz, -3)),
        place=place,
        before=sides[0],
        after=sides[1],
        change=change,
        says="" if change is None else improvement_in_words(change),
    )


def _each_once(readings: Sequence[Reading]) -> list[Reading]:
    """Without those that tell of the same time again, of which the latest stands for them all.

    A soak that went on tells all of it anew, and so does a recording that is watched again.
    """
    latest: dict[object, Reading] = {}
    for reading in readings:
        began = words(reading.result, "began_utc")
        recordings = tuple(sorted(file.sha256 for file in reading.kept(FileKind.RECORDING)))
        latest[began or recordings or reading.number] = reading
    return sorted(latest.values(), key=lambda reading: reading.number)


def _watched(readings: Sequence[Reading]) -> Watched:
    rates = [table(reading.result, "rate_per_hour") for reading in readings]
    events = sum(int(number(rate, "events") or 0) for rate in rates)
    observed_s = sum(number(rate, "observed_s") or 0.0 for rate in rates)
    rate = rate_per_hour(events, observed_s)
    dropouts = [one for reading in readings for one in rows(reading.result, "dropouts")]
    kinds = Counter(words(one, "kind") or "unknown" for one in dropouts)
    lengths = [length for one in dropouts if (length := number(one, "duration_s")) is not None]
    whys = [words(reading.result, "why") for reading in readings]
    return Watched(
        readings=tuple(readings),
        rate=rate,
        observed=format_seconds(observed_s),
        events=str(events),
        kinds=", ".join(f"{count} {kind}" for kind, count in kinds.most_common()) or "none",
        longest=format_seconds(max(lengths)) if lengths else "none",
        says=rate_in_words(rate) if rate is not None else "; ".join(filter(None, whys)),
    )
