"""The demodulated audio, made to be heard."""

from math import pi

import numpy as np
import numpy.typing as npt

from sniff.modulation.baseband import Baseband
from sniff.modulation.tones import AudioBand

LISTENING_RATE_HZ = 48_000

_LOUDEST = 0.7  # of full scale
_PAUSE_S = 0.1


def audible(baseband: Baseband, band: AudioBand) -> npt.NDArray[np.float32]:
    """Audio at 48 kHz: the band, behind its de-emphasis; parts follow each other with a pause.

    Parameters
    ----------
    baseband : Baseband
    band : AudioBand

    Returns
    -------
    ndarray of float32, shape (n,)
        Its loudest is 0.7 of full scale; the level tells nothing.
    """
    parts: list[npt.NDArray[np.float64]] = []
    for part in baseband.parts:
        size = round(part.size * LISTENING_RATE_HZ / baseband.rate_hz)
        if size < 2:
            continue
        bins = np.fft.rfft(part)
        f = np.arange(bins.size) * (baseband.rate_hz / part.size)
        bins *= (f >= band.low_hz) & (f <= min(band.high_hz, LISTENING_RATE_HZ / 2.0))
        bins /= 1.0 + 2j * pi * f * band.deemphasis_s
        wanted = np.zeros(size // 2 + 1, np.complex128)
        kept = min(wanted.size, bins.size)
        wanted[:kept] = bins[:kept]
        if parts:
            parts.append(np.zeros(round(_PAUSE_S * LISTENING_RATE_HZ)))
        parts.append(np.fft.irfft(wanted, size) * (size / part.size))
    joined = np.concatenate(parts) if parts else np.zeros(0)
    top = float(np.abs(joined).max()) if joined.size else 0.0
    return np.asarray(joined * (_LOUDEST / top if top > 0 else 0.0), dtype=np.float32)
