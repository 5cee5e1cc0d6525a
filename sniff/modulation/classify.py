"""What a carrier carries, from how its amplitude and its phase move."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from math import pi, sqrt

import numpy as np

from sniff.model import ComplexSamples
from sniff.units import format_share


class Kind(str, Enum):
    """What a carrier carries; a phase modulation is called `fm`, since one signal does not tell."""

    NONE = "none"
    FM = "fm"
    AM = "am"
    KEYED = "keyed"


WEAKEST_DB = 8.0
"""Carrier over noise in the channel below which a discriminator no longer follows the carrier: its
threshold begins near 10 dB (S. O. Rice 1963, noise in FM receivers)."""

_CHUNK_S = 0.05
_LEAST_CHUNK = 64
_LEAST_DEPTH = 0.02  # rms
_LEAST_INDEX = 0.05  # rad rms; less is residual FM, of which the figures tell
_DOUBT = 0.1  # of the noise's own share, for the noise floor is an estimate
_CLEARLY = 2.0
_DEEP = 0.3  # rms amplitude: 42 % of depth by a tone
_STILL = 0.15
_MOST_SAMPLES = 2**20  # spread over the take
_MOST_ROWS = 40  # two seconds tell
_FEW_MARKS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Swings:
    """How amplitude and phase move, noise taken off.

    Attributes
    ----------
    amplitude : float
        Effective value of the relative amplitude: depth over √2 for a tone.
    phase : float
        Effective value of the phase, radians: modulation index over √2 for a tone.
    together : float
        Correlation of power and frequency, −1 to 1: a second carrier moves both alike.
    snr_db : float
        Carrier over noise in the channel, dB.
    """

    amplitude: float
    phase: float
    together: float
    snr_db: float


def swings(parts: Sequence[ComplexSamples], *, rate_hz: float, noise_power: float) -> Swings:
    """Measure how amplitude and phase move.

    Each chunk of 50 ms stands against its own mean power and its own straight phase: what is
    slower is drift.

    Parameters
    ----------
    parts : sequence of ndarray of complex64
        While the carrier was on.
    rate_hz : float
        Of the channel, Hz.
    noise_power : float
        In the channel, FS².
    """
    longest = max(part.size for part in parts)
    size = max(min(_LEAST_CHUNK, longest), min(longest, round(_CHUNK_S * rate_hz)))
    rows = np.concatenate(
        [part[: part.size // size * size].reshape(-1, size) for part in parts if part.size >= size]
    )
    rows = rows[:: 1 + rows.size // _MOST_SAMPLES]
    power = np.square(np.abs(rows)).astype(np.float64)
    mean = power.mean(axis=1, keepdims=True)
    carrier = max(float(mean.mean()) - noise_power, 1e-30)
    # Squared: the power of a carrier C in noise N varies by 2 C N + N².
    own = (2.0 * carrier * noise_power + noise_power**2) / (carrier + noise_power) ** 2
    spread = float(np.square(power / mean - 1.0).mean())
    amplitude = max(0.0, spread - (1.0 + _DOUBT) * own) / 4.0
    turns = np.angle(rows).astype(np.float64)
    change = np.diff(turns, axis=1)
    change -= 2.0 * pi * np.rint(change / (2.0 * pi))
    phase = np.concatenate([np.zeros((rows.shape[0], 1)), np.cumsum(change, axis=1)], axis=1)
    t = np.arange(size) - (size - 1) / 2.0
    phase -= phase.mean(axis=1, keepdims=True)
    phase -= (phase @ t / (t**2).sum())[:, None] * t
    if amplitude >= _DEEP**2:
        # Where the amplitude touches zero the phase cannot be followed: there the carrier's own
        # line is the reference.
        still = _across_the_line(rows)
        if still < _STILL:
            phase = still * np.ones_like(phase)
    noise = noise_power / (2.0 * carrier)
    swing = max(0.0, float(np.square(phase).mean()) - (1.0 + _DOUBT) * noise)
    together = _correlation(power[:, 1:] / mean - 1.0, change)
    return Swings(
        amplitude=sqrt(amplitude),
        phase=sqrt(swing),
        together=together,
        snr_db=10.0 * float(np.log10(carrier / max(noise_power, 1e-30))),
    )


def _across_the_line(rows: ComplexSamples) -> float:
    """Effective value of what stands across the strongest line of each chunk, over the whole."""
    rows = rows[:_MOST_ROWS]
    bins = np.fft.fft(rows, 8 * rows.shape[1], axis=1)
    top = np.abs(bins).argmax(axis=1)
    n = np.arange(rows.shape[1])
    turned = rows * np.exp(-2j * pi * np.outer(top / bins.shape[1], n))
    means = turned.mean(axis=1, keepdims=True)
    turned *= np.conj(means) / np.abs(means)
    return sqrt(float(np.square(turned.imag).sum()) / float(np.square(np.abs(rows)).sum()))


def _correlation(
    power: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    change: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
) -> float:
    moved = change - change.mean(axis=1, keepdims=True)
    scale = sqrt(float(np.square(power).sum()) * float(np.square(moved).sum()))
    return float((power * moved).sum()) / scale if scale > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """What was decided, and why.

    Attributes
    ----------
    kind : Kind
    why : str
        The reason, in words.
    doubtful : bool
        True when amplitude and phase move alike, as a second carrier in the channel makes them.
    """

    kind: Kind
    why: str
    doubtful: bool = False


def classify(seen: Swings, *, times_on: int, keyed: bool, longest_on_s: float) -> Decided:
    """Decide what a carrier carries.

    Parameters
    ----------
    seen : Swings
    times_on : int
        How often it was on.
    keyed : bool
        Whether it was off at any time.
    longest_on_s : float
        Longest time it was on, s.
    """
    still = seen.amplitude < _LEAST_DEPTH and seen.phase < _LEAST_INDEX
    depth, index = f"{format_share(seen.amplitude, digits=1)} rms", f"{seen.phase:.2g} rad rms"
    if keyed and times_on >= _FEW_MARKS and (still or (seen.phase < 0.5 and longest_on_s < 1.0)):
        return Decided(kind=Kind.KEYED, why=f"on {times_on} times, and plain while on")
    if still:
        return Decided(kind=Kind.NONE, why="neither amplitude nor phase moves beyond the noise")
    if seen.phase >= _CLEARLY * seen.amplitude:
        why = f"the phase moves by {index}, the amplitude by {depth}"
        return Decided(kind=Kind.FM, why=why)
    if seen.amplitude >= _CLEARLY * seen.phase:
        why = f"the amplitude moves by {depth}, the phase by {index}"
        return Decided(kind=Kind.AM, why=why)
    kind = Kind.FM if seen.phase >= seen.amplitude else Kind.AM
    why = f"amplitude ({depth}) and phase ({index}) move about alike"
    return Decided(kind=kind, why=why, doubtful=abs(seen.together) > 0.5)
