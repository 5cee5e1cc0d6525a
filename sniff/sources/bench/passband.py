"""How the dongle's filters weigh a signal by its distance from the centre."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles
from sniff.sources.bench.grid import CHUNK, TAIL

# Loss of the demodulator's fixed 32-tap filter at 28.8 MHz. Up to 2.4 MHz it was worked out from
# its coefficients; what lies beyond is assumed.
_FIR_HZ = (0.0, 0.5e6, 0.8e6, 0.96e6, 1.2e6, 1.44e6, 1.6e6, 2.0e6, 2.4e6, 3.2e6, 14.4e6)
_FIR_LOSS_DB = (0.0, 0.06, 0.62, 1.3, 3.0, 5.9, 8.6, 20.6, 36.0, 60.0, 60.0)

_IF_FILTER_ORDER = 4
"""Steepness assumed for the tuner's IF filter; its makers state the -3 dB width alone."""

_REACH_HZ = 14.4e6
"""Half the demodulator's clock: nothing comes from farther away."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Passband:
    """The tuner's IF filter and the demodulator's filter in series, then the resampler.

    Neither follows the sample rate, so what they leave beyond half of it folds in.

    Attributes
    ----------
    if_width_hz : float
        -3 dB width of the IF filter, Hz.
    rate_hz : float
        Sample rate, Hz.
    """

    if_width_hz: float
    rate_hz: float

    def gain_db(self, offset_hz: Doubles | float) -> Doubles:
        """Gain for a signal so far from the centre, not more than 0 dB, shape of `offset_hz`."""
        distance_hz = np.abs(np.asarray(offset_hz, dtype=np.float64))
        fir_db = -np.interp(distance_hz, _FIR_HZ, _FIR_LOSS_DB)
        ratio = (2 * distance_hz / self.if_width_hz) ** (2 * _IF_FILTER_ORDER)
        return np.asarray(fir_db - 10 * np.log10(1 + ratio))

    def noise_gain(self, offset_hz: Doubles) -> Doubles:
        """Power gain for white noise at these places of the output band, what folds in included."""
        zones = int(np.ceil(_REACH_HZ / self.rate_hz))
        total = np.zeros_like(offset_hz)
        for zone in range(-zones, zones + 1):
            total += 10 ** (self.gain_db(offset_hz + zone * self.rate_hz) / 10)
        return total

    def noise_response(self) -> npt.NDArray[np.complex64]:
        """Response of a filter that shapes white noise of unit density like the receiver's.

        Returns
        -------
        ndarray of complex64, shape (TAIL + CHUNK,)
            In the order of the FFT. Its impulse response is no longer than ``TAIL + 1``, so that
            of a circular convolution all but the first TAIL samples are valid. Sealed: it is kept
            for the next tuning, as it does not depend on where that is.
        """
        return _noise_response(self)


@lru_cache(maxsize=4)
def _noise_response(passband: Passband) -> npt.NDArray[np.complex64]:
    size = TAIL + CHUNK
    offsets_hz = np.asarray(np.fft.fftfreq(size, 1 / passband.rate_hz), np.float64)
    impulse = np.fft.ifft(np.sqrt(passband.noise_gain(offsets_hz))).real
    # Zero phase, so the impulse response straddles 0; a taper keeps its cut ends quiet.
    taps = np.roll(impulse, TAIL // 2)
    taps[: TAIL + 1] *= np.hanning(TAIL + 3)[1:-1]
    taps[TAIL + 1 :] = 0.0
    response = np.asarray(np.fft.fft(taps).astype(np.complex64))
    response.flags.writeable = False
    return response
