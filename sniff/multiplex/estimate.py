"""Estimate: where a multiplex of known centre is indicated, and how fast the clock therefore runs.

One crystal clocks tuner and sampler alike; the same error that moves the carriers stretches the
symbols. The copies tell the carriers' offset to a small part of their spacing, but only up to whole
spacings; the pattern of the carriers, or the symbols' rhythm, tells which. Where neither does, the
candidates are given and none is chosen.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, hypot

import numpy as np

from sniff.model import Take
from sniff.multiplex.carriers import demodulate, first_stretch, samples_needed, which_carrier
from sniff.multiplex.prefix import PrefixCorrelator, prefix_course
from sniff.multiplex.recognize import Silence, recognize
from sniff.multiplex.systems import Rhythm, System
from sniff.multiplex.track import FEWEST_CHUNKS, Track, track

_COARSE_S = 2.0
_BESIDE_HZ = 200e3  # some networks put a channel 1/6 MHz beside
_SURE = 5.0  # standard deviations of the symbols' clock
_U_SAMPLER_FLOOR_PPM = 0.02  # a resampler's own steps (DONGLE facts: below 0.03 ppm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One whole number of spacings, and what it would mean."""

    place: int
    clock_ppm: float
    indicated_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MultiplexEstimate:
    """A multiplex, measured.

    Attributes
    ----------
    system : str
        Its name and mode.
    guard_share : float
        Part of a symbol's useful length that is repeated.
    candidates : tuple of Candidate
        One where it is known which carrier is which; several where it is not; none where what the
        carriers and the symbols tell cannot both be.
    u_hz : float
        Standard uncertainty (k = 1) of `Candidate.indicated_hz`, Hz.
    middle_hz : float or None
        Where the channel's middle lies by the pattern of carriers and the symbols' clock, Hz; None
        where no pattern was made out.
    sampler_ppm, u_sampler_ppm : float
        Clock error by the symbols' rhythm alone.
    likeness : float
        As in `Track`.
    steady : bool
        As in `Track`.
    seconds : float
        Length observed, s.
    """

    system: str
    guard_share: float
    candidates: tuple[Candidate, ...]
    u_hz: float
    middle_hz: float | None
    sampler_ppm: float
    u_sampler_ppm: float
    likeness: float
    steady: bool
    seconds: float


def estimate_multiplex(
    take: Take,
    systems: Sequence[System],
    *,
    nominal_hz: float,
    usable_fraction: float,
    u_center_hz: float = 0.0,
    reach_ppm: float = 200.0,
) -> MultiplexEstimate | Silence:
    """Measure a multiplex.

    Parameters
    ----------
    take : Take
    systems : sequence of System
        What it may be.
    nominal_hz : float
        True centre of its channel, Hz.
    usable_fraction : float
        Part of the span, about the centre, that is used.
    u_center_hz : float
        Standard uncertainty (k = 1) of the indicated centre, Hz; part of the result's.
    reach_ppm : float
        Largest clock error that is considered.

    Returns
    -------
    MultiplexEstimate or Silence
    """
    found = recognize(take, systems, nominal_hz=nominal_hz, usable_fraction=usable_fraction)
    if isinstance(found, Silence):
        return found
    system, rhythm, band_hz = found.system, found.rhythm, found.band_hz
    known = _follow(take, rhythm, band_hz, stretch=1.0, until_s=_COARSE_S)
    if isinstance(known, Silence):
        return known
    channel = _Channel(
        system=system,
        nominal_hz=nominal_hz,
        center_hz=take.center_hz,
        u_center_hz=u_center_hz,
        reach_ppm=reach_ppm,
    )
    pattern = _by_pattern(take, channel, rhythm, known, band_hz)
    # Whatever the lag is short of, by a clock not yet known, turns what lies off the centre: once
    # the clock is known, all is folded again at its pace.
    for _ in range(2):
        chosen = channel.decide(known, pattern)
        clock_ppm = chosen[0].clock_ppm if len(chosen) == 1 else known.sampler_ppm
        stretch = 1.0 + clock_ppm * 1e-6
        again = _follow(take, rhythm, band_hz, stretch=stretch, until_s=np.inf)
        if isinstance(again, Silence):
            return again
        known, was_open = again, len(chosen) != 1
        if not was_open:
            break
    return MultiplexEstimate(
        system=system.name,
        guard_share=rhythm.guard_s / rhythm.useful_s,
        candidates=channel.decide(known, pattern),
        u_hz=hypot(known.u_turn * system.spacing_hz, u_center_hz),
        middle_hz=None
        if pattern is None
        else take.center_hz * (1.0 + known.sampler_ppm * 1e-6)
        + (pattern + known.turn) * system.spacing_hz,
        sampler_ppm=known.sampler_ppm,
        u_sampler_ppm=known.u_sampler_ppm,
        likeness=known.likeness,
        steady=known.steady,
        seconds=known.seconds,
    )


