"""From a channel to its baseband: the frequency of an FM carrier or the envelope of an AM one."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np
import numpy.typing as npt

from sniff.model import ComplexSamples, IQBlock, Spectrum
from sniff.resolution import SpectrumSettings, finest_rbw
from sniff.spectrum import Welch
from sniff.windows import Window

Floats = npt.NDArray[np.float32]

_EDGE_SAMPLES = 64  # rung out after the cut-off, at both ends of each part
_FINEST_HZ = 2.0
_ROLL_OFF = 0.06


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Baseband:
    """What a carrier carries, in gap-free parts.

    Attributes
    ----------
    parts : tuple of ndarray of float32
        Deviation in Hz (FM), or relative amplitude with the carrier as 1 taken off (AM).
    rate_hz : float
        Samples per second by the source's own clock.
    top_hz : float
        Up to which frequency it was kept, Hz.
    """

    parts: tuple[Floats, ...]
    rate_hz: float
    top_hz: float

    @property
    def samples(self) -> int:
        """In all parts."""
        return sum(part.size for part in self.parts)

    def blocks(self) -> list[IQBlock]:
        """As IQ without Q, in units of `scale`, at 0 Hz: for spectra and zooms."""
        made, index = [], 0
        for part in self.parts:
            made.append(self._block(part, index))
            index += part.size + 1  # one sample lost, so that no segment straddles two parts
        return made

    def longest_block(self, most: int | None = None) -> IQBlock:
        """The longest part as such a block, its first `most` samples."""
        return self._block(max(self.parts, key=lambda part: part.size)[:most], 0)

    def _block(self, part: Floats, index: int) -> IQBlock:
        samples = (part / np.float32(self.scale)).astype(np.complex64)
        return IQBlock(samples=samples, rate_hz=self.rate_hz, center_hz=0.0, index=index)

    @property
    def scale(self) -> float:
        """Largest value, or 1 when all are zero."""
        return max((float(np.abs(part).max()) for part in self.parts), default=0.0) or 1.0


def frequency_baseband(
    parts: Sequence[ComplexSamples], *, rate_hz: float, mean_hz: float, top_hz: float
) -> Baseband:
    """The instantaneous frequency about its mean, kept up to `top_hz`.

    Parameters
    ----------
    parts : sequence of ndarray of complex64
        While the carrier was on.
    rate_hz : float
        Of the channel, Hz.
    mean_hz : float
        Mean frequency from the channel's zero, Hz.
    top_hz : float
        Hz.
    """
    made = []
    for part in parts:
        change = np.diff(np.angle(part) / np.float32(2.0 * pi)) - np.float32(mean_hz / rate_hz)
        change -= np.rint(change)
        change *= np.float32(rate_hz)
        # A difference over one sample is the mean over that sample: the sinc is taken out again.
        made.append(_kept_below(change, rate_hz, top_hz, unsinc=True))
    return _joined(made, rate_hz, top_hz)


def amplitude_baseband(
    parts: Sequence[ComplexSamples], *, rate_hz: float, noise_power: float, top_hz: float
) -> Baseband:
    """The relative amplitude about its mean, kept up to `top_hz`.

    Parameters
    ----------
    parts, rate_hz, top_hz
        As in `frequency_baseband`.
    noise_power : float
        In the channel, FS².
    """
    sizes = [np.abs(part) for part in parts]
    mean = sum(float(size.sum(dtype=np.float64)) for size in sizes)
    mean /= sum(size.size for size in sizes)
    # Noise N lifts the mean of an amplitude A by N / 4A (Rice 1945, for N much below A²).
    mean -= noise_power / (4.0 * mean)
    made = [
        _kept_below(size / np.float32(mean) - np.float32(1.0), rate_hz, top_hz, unsinc=False)
        for size in sizes
    ]
    return _joined(made, rate_hz, top_hz)


def _joined(made: Sequence[Floats], rate_hz: float, top_hz: float) -> Baseband:
    parts = [part[_EDGE_SAMPLES:-_EDGE_SAMPLES] for part in made if part.size > 4 * _EDGE_SAMPLES]
    return Baseband(parts=tuple(parts), rate_hz=rate_hz, top_hz=top_hz)


def _kept_below(values: Floats, rate_hz: float, top_hz: float, *, unsinc: bool) -> Floats:
    """Low-pass with a raised-cosine edge, in the frequency domain."""
    if values.size < 8:
        return values
    import ducc0

    size = ducc0.fft.good_size(values.size, True)
    padded = np.zeros(size, np.float32)
    padded[: values.size] = values
    bins = ducc0.fft.r2c(padded)
    # Only what is kept is weighted: of a narrow band a small part of all bins.
    stop = min(bins.size, int(top_hz * (1.0 + _ROLL_OFF) * size / rate_hz) + 2)
    f = np.arange(stop) * (rate_hz / size)
    edge = np.clip((f - top_hz) / (_ROLL_OFF * top_hz), 0.0, 1.0)
    gain = 0.5 + 0.5 * np.cos(pi * edge)
    if unsinc:
        gain /= np.sinc(f / rate_hz)
    bins[:stop] *= gain.astype(np.float32)
    bins[stop:] = 0.0
    back = ducc0.fft.c2r(bins, lastsize=size, forward=False, inorm=2)
    return np.asarray(back[: values.size], dtype=np.float32)


def audio_spectrum(baseband: Baseband) -> Spectrum | None:
    """Two-sided spectrum of the baseband in its own units squared per Hz; None when too short.

    Its window is a Blackman-Harris, whose side-lobes lie at −92 dB (Harris 1978): a tone's
    neighbours are not its skirts.
    """
    longest = max((part.size for part in baseband.parts), default=0)
    if longest < 64:
        return None
    rbw_hz = max(_FINEST_HZ, finest_rbw(longest, baseband.rate_hz, Window.BLACKMAN_HARRIS))
    welch = Welch(
        SpectrumSettings(window=Window.BLACKMAN_HARRIS, rbw_hz=rbw_hz),
        rate_hz=baseband.rate_hz,
        center_hz=0.0,
    )
    for block in baseband.blocks():
        welch.push(block)
    return welch.result()
