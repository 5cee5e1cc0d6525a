"""A soak in the shape of a watch, for the picture that watches have."""

from dataclasses import dataclass

import numpy as np

from sniff.soak.nouns import Kept
from sniff.soak.summary import SoakResult
from sniff.soak.writing import MINUTE_S
from sniff.watch.nouns import Dropout, WatchResult
from sniff.watch.trace import Trace


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AsWatch:
    """Times count from the first minute's beginning; frequencies are corrected already."""

    result: WatchResult
    trace: Trace


def as_watch(result: SoakResult, kept: Kept) -> AsWatch | None:
    """Lay the minutes side by side; None where there is none."""
    if not kept.minutes:
        return None
    numbers = np.array([int(minute.start_utc_s // MINUTE_S) for minute in kept.minutes])
    zero_s = float(numbers[0] * MINUTE_S)
    dropouts = tuple(
        Dropout(
            start_s=dropout.start_utc_s - zero_s,
            duration_s=dropout.duration_s or 0.0,
            depth_db=dropout.depth_db or 0.0,
            pull_hz=dropout.pull_hz,
            kind=dropout.kind,
            before_dbfs=dropout.before_dbfs or 0.0,
            before_hz=None,
            ended=dropout.duration_s is not None,
            fall=None,
            rise=None,
        )
        for dropout in kept.dropouts
    )
    return AsWatch(
        result=WatchResult(
            verdict=result.verdict,
            why=result.why,
            observed_s=result.observed_s,
            unobserved_s=result.unobserved_s,
            present_fraction=result.present_fraction,
            level_dbfs=result.level_dbfs,
            level_spread_db=result.level_spread_db,
            level_slope_db_per_hour=None,
            level_frequency_correlation=None,
            would_see_dbfs=None,
            indicated_hz=None,
            u_indicated_hz=None,
            frequency_hz=None,
            u_hz=None,
            resolution_s=kept.setup.resolution_s,
            dropouts=dropouts,
            dropout_count=result.dropout_count,
            rate_per_hour=result.rate_per_hour,
            drift_hz_per_hour=None,
            stability=(),
        ),
        trace=_trace(kept, numbers - numbers[0]),
    )


def _trace(kept: Kept, steps: np.ndarray) -> Trace:
    """Minutes of several runs in one are joined; the levels of the last one stand."""
    size = int(steps.max()) + 1
    observed, present = np.zeros(size), np.zeros(size)
    power, lowest, highest, hz = (np.full(size, np.nan) for _ in range(4))
    for step, minute in zip(steps.tolist(), kept.minutes, strict=True):
        observed[step] += minute.observed_s / MINUTE_S
        present[step] += minute.present_s / MINUTE_S
        power[step] = _power(minute.median_dbfs)
        lowest[step], highest[step] = _power(minute.lowest_dbfs), _power(minute.highest_dbfs)
        if minute.offset_hz is not None:
            hz[step] = kept.setup.line_hz + minute.offset_hz
    with np.errstate(invalid="ignore"):
        part = np.where(observed > 0, present / observed, np.nan)
    return Trace(
        start_s=0.0,
        step_s=MINUTE_S,
        observed=np.minimum(observed, 1.0),
        present=np.minimum(part, 1.0),
        power=power,
        lowest=lowest,
        highest=highest,
        hz=hz,
    )


def _power(level_dbfs: float | None) -> float:
    return float("nan") if level_dbfs is None else 10.0 ** (level_dbfs / 10.0)
