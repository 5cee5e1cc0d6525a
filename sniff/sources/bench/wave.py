"""One line in one chunk: its phase against the dongle's own clock, and its samples."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from sniff.model import ComplexSamples, Doubles
from sniff.sources.bench.clock import ChunkTime
from sniff.sources.bench.grid import CHUNK, ROW, ROWS, hermite
from sniff.sources.bench.oscillator import Motion
from sniff.sources.bench.receiver import Path


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wave:
    """One line in one chunk, against the dongle's own clock.

    Attributes
    ----------
    nominal_hz : float
        Its frequency if nothing were off, Hz.
    cycles, hz : ndarray of float64, shape (ROWS + 1,)
        What it has gained over that by the dongle's clock, and gains now, cycles and Hz.
    fine_cycles : ndarray of float64, shape (CHUNK,), or None
        Further phase of each sample, cycles.
    amplitude : ndarray of float32, shape (CHUNK,), or float
        1 is undisturbed.
    """

    nominal_hz: float
    cycles: Doubles
    hz: Doubles
    fine_cycles: Doubles | None
    amplitude: npt.NDArray[np.float32] | float

    @classmethod
    def of_line(cls, motion: Motion, nominal_hz: float, times: int, time: ChunkTime) -> "Wave":
        """A multiple of an oscillator; what the dongle's clock counts too much, it lags behind."""
        fine = motion.fine_cycles
        return cls(
            nominal_hz=nominal_hz,
            cycles=times * motion.cycles - nominal_hz * time.excess_s,
            hz=(times * motion.hz - nominal_hz * time.error) / (1 + time.error),
            fine_cycles=None if fine is None else times * fine,
            amplitude=motion.amplitude,
        )

    @classmethod
    def of_own_clock(cls, nominal_hz: float) -> "Wave":
        """A multiple of the crystal that counts the time: no error of it is seen."""
        still = np.zeros(ROWS + 1)
        return cls(nominal_hz=nominal_hz, cycles=still, hz=still, fine_cycles=None, amplitude=1.0)


def sampled(wave: Wave, level_dbfs: float, path: Path, time: ChunkTime) -> ComplexSamples:
    """One line by one way, shape (CHUNK,).

    Its phase is what it has turned, less what the tuner has turned: ``f t + d - c s``, written
    ``(f - c) s + (d - f (s - t))`` so that no small difference of large numbers is left. The
    first part is exact at the chunk's beginning: over hours a rounding there would be a phase
    error.
    """
    offset = Fraction(wave.nominal_hz) - Fraction(path.center_hz)
    begin = float((offset * time.first / Fraction(time.rate_hz)) % 1)
    row_s = ROW / time.rate_hz
    turns = begin + float(offset) * row_s * np.arange(ROWS + 1) + wave.cycles
    phase = hermite(turns, (float(offset) + wave.hz) * row_s, ROW)
    if wave.fine_cycles is not None:
        phase += wave.fine_cycles
    phase -= np.rint(phase)
    angle = phase.astype(np.float32)
    angle *= np.float32(-2 * np.pi if path.mirrored else 2 * np.pi)
    tone = np.empty(CHUNK, np.complex64)
    np.cos(angle, out=tone.real)
    np.sin(angle, out=tone.imag)
    tone *= np.float32(10 ** (level_dbfs / 20)) * wave.amplitude
    return tone