def _follow(
    take: Take,
    rhythm: Rhythm,
    band_hz: tuple[float, float],
    *,
    stretch: float,
    until_s: float,
) -> Track | Silence:
    correlator = PrefixCorrelator(rhythm, rate_hz=take.rate_hz, band_hz=band_hz, stretch=stretch)
    course = prefix_course(take.blocks(), correlator, until_s=until_s)
    if course.standing.size < FEWEST_CHUNKS:
        return Silence.SHORT
    return track(course, correlator.fold) or Silence.WEAK


@dataclass(frozen=True, slots=True, kw_only=True)
class _Channel:
    """A multiplex's place, and what the tuner says of its own."""

    system: System
    nominal_hz: float
    center_hz: float
    u_center_hz: float
    reach_ppm: float

    def candidates(self, turn: float) -> tuple[Candidate, ...]:
        """All whole numbers of spacings within reach.

        ``F = c (1 + e) + (m + turn) / Tu``: the tuner's true centre and whole true spacings.
        """
        useful_s = self.system.useful_s
        far = (self.nominal_hz - self.center_hz) * useful_s - turn
        room = (self.reach_ppm * 1e-6 * self.nominal_hz + 4.0 * self.u_center_hz) * useful_s
        made = []
        for place in range(ceil(far - room), floor(far + room) + 1):
            factor = (self.nominal_hz - (place + turn) / useful_s) / self.center_hz
            made.append(
                Candidate(
                    place=place,
                    clock_ppm=(factor - 1.0) * 1e6,
                    indicated_hz=self.nominal_hz / factor,
                )
            )
        return tuple(made)

    def decide(self, known: Track, pattern: int | None) -> tuple[Candidate, ...]:
        """Those that both the carriers' pattern and the symbols' rhythm allow."""
        u_ppm = hypot(
            known.u_sampler_ppm, _U_SAMPLER_FLOOR_PPM, self.u_center_hz / self.center_hz * 1e6
        )
        return tuple(
            candidate
            for candidate in self.candidates(known.turn)
            if abs(candidate.clock_ppm - known.sampler_ppm) <= _SURE * u_ppm
            and pattern in (None, candidate.place)
        )


def _by_pattern(
    take: Take, channel: _Channel, rhythm: Rhythm, known: Track, band_hz: tuple[float, float]
) -> int | None:
    heard = first_stretch(take.blocks(), samples_needed(rhythm, take.rate_hz))
    if heard is None:
        return None
    cells = demodulate(
        heard,
        rhythm,
        stretch=1.0 + known.sampler_ppm * 1e-6,
        start_s=known.start_near(heard.start_s + 0.5 * heard.samples.size / heard.rate_hz),
        turn=known.turn,
        band_hz=band_hz,
    )
    if cells is None:
        return None
    # Farther than a clock could move it, too: a middle that is elsewhere is to be told.
    at = round((channel.nominal_hz - channel.center_hz) * channel.system.useful_s - known.turn)
    far_hz = channel.reach_ppm * 1e-6 * channel.nominal_hz + _BESIDE_HZ
    reach = ceil(far_hz * channel.system.useful_s)
    return which_carrier(cells, channel.system, range(at - reach, at + reach + 1))
