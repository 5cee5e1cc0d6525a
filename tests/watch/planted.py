"""Lines with planted drop-outs, in closed form: level and frequency against time, then noise.

Breaks: a contact's exponential fall and rise, a start at a random phase and off frequency. Pulls:
a hand on its way, capacitance as 1 / distance, loss as 1 / distance³, or an oscillator that stops
when the hand touches. Fades: a level in decibels that sinks and comes back as a raised cosine. All
with drift, mains hum on the level and on the frequency.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.model import IQBlock
from tests.signals import phasors

RATE_HZ = 64e3
CENTER_HZ = 83.5e6
LINE_HZ = 83.512e6
FRAME_NOISE_HZ = 3e3  # Hann frames of 0.5 ms every 0.25 ms: 1.5 / 0.5 ms

Doubles = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Event:
    """One drop-out as planted."""

    kind: str
    at_s: float
    for_s: float
    relative: Doubles
    """Amplitude in each sample of the event's stretch of time."""
    hz: Doubles
    """Frequency that it adds."""
    phase: float = 0.0
    """Of the start after it, turns."""


@dataclass(frozen=True, kw_only=True)
class Habits:
    """What the line does all the time."""

    amplitude: float = 0.05
    offset_hz: float = 40.0
    drift_hz_per_s: float = 8.0
    hum_depth: float = 0.1
    fm_hum_hz: float = 30.0
    snr_db: float = 20.0


def a_break(rng: np.random.Generator, t: Doubles, at_s: float, for_s: float) -> Event:
    fall_s, rise_s = rng.uniform(0.05e-3, 0.3e-3), rng.uniform(0.1e-3, 0.4e-3)
    end_s = at_s + for_s
    fallen = np.exp(-np.maximum(t - at_s, 0.0) / fall_s)
    risen = 1.0 - (1.0 - np.exp(-for_s / fall_s)) * np.exp(-np.maximum(t - end_s, 0.0) / rise_s)
    off_hz = rng.uniform(-400.0, 400.0) * np.exp(-np.maximum(t - end_s, 0.0) / 3e-3)
    return Event(
        kind="break",
        at_s=at_s,
        for_s=for_s,
        relative=np.where(t < at_s, 1.0, np.where(t < end_s, fallen, risen)),
        hz=np.where(t < end_s, 0.0, off_hz),
        phase=rng.random(),
    )


def a_pull(rng: np.random.Generator, t: Doubles, at_s: float, for_s: float) -> Event:
    """The hand touches from `at_s` on, for so long; where the level crosses −7 dB is told."""
    away_mm, touch_mm = 100.0, 2.0
    way_s = rng.uniform(0.15, 1.2)
    pull_hz = rng.choice([-1.0, 1.0]) * rng.uniform(600.0, 9_000.0)
    places_s = [at_s - way_s, at_s, at_s + for_s, at_s + for_s + way_s]
    mm = np.interp(t, places_s, [away_mm, touch_mm, touch_mm, away_mm])
    near = (1 / mm - 1 / away_mm) / (1 / touch_mm - 1 / away_mm)
    nearest = (mm**-3 - away_mm**-3) / (touch_mm**-3 - away_mm**-3)
    if rng.random() < 0.3:  # the oscillation ends altogether
        relative = np.where((t >= at_s) & (t < at_s + for_s), 0.0, 1.0)
    else:
        relative = 10.0 ** (-rng.uniform(18.0, 40.0) * nearest / 20.0)
    gone = np.flatnonzero(relative**2 < 0.2)
    return Event(
        kind="pull",
        at_s=float(t[gone[0]]),
        for_s=float(t[gone[-1]] - t[gone[0]]),
        relative=relative,
        hz=pull_hz * near,
    )


def a_fade(rng: np.random.Generator, t: Doubles, at_s: float, for_s: float) -> Event:
    way_s = rng.uniform(0.06, 1.2)
    part = np.interp(t, [at_s - way_s, at_s, at_s + for_s, at_s + for_s + way_s], [0, 1, 1, 0])
    depth_db = rng.uniform(15.0, 40.0)
    relative = 10.0 ** (-depth_db * 0.5 * (1.0 - np.cos(np.pi * part)) / 20.0)
    gone = np.flatnonzero(relative**2 < 0.2)
    return Event(
        kind="fade",
        at_s=float(t[gone[0]]),
        for_s=float(t[gone[-1]] - t[gone[0]]),
        relative=relative,
        hz=np.zeros_like(t),
    )


MAKERS = {"break": a_break, "pull": a_pull, "fade": a_fade}


def noise_amplitude(habits: Habits) -> float:
    """Of each part of a sample, so that the line stands `snr_db` over the noise of one frame."""
    density = habits.amplitude**2 / 10.0 ** (habits.snr_db / 10.0) / FRAME_NOISE_HZ
    return float(np.sqrt(density * RATE_HZ / 2.0))


class Stream:
    """A line with events, second by second, phase running on."""

    def __init__(self, habits: Habits, *, seed: int) -> None:
        self._habits = habits
        self._rng = np.random.default_rng(seed)
        self._noise = noise_amplitude(habits)
        self._index = 0
        self._turns = 0.0

    def stretch(
        self, seconds: float, kind: str | None = None, *, at_s: float = 0.0, for_s: float = 0.0
    ) -> tuple[IQBlock, Event | None]:
        """The next stretch, with one event in it that begins `at_s` after its beginning."""
        habits, samples = self._habits, round(seconds * RATE_HZ)
        t = (self._index + np.arange(samples)) / RATE_HZ
        event = None
        if kind is not None:
            event = MAKERS[kind](self._rng, t, t[0] + at_s, for_s)
        hum = np.sin(2 * np.pi * 100.0 * t)
        hz = LINE_HZ - CENTER_HZ + habits.offset_hz + habits.drift_hz_per_s * t
        hz += habits.fm_hum_hz * np.sin(2 * np.pi * 50.0 * t + 1.0)
        level = habits.amplitude * (1.0 + habits.hum_depth * hum)
        if event is not None:
            hz, level = hz + event.hz, level * event.relative
        turns = self._turns + np.cumsum(hz) / RATE_HZ
        self._turns = float(turns[-1] % 1.0)
        if event is not None and event.phase:
            turns = turns + np.where(t >= event.at_s + event.for_s, event.phase, 0.0)
            self._turns += event.phase
        samples_iq = level.astype(np.float32) * phasors(turns)
        parts = self._rng.standard_normal((samples, 2), dtype=np.float32) * np.float32(self._noise)
        block = IQBlock(
            samples=samples_iq + parts.view(np.complex64)[:, 0],
            rate_hz=RATE_HZ,
            center_hz=CENTER_HZ,
            index=self._index,
        )
        self._index += samples
        return block, event


def lengths_s(rng: np.random.Generator, count: int) -> Sequence[float]:
    """Of drop-outs: 2 ms to 300 ms, evenly on a logarithmic scale."""
    found: list[float] = np.exp(rng.uniform(np.log(2e-3), np.log(0.3), count)).tolist()
    return found


def blocks_of(block: IQBlock, samples: int) -> Iterator[IQBlock]:
    """The same in blocks of another length."""
    for at in range(0, block.samples.size, samples):
        yield IQBlock(
            samples=block.samples[at : at + samples].copy(),
            rate_hz=block.rate_hz,
            center_hz=block.center_hz,
            index=block.index + at,
        )
