"""When a carrier was on: stretches of the phase steps, their edges left out."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from sniff.model import Doubles
from sniff.modulation.phase import Run

_ON_ABOVE = 0.4  # of its own power, −4 dB
_OFF_BELOW = 0.1  # −10 dB
_ENERGY = 40.0  # power over noise, summed, from which on a moment can be told on from off
_EDGE_SHARE = 0.02
_LONGEST_EDGE_S = 2e-3  # what comes later is settling, and is told
_MOST_BETWEEN = 0.35
_EDGE_SAMPLES = 20  # channel samples that the filter needs to ring out at a key click
_LEAST_OFF = 0.002
_LEAST_STEPS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class OnTimes:
    """When it was on.

    Attributes
    ----------
    runs : tuple of Run
        Each stretch without its edges, in order of time; empty when all are too short.
    share : float
        Part of the observed time in which it was on, 0 to 1.
    times : int
        How many stretches there were, the too short ones counted too.
    longest_s : float
        Length of the longest with its edges, s.
    power : float
        Median power while on, FS², noise taken off.
    keyed : bool
        True when it was off in between, or before, or after.
    """

    runs: tuple[Run, ...]
    share: float
    times: int
    longest_s: float
    power: float
    keyed: bool


def on_times(runs: Sequence[Run], *, noise_power: float, rate_hz: float) -> OnTimes:
    """Tell when a carrier was on.

    A carrier that is keyed is either on or off and hardly ever between; one whose amplitude is
    modulated spends its time there, and counts as on throughout.

    Parameters
    ----------
    runs : sequence of Run
        Of the channel; at least one.
    noise_power : float
        In the channel, FS².
    rate_hz : float
        Of the channel, Hz.
    """
    step_s = runs[0].step_s
    power = np.concatenate([run.power for run in runs]) - noise_power
    every = 1
    while True:
        level = _level(_averaged(power, every))
        if level <= 0 or every * step_s * 8 > sum(run.seconds for run in runs):
            return _throughout(runs, max(level, 0.0))
        if noise_power <= 0 or level / noise_power * every * step_s * rate_hz >= _ENERGY:
            break
        every *= 2
    averaged = [_averaged(run.power - noise_power, every) for run in runs]
    joined = np.concatenate(averaged)
    off = float((joined < _OFF_BELOW * level).mean())
    between = float(((joined >= _OFF_BELOW * level) & (joined < 0.5 * level)).mean())
    if off < _LEAST_OFF or between > _MOST_BETWEEN * off:
        return _throughout(runs, float(power.mean()))
    trim = ceil(_EDGE_SAMPLES / rate_hz / step_s) + every
    found: list[Run] = []
    times, longest, total = 0, 0, 0
    for run, values in zip(runs, averaged, strict=True):
        for first, last in _stretches(values / level):
            begin, end = first * every, min(last * every, run.power.size)
            times += 1
            total += end - begin
            longest = max(longest, end - begin)
            edge = max(trim, int(min(_EDGE_SHARE * (end - begin), _LONGEST_EDGE_S / step_s)))
            if end - begin - 2 * edge >= _LEAST_STEPS:
                found.append(run.part(begin + edge, end - edge))
    steps = sum(run.power.size for run in runs)
    return OnTimes(
        runs=tuple(found),
        share=total / steps,
        times=times,
        longest_s=longest * step_s,
        power=level,
        keyed=True,
    )


def _throughout(runs: Sequence[Run], power: float) -> OnTimes:
    whole = tuple(run for run in runs if run.power.size >= _LEAST_STEPS)
    return OnTimes(
        runs=whole,
        share=1.0,
        times=len(runs),
        longest_s=max(run.seconds for run in runs),
        power=power,
        keyed=False,
    )


def _averaged(power: Doubles, every: int) -> Doubles:
    whole = power.size // every * every
    return np.asarray(power[:whole].reshape(-1, every) @ np.full(every, 1.0 / every))


def _level(power: Doubles) -> float:
    """Median of the upper half in power: the level of a carrier that may be on for a small part."""
    if power.size == 0:
        return 0.0
    top = float(np.quantile(power, max(0.0, 1.0 - 4.0 / power.size)))
    return float(np.median(power[power >= top / 2.0])) if top > 0 else 0.0


def _stretches(relative: Doubles) -> list[tuple[int, int]]:
    """Where it is on, by two thresholds: between them as before."""
    state = np.full(relative.size, -1, dtype=np.int8)
    state[relative >= _ON_ABOVE] = 1
    state[relative < _OFF_BELOW] = 0
    known = np.flatnonzero(state >= 0)
    if known.size == 0:
        return []
    before = np.maximum.accumulate(np.where(state >= 0, np.arange(state.size), known[0]))
    on = state[before] == 1
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
