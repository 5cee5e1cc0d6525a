"""What a watch saw, as a tap test asks for it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from sniff.regularity import Stretch
from sniff.taps.pairing import Watched
from sniff.units import to_db
from sniff.watch.nouns import Dropout
from sniff.watch.trace import Trace

_WHOLE = 0.9  # part of a step from which on it is taken for observed: steps hold whole decisions


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    start_s: float
    median_dbfs: float | None
    indicated_hz: float | None


def watched_of(dropouts: Sequence[Dropout], trace: Trace, *, dropout_count: int) -> Watched:
    """Join drop-outs and trace of one watch.

    Parameters
    ----------
    dropouts : sequence of Dropout
    trace : Trace
    dropout_count : int
        How many there were: after the last one that was kept, nothing is known to have begun or
        not, so that time does not count as observed.
    """
    end_s = None
    if dropout_count > len(dropouts):
        end_s = dropouts[-1].end_s if dropouts else trace.start_s
    return Watched(dropouts=dropouts, observed=_stretches(trace, end_s), rows=tuple(_steps(trace)))


def _stretches(trace: Trace, end_s: float | None) -> tuple[Stretch, ...]:
    stretches: list[Stretch] = []
    for number, part in enumerate(trace.observed.tolist()):
        start_s = trace.start_s + number * trace.step_s
        stop_s = start_s + trace.step_s * (1.0 if part > _WHOLE else part)
        if end_s is not None:
            stop_s = min(stop_s, end_s)
        if stop_s <= start_s:
            continue
        if stretches and start_s - stretches[-1][1] < 1e-6:
            stretches[-1] = (stretches[-1][0], stop_s)
        else:
            stretches.append((start_s, stop_s))
    return tuple(stretches)


def _steps(trace: Trace) -> list[_Step]:
    return [
        _Step(
            start_s=trace.start_s + number * trace.step_s,
            median_dbfs=to_db(power) if isfinite(power) else None,
            indicated_hz=hz if isfinite(hz) else None,
        )
        for number, (power, hz) in enumerate(
            zip(trace.power.tolist(), trace.hz.tolist(), strict=True)
        )
    ]
