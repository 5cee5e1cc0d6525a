"""The largest gain that neither clips nor compresses, found by trying."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.sources.recording.datatypes import DATATYPES

_BINS = 1024
_FLOOR_QUANTILE = 0.25
_DC_BINS = 3
_MOST_AT_RAIL = 1e-4
"""Share of I and Q values at the converter's ends: about that of noise 12 dB below full scale."""

_COMPRESSION_DB = 3.0
"""How far a line may fall behind the gain, or the floor run ahead of it. The steps' nominal gains
are only good to a decibel or two."""

_QUANTIZING = 2 / 127.5**2 / 12
"""Noise power that rounding to 8 bits makes (step² / 12 for each of I and Q). A weak signal's
rounding may look like less, in some bins, and would make the next gain's floor look like a rise."""

_STRONG_DB = 20.0
"""A line must stand this far over the floor to tell of compression."""

Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class GainTrial:
    """What was heard at one gain.

    Attributes
    ----------
    gain_db : float
        Of the tuner.
    at_rail : float
        Share of I and Q values at the converter's ends.
    floor_db, peak_db : float
        Noise floor and strongest line, dB on a common scale.
    """

    gain_db: float
    at_rail: float
    floor_db: float
    peak_db: float


def nearest_step_db(gains_db: Iterable[float], gain_db: float) -> float | None:
    """The step nearest to a gain, dB; None where there are no steps."""
    return min(gains_db, key=lambda step_db: abs(step_db - gain_db), default=None)


def trial(gain_db: float, native: Bytes) -> GainTrial:
    """Judge samples taken at one gain.

    Parameters
    ----------
    gain_db : float
    native : ndarray of uint8, shape (2 n,)
        I, then Q; n at least 1024.
    """
    samples = DATATYPES["cu8"].to_complex64(native)
    segments = samples[: samples.size // _BINS * _BINS].reshape(-1, _BINS)
    window = np.hanning(_BINS).astype(np.float32)
    power = np.mean(np.abs(np.fft.fft(segments * window, axis=1)) ** 2, axis=0)
    power = power[_DC_BINS : 1 - _DC_BINS]
    decibels = 10.0 * np.log10(np.maximum(power, _QUANTIZING * float(np.sum(window**2))))
    return GainTrial(
        gain_db=gain_db,
        at_rail=float(np.mean((native == 0) | (native == 255))),
        floor_db=float(np.quantile(decibels, _FLOOR_QUANTILE)),
        peak_db=float(decibels.max()),
    )


def best_gain_db(gains_db: Iterable[float], try_gain: Callable[[float], GainTrial]) -> float:
    """The largest gain before the first sign of overload, from the lowest upwards.

    Signs are: values at the converter's ends; a strong line that grows less than the gain; a noise
    floor that grows more than the gain, which is what a crowd of intermodulation products does.

    Parameters
    ----------
    gains_db : iterable of float
        The steps, from low to high; at least one.
    try_gain : callable
        Sets a gain, listens, and judges.

    Raises
    ------
    ValueError
        When there is no step.
    """
    best_db: float | None = None
    quietest_db = float("inf")
    strongest_db = -float("inf")
    for gain_db in gains_db:
        heard = try_gain(gain_db)
        floor_db, peak_db = heard.floor_db - gain_db, heard.peak_db - gain_db
        strong = heard.peak_db - heard.floor_db > _STRONG_DB
        overloaded = (
            heard.at_rail > _MOST_AT_RAIL
            or floor_db > quietest_db + _COMPRESSION_DB
            or (strong and peak_db < strongest_db - _COMPRESSION_DB)
        )
        if best_db is None:
            best_db = gain_db  # there is no lower one
        if overloaded:
            break
        best_db = gain_db
        quietest_db = min(quietest_db, floor_db)
        strongest_db = max(strongest_db, peak_db) if strong else strongest_db
    if best_db is None:
        raise ValueError("there are no gains to choose from")
    return best_db
