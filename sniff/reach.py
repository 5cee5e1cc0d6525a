"""What a source can show, in words: where a recording was tuned to, how far a tuner goes."""

from collections.abc import Sequence

from sniff.model import SourceInfo
from sniff.units import format_frequency

_MOST_NAMED = 4


def centers_in_words(centers_hz: Sequence[float]) -> str:
    """``83.6 MHz, 27.9 MHz``, or how many from where to where, when they are many as of a sweep."""
    if len(centers_hz) <= _MOST_NAMED:
        return ", ".join(format_frequency(hz) for hz in centers_hz)
    low, high = format_frequency(min(centers_hz)), format_frequency(max(centers_hz))
    return f"{len(centers_hz)} centres from {low} to {high}"


def out_of_reach(info: SourceInfo) -> str:
    """Why a frequency cannot be seen, to follow "is": what the source shows instead."""
    if info.tunable and info.range_hz is not None:
        low, high = (format_frequency(hz) for hz in info.range_hz)
        return f"outside what this source can tune, {low} to {high}"
    spans = _spans_hz(info)
    named = ", ".join(f"{format_frequency(low)} to {format_frequency(high)}" for low, high in spans)
    if len(spans) > _MOST_NAMED:
        low, high = format_frequency(spans[0][0]), format_frequency(spans[-1][1])
        named = f"{len(spans)} parts of {low} to {high}"
    return f"not in this recording, which holds {named}"


def _spans_hz(info: SourceInfo) -> list[tuple[float, float]]:
    """What the captures show, from low to high, those that touch as one."""
    spans: list[tuple[float, float]] = []
    for center_hz in sorted(info.centers_hz):
        low_hz, high_hz = center_hz - info.rate_hz / 2.0, center_hz + info.rate_hz / 2.0
        if spans and low_hz <= spans[-1][1]:
            spans[-1] = (spans[-1][0], high_hz)
        else:
            spans.append((low_hz, high_hz))
    return spans
