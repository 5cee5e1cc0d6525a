"""A contact in an oscillator's supply, and how the oscillator starts and stops with it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sniff.model import Doubles
from sniff.sources.bench.schema import Joint, Keying, StartUp

_DRAWN_AT_ONCE = 64
_SILENT = 0.01
"""Amplitude below which an oscillator has lost its phase and starts anew."""

_FORGOTTEN = 40.0
"""Time constants after which an exponential is below what a float64 shows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """A moment at which the contact makes or breaks."""

    at_s: float
    closed: bool


def joint_edges(joint: Joint, rng: np.random.Generator) -> Iterator[Edge]:
    """Edges of a cracked joint, closed at first; without end where chance rules."""
    for at_s, dwell_s, closed in _dwells(joint, rng):
        yield Edge(at_s=at_s, closed=closed)
        # A short dwell shortens the chatter, so that it is over before the next edge.
        chatter_s = np.sort(rng.random(2 * joint.bounces)) * min(joint.bounce_s, dwell_s / 2)
        if joint.bounce_s > 0:
            state = closed
            for after_s in chatter_s.tolist():
                state = not state
                yield Edge(at_s=at_s + after_s, closed=state)


def _dwells(joint: Joint, rng: np.random.Generator) -> Iterator[tuple[float, float, bool]]:
    """Begin, length and state of each dwell after the first."""
    if joint.connected_s is None or joint.open_s is None:
        for number, gap in enumerate(joint.breaks):
            yield gap.at_s, gap.for_s, False
            later = joint.breaks[number + 1 : number + 2]
            end_s = gap.at_s + gap.for_s
            yield end_s, (later[0].at_s - end_s if later else np.inf), True
        return
    at_s = joint.connected_s * float(rng.standard_exponential())
    closed = False
    while True:
        mean_s = joint.connected_s if closed else joint.open_s
        dwell_s = mean_s * float(rng.standard_exponential())
        yield at_s, dwell_s, closed
        at_s += dwell_s
        closed = not closed


def keying_edges(keying: Keying) -> Iterator[Edge]:
    """Edges of regular keying: open at first, then marks and spaces without end."""
    mark = 0
    while True:
        at_s = keying.first_s + mark * (keying.on_s + keying.off_s)
        yield Edge(at_s=at_s, closed=True)
        yield Edge(at_s=at_s + keying.on_s, closed=False)
        mark += 1


class Contact:
    """Amplitude and phase of an oscillator behind a contact.

    The amplitude goes exponentially to 1 when the contact is closed and to 0 when it is open. An
    oscillator that had died away starts at a random phase, and off its frequency.

    Parameters
    ----------
    edges : iterator of Edge
        In order of time.
    closed : bool
        State before the first edge.
    start_up : StartUp
        Time constants.
    oscillator_hz : float
        What `StartUp.ppm` refers to, Hz.
    rng : Generator
        For the phases.
    """

    def __init__(
        self,
        edges: Iterator[Edge],
        *,
        closed: bool,
        start_up: StartUp,
        oscillator_hz: float,
        rng: np.random.Generator,
    ) -> None:
        self._edges = edges
        self._start_up = start_up
        self._off_cycles = oscillator_hz * start_up.ppm * 1e-6 * start_up.settle_s
        self._rng = rng
        self._memory_s = _FORGOTTEN * max(start_up.rise_s, start_up.fall_s, start_up.settle_s)
        # One entry per edge: its time, the state after it, the amplitude at it, and of the start
        # that counts from then on the time and the phase. Long before the first edge all rests.
        self._at_s = [-np.inf]
        self._closed = [closed]
        self._amplitude = [1.0 if closed else 0.0]
        self._start_s = [-np.inf]
        self._phase = [0.0]
        self._ended = False

    def is_steady(self, from_s: float, to_s: float) -> bool:
        """Whether nothing changes in this stretch of time."""
        self._reach(to_s)
        last = int(np.searchsorted(self._at_s, to_s, side="right")) - 1
        return self._at_s[last] + self._memory_s < from_s

    def course(self, true_s: Doubles) -> tuple[Doubles, Doubles]:
        """Amplitude, 0 to 1, and phase in cycles at these times, which must ascend."""
        self._reach(float(true_s[-1]))
        edge = np.searchsorted(self._at_s, true_s, side="right") - 1
        closed = np.asarray(self._closed)[edge]
        goal = closed.astype(np.float64)
        constant_s = np.where(closed, self._start_up.rise_s, self._start_up.fall_s)
        since_s = true_s - np.asarray(self._at_s)[edge]
        amplitude = goal + (np.asarray(self._amplitude)[edge] - goal) * np.exp(
            -since_s / constant_s
        )
        # The integral of a frequency error that dies away, less its end value: what is left for
        # good is not seen, as the phase of a start is random anyway.
        started_s = true_s - np.asarray(self._start_s)[edge]
        phase = np.asarray(self._phase)[edge] - self._off_cycles * np.exp(
            -started_s / self._start_up.settle_s
        )
        return amplitude, phase

    def forget(self, before_s: float) -> None:
        """Drop the edges that no longer matter from this moment on."""
        keep = int(np.searchsorted(self._at_s, before_s - self._memory_s, side="right")) - 1
        if keep > _DRAWN_AT_ONCE:
            for column in (
                self._at_s,
                self._closed,
                self._amplitude,
                self._start_s,
                self._phase,
            ):
                del column[:keep]

    def _reach(self, true_s: float) -> None:
        while not self._ended and self._at_s[-1] <= true_s:
            edge = next(self._edges, None)
            if edge is None:
                self._ended = True
                return
            self._append(edge)

    def _append(self, edge: Edge) -> None:
        was_closed = self._closed[-1]
        goal = 1.0 if was_closed else 0.0
        constant_s = self._start_up.rise_s if was_closed else self._start_up.fall_s
        passed = float(np.exp(-(edge.at_s - self._at_s[-1]) / constant_s))
        amplitude = goal + (self._amplitude[-1] - goal) * passed
        starts = edge.closed and amplitude < _SILENT
        self._at_s.append(edge.at_s)
        self._closed.append(edge.closed)
        self._amplitude.append(amplitude)
        self._start_s.append(edge.at_s if starts else self._start_s[-1])
        self._phase.append(float(self._rng.random()) if starts else self._phase[-1])
