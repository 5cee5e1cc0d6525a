"""Tunings: which centre frequencies show which lines, each line away from the DC spike."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sniff.model import SourceInfo

_GUARD_SHARE = 0.02  # of the rate: how far a window stays from the centre


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Where a line is searched, on the indicated scale.

    Attributes
    ----------
    low_hz, high_hz : float
        Bounds, Hz.
    """

    low_hz: float
    high_hz: float

    @property
    def middle_hz(self) -> float:
        """Middle, Hz."""
        return (self.low_hz + self.high_hz) / 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """A centre frequency and the windows that it shows, by their numbers."""

    center_hz: float
    windows: tuple[int, ...]


def choose_tunings(windows: Sequence[Window], info: SourceInfo) -> tuple[Tuning, ...]:
    """Assign windows to tunings; a window that no tuning shows is in none.

    A tunable source gets as few tunings as hold all windows inside the usable part of the span
    and off its centre. A recording has the tunings it has: each window goes where its middle is
    in view, and lies best.
    """
    if info.tunable:
        return _new_tunings(windows, info)
    chosen: dict[float, list[int]] = {}
    for number, window in enumerate(windows):
        offers = [
            (_overlap(window, center, info.rate_hz), abs(window.middle_hz - center), center)
            for center in info.centers_hz
            if abs(window.middle_hz - center) < info.rate_hz / 2.0
        ]
        if offers:
            # Most of the window in view; then as far from the spike as the usable span allows.
            best = max(offers, key=lambda o: (o[0], o[1] < 0.4 * info.rate_hz, o[1]))
            chosen.setdefault(best[2], []).append(number)
    return tuple(
        Tuning(center_hz=center, windows=tuple(numbers)) for center, numbers in chosen.items()
    )


def _overlap(window: Window, center_hz: float, rate_hz: float) -> float:
    low = max(window.low_hz, center_hz - rate_hz / 2.0)
    high = min(window.high_hz, center_hz + rate_hz / 2.0)
    return max(0.0, high - low) / max(window.high_hz - window.low_hz, 1.0)


def _new_tunings(windows: Sequence[Window], info: SourceInfo) -> tuple[Tuning, ...]:
    span = info.usable_fraction * info.rate_hz
    lowest, highest = info.range_hz or (0.0, float("inf"))
    order = sorted(range(len(windows)), key=lambda number: windows[number].low_hz)
    made: list[Tuning] = []
    group: list[int] = []
    center: float | None = None
    for number in [*order, None]:
        if number is not None:
            trial = [*group, number]
            found = _center([windows[n] for n in trial], span, info.rate_hz, lowest, highest)
            if found is not None:
                group, center = trial, found
                continue
        if center is not None:
            made.append(Tuning(center_hz=center, windows=tuple(group)))
        group, center = [], None
        if number is not None:
            center = _center([windows[number]], span, info.rate_hz, lowest, highest)
            group = [number] if center is not None else []
    return tuple(made)


def _center(
    windows: Sequence[Window], span: float, rate_hz: float, lowest: float, highest: float
) -> float | None:
    """A centre with all windows in the span and, where they leave room, none near the middle."""
    low = max(lowest, max(w.high_hz for w in windows) - span / 2.0)
    high = min(highest, min(w.low_hz for w in windows) + span / 2.0)
    if low > high:
        # A single window wider than the span is still looked at, about its middle.
        wide = len(windows) == 1 and windows[0].high_hz - windows[0].low_hz > span
        middle = windows[0].middle_hz + _GUARD_SHARE * rate_hz
        return middle if wide and lowest <= middle <= highest else None
    trials = np.linspace(low, high, 257)
    clear = np.full(trials.size, np.inf)
    for window in windows:
        outside = np.maximum(window.low_hz - trials, trials - window.high_hz)
        nearest = np.where(outside > 0, outside, -1.0)
        # Where a window is too wide to stay clear of the centre, at least its middle does.
        clear = np.minimum(
            clear, np.where(nearest > 0, nearest, -1.0 / (1.0 + abs(window.middle_hz - trials)))
        )
    good = clear >= _GUARD_SHARE * rate_hz
    if good.any():
        # Of those, the one that keeps the windows farthest from the roll-off.
        spread = np.max([np.abs(trials - w.middle_hz) for w in windows], axis=0)
        return float(trials[np.flatnonzero(good)[np.argmin(spread[good])]])
    if len(windows) > 1:
        return None
    return float(trials[int(np.argmax(clear))])
