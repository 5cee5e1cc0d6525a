"""From a line that was found to one that is followed: its grid, its own level, its thresholds."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from sniff.model import Caution, ComplexSamples
from sniff.units import format_frequency, format_seconds, format_span
from sniff.watch.follower import Follower
from sniff.watch.frames import Cutter, Grid
from sniff.watch.nouns import WatchSettings
from sniff.watch.search import Sighting
from sniff.watch.thresholds import thresholds
from sniff.watch.wide import WideLook

_LEARNT_FROM = 64
_RESOLUTIONS_S = (2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 1e-2, 2e-2, 5e-2, 0.1, 0.2, 0.5, 1.0)
_CLICK_FRAMES = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """Of the band in which the line was found.

    Attributes
    ----------
    line_hz : float
        Indicated frequency at the band's zero, Hz.
    rate_hz : float
        Of the band, Hz.
    view_hz : tuple of float
        Lowest and highest frequency that the source shows, from the band's zero, Hz.
    """

    line_hz: float
    rate_hz: float
    view_hz: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class TooWeak:
    """The line cannot be followed with the time resolution asked for.

    Attributes
    ----------
    would_do_s : float
        The finest resolution that would do, s; infinite when none would.
    """

    would_do_s: float


def set_up(
    found: Sighting, values: ComplexSamples, settings: WatchSettings, around: Surroundings
) -> tuple[Follower, tuple[Caution, ...]] | TooWeak:
    """Make what follows a line.

    Parameters
    ----------
    found : Sighting
    values : ndarray of complex64, shape (n,)
        The stretch of the band in which it was found.
    settings : WatchSettings
    around : Surroundings

    Returns
    -------
    Follower and cautions, or TooWeak
    """
    if settings.modulation_hz is None:
        settings = replace(settings, modulation_hz=found.reach_hz)
    grid = _grid(settings, around)
    own = _own_power(grid, values, found)
    noise = grid.noise(found.density)
    snr = own / noise if noise > 0 else inf
    chosen = thresholds(snr, frames=grid.averaged, decisions_per_s=grid.frame_hz)
    if own <= 0 or chosen is None:
        return TooWeak(would_do_s=_would_do_s(settings, found, around))
    wide = WideLook(grid, density=found.density, reach_hz=settings.reach_hz, view_hz=around.view_hz)
    span = (grid.averaged + 1) * grid.hop
    rows = np.lib.stride_tricks.sliding_window_view(values, span)[:: grid.hop]
    wide.learn(rows[:: max(1, rows.shape[0] // _LEARNT_FROM)], track_hz=found.hz, first=True)
    follower = Follower(
        grid,
        wide,
        settings,
        thresholds=chosen,
        line_hz=around.line_hz,
        track_hz=found.hz,
        own=own,
    )
    return follower, tuple(_cautions(found, grid, around))


def _grid(settings: WatchSettings, around: Surroundings) -> Grid:
    return Grid.of(
        resolution_s=settings.resolution_s,
        modulation_hz=settings.modulation_hz or 0.0,
        rate_hz=around.rate_hz,
    )


def _own_power(grid: Grid, values: ComplexSamples, found: Sighting) -> float:
    """The line's own power while it was there; 0 where the stretch is too short to tell."""
    rows = values.size // grid.hop
    if rows < grid.averaged + 2:
        return 0.0
    cut = values[: rows * grid.hop].reshape(rows, grid.hop)
    frames = Cutter(grid).cut(cut, track_hz=found.hz, start_s=0.0)
    level = frames.power - grid.noise(found.density)
    # The level of a line that is up for a small part of the time shows at the top; clicks of
    # static, shorter than any line, do not survive a median over some frames.
    whole = level.size // _CLICK_FRAMES * _CLICK_FRAMES
    calm = np.median(level[:whole].reshape(-1, _CLICK_FRAMES), axis=1) if whole else level
    return float(np.median(calm[calm >= calm.max() / 3.0])) if calm.max() > 0 else 0.0


def _would_do_s(settings: WatchSettings, found: Sighting, around: Surroundings) -> float:
    """The finest resolution, coarser than asked for, at which its mean power would do."""
    for resolution_s in (step for step in _RESOLUTIONS_S if step > settings.resolution_s):
        grid = _grid(replace(settings, resolution_s=resolution_s), around)
        snr = found.power / grid.noise(found.density)
        if thresholds(snr, frames=grid.averaged, decisions_per_s=grid.frame_hz):
            return resolution_s
    return inf


def _cautions(found: Sighting, grid: Grid, around: Surroundings) -> Iterator[Caution]:
    """Of other lines: the one in the same filter, and the strongest elsewhere."""
    inside = [hz for hz in found.others_hz if abs(hz - found.hz) < grid.frame_hz]
    outside = [hz for hz in found.others_hz if hz not in inside]
    if inside:
        apart_hz = abs(inside[0] - found.hz)
        text = (
            f"another line stands {format_span(apart_hz)} beside it, in the same filter: their "
            f"beat looks like drop-outs. A --resolution of {format_seconds(8.0 / apart_hz)} or "
            "more tells them apart"
        )
        yield Caution(code="two-lines", text=text)
    if outside:
        other = format_frequency(around.line_hz + outside[0])
        text = f"another line stands near, at {other} as indicated; the stronger one is watched"
        yield Caution(code="other-line", text=text)
