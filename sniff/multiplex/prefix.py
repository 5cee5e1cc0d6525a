"""Prefix: every symbol begins with a copy of its own end, and how the two differ tells the tuning.

``g(t) = x(t + Tu) x*(t)`` is positive where the copy lies, turned by the carriers' offset from a
whole number of spacings; elsewhere it is noise about zero. Folded at the symbols' rhythm it shows
when they begin and that turn. J.-J. van de Beek, M. Sandell and P. O. Börjesson, *ML estimation of
time and frequency offset in OFDM systems*, IEEE Trans. Signal Processing 45(7), 1997.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import ducc0
import numpy as np
import numpy.typing as npt

from sniff.model import ComplexSamples, Doubles, IQBlock
from sniff.multiplex.systems import Rhythm
from sniff.segments import SegmentBatch, SegmentTrain

Complexes = npt.NDArray[np.complex128]

_SEGMENT = 2**14
_EDGE = 96  # samples at a segment's ends that its filter's wrap-around spoils
_BINS_PER_GUARD = 64.0
_WORST_CLOCK = 200e-6
_LONGEST_CHUNK_S = 0.02
_SLOPES_PER_GUARD = 3.0  # a filter with steeper slopes would ring for longer than the copy lasts
_SLOPE_SHARE = 0.15  # of the band: a gentle slope costs little and rings for shorter still
_LOST = 0.9  # of a chunk; less was observed of it, and it is passed over
_INNER = (0.3, 0.8)  # of the copy: echoes spoil its beginning, the filter's ringing its end


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrefixCourse:
    """Timing and turn of the symbols against time, one row per chunk.

    Attributes
    ----------
    times_s : ndarray of float64, shape (n,)
        Middle of each chunk since the source was opened, indicated s.
    timings_s : ndarray of float64, shape (n,)
        When a period begins, modulo the period, indicated s.
    turns : ndarray of complex128, shape (n,)
        Mean of ``x(t + Tu) x*(t)`` over the copies over the mean power: its angle is the offset
        times 2π Tu, its size S / (S + N).
    standing : ndarray of float64, shape (n,)
        How far the copies stand above what chance would show, standard deviations.
    """

    times_s: Doubles
    timings_s: Doubles
    turns: Complexes
    standing: Doubles


@dataclass(frozen=True, slots=True, kw_only=True)
class Fold:
    """How a correlator lays periods over each other.

    Attributes
    ----------
    stretch : float
        Indicated over true time.
    period_s, chunk_s, bin_s : float
        Length of a period, of a chunk, and of a bin of a period, indicated s.
    sample_s : float
        Distance of two samples, indicated s.
    looks : float
        Independent values in one copy: its length times the band that is used.
    """

    stretch: float
    period_s: float
    chunk_s: float
    bin_s: float
    sample_s: float
    looks: float


class PrefixCorrelator:
    """Follows the symbols of one rhythm through blocks.

    Parameters
    ----------
    rhythm : Rhythm
    rate_hz : float
        Of the blocks, Hz.
    band_hz : tuple of float
        What of the span is used, from the centre, Hz.
    stretch : float
        Indicated over true time, 1 + clock error: as well as it is known.
    """

    def __init__(
        self,
        rhythm: Rhythm,
        *,
        rate_hz: float,
        band_hz: tuple[float, float],
        stretch: float = 1.0,
    ) -> None:
        self._rate_hz = rate_hz
        self._period_s = rhythm.period_s * stretch
        guard_s = rhythm.guard_s * stretch
        lag = rhythm.useful_s * stretch * rate_hz
        spoilt = 2 * _EDGE + int(np.ceil(lag))
        size = max(_SEGMENT, 1 << (4 * spoilt).bit_length())
        self._hop = size - spoilt
        self._train = SegmentTrain(segment=size, hop=self._hop, per_batch=1)
        turns = np.fft.fftfreq(size).astype(np.float64)
        slope_hz = max(_SLOPES_PER_GUARD / guard_s, _SLOPE_SHARE * (band_hz[1] - band_hz[0]))
        self._band = _pass_band(turns * rate_hz, band_hz, slope_hz).astype(np.float32)
        self._advance = np.exp(2j * np.pi * turns * lag).astype(np.complex64)
        self._share = (band_hz[1] - band_hz[0]) / rate_hz

        # So short that the worst clock moves the symbols by no more than a part of the copy.
        chunk_s = min(_LONGEST_CHUNK_S, guard_s / 4.0 / _WORST_CLOCK)
        periods = max(1, int(chunk_s / self._period_s))
        self._chunk_s = periods * self._period_s
        step_s = max(guard_s / _BINS_PER_GUARD, 1.0 / rate_hz)
        self._bins = int(self._period_s / step_s)
        starts_s = np.array(rhythm.starts_s) * stretch
        whole = _pulses(starts_s, guard_s, self._period_s, self._bins)
        first_s, last_s = (share * guard_s for share in _INNER)
        inner = _pulses(starts_s + first_s, last_s - first_s, self._period_s, self._bins)
        self._whole = np.conj(np.fft.fft(whole))
        self._inner = np.conj(np.fft.fft(inner))
        # Samples of a chunk that a copy holds.
        self._in_whole = periods * starts_s.size * guard_s * rate_hz
        self._in_inner = periods * starts_s.size * (last_s - first_s) * rate_hz

        self.fold = Fold(
            stretch=stretch,
            period_s=self._period_s,
            chunk_s=self._chunk_s,
            bin_s=self._period_s / self._bins,
            sample_s=1.0 / rate_hz,
            looks=(band_hz[1] - band_hz[0]) * guard_s,
        )
        self._origin_s: float | None = None
        self._number = 0
        self._sums = np.zeros(self._bins, np.complex128)
        self._power = 0.0
        self._samples = 0
        self._rows: list[tuple[float, float, complex, float]] = []

    def push(self, block: IQBlock) -> None:
        """Take in a block."""
        for batch in self._train.push(block):
            self._correlate(batch)

    def result(self) -> PrefixCourse:
        """All chunks that were observed well enough."""
        self._end_chunk()
        rows = self._rows
        return PrefixCourse(
            times_s=np.array([row[0] for row in rows], np.float64),
            timings_s=np.array([row[1] for row in rows], np.float64),
            turns=np.array([row[2] for row in rows], np.complex128),
            standing=np.array([row[3] for row in rows], np.float64),
        )

    def _correlate(self, batch: SegmentBatch) -> None:
        # Without its mean: a steady spike at the centre would turn all towards zero.
        samples = batch.samples - batch.samples.mean()
        bins = ducc0.fft.c2c(samples) * self._band
        late = ducc0.fft.c2c(bins * self._advance, forward=False, inorm=2)
        early = ducc0.fft.c2c(bins, forward=False, inorm=2)
        inside = slice(_EDGE, _EDGE + self._hop)
        products = late[inside] * np.conj(early[inside])
        powers = np.abs(early[inside]) ** 2
        times_s = (batch.first_index + _EDGE + np.arange(self._hop)) / self._rate_hz
        if self._origin_s is None:
            self._origin_s = float(times_s[0])
        numbers = ((times_s - self._origin_s) / self._chunk_s).astype(np.int64)
        places = times_s / self._period_s % 1.0 * self._bins
        borders = np.flatnonzero(np.diff(numbers)) + 1
        for part in np.split(np.arange(self._hop), borders):
            if numbers[part[0]] != self._number:
                self._end_chunk()
                self._number = int(numbers[part[0]])
            within = slice(part[0], part[-1] + 1)
            self._fold(places[within], products[within])
            self._power += float(powers[within].sum(dtype=np.float64))
            self._samples += part.size

    def _fold(self, places: Doubles, values: ComplexSamples) -> None:
        # Shared between two bins by nearness: bins may be no shorter than samples, and whole ones
        # would move the symbols in steps.
        first = places.astype(np.int64)
        later = (places - first).astype(np.float32)
        for at, share in ((first, 1.0 - later), (first + 1, later)):
            at %= self._bins
            self._sums.real += np.bincount(at, values.real * share, self._bins)
            self._sums.imag += np.bincount(at, values.imag * share, self._bins)

    def _end_chunk(self) -> None:
        if self._samples >= _LOST * self._chunk_s * self._rate_hz and self._power > 0:
            self._rows.append(self._row())
        self._sums[:] = 0.0
        self._power = 0.0
        self._samples = 0

    def _row(self) -> tuple[float, float, complex, float]:
        mean_power = self._power / self._samples
        folded = np.fft.fft(self._sums)
        inner_match = np.fft.ifft(folded * self._inner)
        # A plain carrier is like itself at all times: only what comes and goes is a copy.
        folded[0] = 0.0
        match = np.abs(np.fft.ifft(folded * self._whole))
        best = int(match.argmax())
        before, top, after = match[best - 1], match[best], match[(best + 1) % self._bins]
        # The match of a rectangle with itself is a triangle: its tip from three points.
        fall = top - min(before, after)
        shift = float((after - before) / (2.0 * fall)) if fall > 0 else 0.0
        middle_s = (self._origin_s or 0.0) + (self._number + 0.5) * self._chunk_s
        timing_s = (best + shift) % self._bins / self._bins * self._period_s
        noise = mean_power * np.sqrt(self._in_whole / self._share)
        turn = complex(inner_match[best]) / (self._in_inner * mean_power)
        return middle_s, timing_s, turn, float(top / noise)


def prefix_course(
    blocks: Iterable[IQBlock], correlator: PrefixCorrelator, *, until_s: float = np.inf
) -> PrefixCourse:
    """Push blocks up to a length, s, and give the result."""
    first_s: float | None = None
    for block in blocks:
        if first_s is None:
            first_s = block.start_s
        if block.start_s - first_s >= until_s:
            break
        correlator.push(block)
    return correlator.result()


def _pass_band(frequencies_hz: Doubles, band_hz: tuple[float, float], slope_hz: float) -> Doubles:
    """One within, zero without, and a cosine between, so that it does not ring for long."""
    inside = np.minimum(frequencies_hz - band_hz[0], band_hz[1] - frequencies_hz) / slope_hz
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(inside + 0.5, 0.0, 1.0))


def _pulses(starts_s: Doubles, width_s: float, period_s: float, bins: int) -> Doubles:
    """How much of each bin of a folded period the pulses cover, shape (bins,)."""
    edges = np.arange(bins + 1) / bins * period_s
    covered = np.zeros(bins + 1)
    for start_s in starts_s:
        for turn in (-1.0, 0.0, 1.0):
            first_s = start_s + turn * period_s
            covered += np.clip(edges - first_s, 0.0, width_s)
    return np.asarray(np.diff(covered) * bins / period_s, np.float64)
