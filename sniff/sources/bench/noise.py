"""The dongle's noise: thermal, shaped by its filters, and the phase of its tuner's LO."""

import ducc0
import numpy as np
import numpy.typing as npt

from sniff.model import ComplexSamples
from sniff.sources.bench.grid import CHUNK, TAIL, Stream, white

_STATED_AT_HZ = 10e3
"""Offset at which phase noise is stated."""


def thermal(
    response: npt.NDArray[np.complex64], *, rms: float, seed: int, chunk: int
) -> ComplexSamples:
    """Complex Gaussian noise of a chunk.

    Parameters
    ----------
    response : ndarray of complex64, shape (TAIL + CHUNK,)
        Filter, in the order of the FFT, with an impulse response of at most TAIL + 1.
    rms : float
        Effective value before the filter.
    seed, chunk : int
        Seed of the bench and number of the chunk.

    Returns
    -------
    ndarray of complex64, shape (CHUNK,)
    """
    samples = white(seed, Stream.NOISE, chunk, 2).view(np.complex64)
    samples = ducc0.fft.c2c(samples) * response
    scale = rms / np.sqrt(2.0) / samples.size
    return np.asarray(ducc0.fft.c2c(samples, forward=False, inorm=0)[TAIL:] * np.float32(scale))


def lo_phase_response(
    dbc_per_hz: float, *, loop_hz: float, rate_hz: float
) -> npt.NDArray[np.complex64]:
    """Filter that makes a locked LO's phase noise of white numbers.

    Parameters
    ----------
    dbc_per_hz : float
        Single-sideband phase noise L(f) at 10 kHz from the LO.
    loop_hz : float
        Bandwidth of the loop.
    rate_hz : float
        Sample rate.

    Returns
    -------
    ndarray of complex64, shape ((TAIL + CHUNK) // 2 + 1,)
        For a real FFT; its result is in radians.

    Notes
    -----
    Within its loop an LO follows the crystal, so the noise is flat there and falls by 20 dB a
    decade beyond: one pole, ``y[n] = a y[n-1] + b x[n]`` with ``a = exp(-2 pi loop / rate)``. For
    small angles L(f) is the two-sided density of the phase, rad²/Hz (IEEE 1139, from memory).
    """
    pole = np.exp(-2 * np.pi * loop_hz / rate_hz)
    turns = np.exp(-2j * np.pi * np.arange((TAIL + CHUNK) // 2 + 1) / (TAIL + CHUNK))
    stated = 1 / np.abs(1 - pole * np.exp(-2j * np.pi * _STATED_AT_HZ / rate_hz))
    scale = np.sqrt(10 ** (dbc_per_hz / 10) * rate_hz) / stated
    return np.asarray(scale / (1 - pole * turns), np.complex64)


def lo_phase(
    response: npt.NDArray[np.complex64], *, seed: int, chunk: int
) -> npt.NDArray[np.float32]:
    """Phase error of the tuner's LO in each sample of a chunk, rad, shape (CHUNK,)."""
    numbers = white(seed, Stream.LO_PHASE, chunk, 1)
    spectrum = ducc0.fft.r2c(numbers) * response
    phase = ducc0.fft.c2r(spectrum, lastsize=numbers.size, forward=False, inorm=2)
    return np.asarray(phase[TAIL:])
