"""Welch's averaged spectrum of a stream of IQ blocks, in one pass and bounded memory."""

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from math import isfinite
from typing import Protocol

import ducc0
import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from sniff.errors import SourceError, UsageError
from sniff.model import Doubles, IQBlock, Spectrum
from sniff.resolution import MIN_SEGMENT, SpectrumSettings, finest_rbw
from sniff.segments import SegmentBatch, SegmentTrain
from sniff.units import format_span
from sniff.windows import correlation_at

Floats = npt.NDArray[np.float32]

# A chunk of this many samples stays in one core's second-level cache while it is windowed,
# transformed and squared.
_CHUNK_SAMPLES = 2**17
# Squares are summed in single precision within a chunk and in double precision between chunks;
# 64 terms keep even the worst case, all roundings equal, below 4e-6 relative.
_CHUNK_SEGMENTS = 64
# Chunks that each of several threads is given at a time: waking it for fewer costs what it gains.
_CHUNKS_PER_THREAD = 4
# Longer segments leave the cache, and a second thread gains too little for the memory it needs.
_LONGEST_THREADED = 2**17


class SegmentObserver(Protocol):
    """Something else that is made of the same segments, so that they are computed once."""

    def observe(self, tone_power: Floats, first_index: int) -> None:
        """Take in consecutive segments of one gap-free run, in order of time.

        Parameters
        ----------
        tone_power : ndarray of float32, shape (segments, n)
            Power a tone in each bin would have, FS², in the FFT's order: the first bin is the
            centre, the upper half are the frequencies below it. Valid during the call only.
        first_index : int
            Number of the first segment's first sample since the source was opened.
        """
        ...


def effective_averages(
    segments: int, pairs_at_lag: npt.ArrayLike, correlations: npt.ArrayLike
) -> float:
    """Number of independent segments whose mean varies as much (Welch 1967, eq. 11).

    Parameters
    ----------
    segments : int
        Segments averaged.
    pairs_at_lag : array_like, shape (lags,)
        Pairs of them that lie 1, 2, … hops apart; ``segments - lag`` where there was no gap.
    correlations : array_like, shape (lags,)
        Normalised autocorrelation of the window at those lags; their squares are Welch's rho.
    """
    rho = np.square(np.asarray(correlations, dtype=np.float64))
    return segments**2 / (segments + 2.0 * float(np.dot(rho, np.asarray(pairs_at_lag))))


class Welch:
    """A spectrum that grows block by block.

    Segments run across the borders of blocks, never across a gap. Memory depends on the settings
    only; neither the size of the blocks nor the number of threads changes a bit of the result.

    Method: P. D. Welch, *IEEE Trans. Audio Electroacoust.* AU-15(2), 1967.

    Parameters
    ----------
    settings : SpectrumSettings
    rate_hz, center_hz : float
        Of all blocks to come.
    observers : sequence of SegmentObserver
        Each is shown the powers of all segments, in order of time.

    Raises
    ------
    UsageError
        When the RBW wanted is out of reach at this rate.
    """

    def __init__(
        self,
        settings: SpectrumSettings,
        *,
        rate_hz: float,
        center_hz: float,
        observers: Sequence[SegmentObserver] = (),
    ) -> None:
        self._settings = settings
        self._rate_hz = rate_hz
        self._center_hz = center_hz
        self._observers = tuple(observers)
        self._segment = settings.segment_at(rate_hz)
        self._hop = settings.hop_of(self._segment)
        self._shape = settings.window.samples(self._segment)
        self._chunk = min(max(1, _CHUNK_SAMPLES // self._segment), _CHUNK_SEGMENTS)
        threads = settings.threads if self._segment <= _LONGEST_THREADED else 1
        self._share = self._chunk * (_CHUNKS_PER_THREAD if threads > 1 else 1)
        self._train = SegmentTrain(
            segment=self._segment, hop=self._hop, per_batch=threads * self._share
        )
        # The thread that pushes works too.
        self._others = ThreadPoolExecutor(threads - 1) if threads > 1 else None
        # A tone on a bin then reads its power, FS², as the square of that bin.
        weights = np.repeat((self._shape / self._shape.sum()).astype(np.float32), 2)
        each = settings.holds or bool(self._observers)
        self._workspaces = [
            _Workspace(weights, self._hop, self._chunk, self._share, each=each)
            for _ in range(threads)
        ]
        self._total = np.zeros(self._segment)
        self._largest = np.zeros(self._segment, dtype=np.float32)
        self._smallest = np.full(self._segment, np.inf, dtype=np.float32)

    @property
    def gaps(self) -> int:
        """How many gaps lay between the blocks so far."""
        return self._train.gaps

    @property
    def lost_samples(self) -> int:
        """How many samples those gaps were long."""
        return self._train.lost_samples

    def push(self, block: IQBlock) -> None:
        """Take in the next block.

        Raises
        ------
        ValueError
            When the block's centre or rate is another, when it begins before the end of the last
            one, or when a sample of it or of an earlier one is not a finite number: batches are
            larger than blocks may be.
        """
        if (block.rate_hz, block.center_hz) != (self._rate_hz, self._center_hz):
            raise ValueError(
                f"{block.center_hz=} {block.rate_hz=} in a spectrum at "
                f"{self._center_hz} Hz and {self._rate_hz} Hz"
            )
        for batch in self._train.push(block):
            self._absorb(batch)

    def result(self) -> Spectrum:
        """The spectrum of all blocks so far; more may follow.

        Raises
        ------
        UsageError
            When no gap-free stretch was as long as one segment; names an RBW that would do.
        ValueError
            When a sample was not a finite number.
        """
        for batch in self._train.flush():
            self._absorb(batch)
        train = self._train
        if train.segments == 0:
            raise self._too_short(train.longest_run_samples)
        window = self._settings.window
        per_rbw = self._segment / (window.enbw_bins * self._rate_hz)
        lags = range(self._hop, self._segment, self._hop)
        holds = self._settings.holds
        return Spectrum(
            psd=np.fft.fftshift(self._total) * (per_rbw / train.segments),
            max_hold=_shifted(self._largest, per_rbw) if holds else None,
            min_hold=_shifted(self._smallest, per_rbw) if holds else None,
            center_hz=self._center_hz,
            rate_hz=self._rate_hz,
            window=window.value,
            enbw_bins=window.enbw_bins,
            averages=train.segments,
            effective_averages=effective_averages(
                train.segments,
                train.pairs_at_lag,
                [correlation_at(self._shape, lag) for lag in lags],
            ),
            samples=train.covered_samples,
        )

    def _absorb(self, batch: SegmentBatch) -> None:
        """Every thread transforms a share; all are taken in in order of time."""
        shares = [
            batch.part(first, first + self._share, hop=self._hop)
            for first in range(0, batch.segments, self._share)
        ]
        work = list(zip(self._workspaces, shares, strict=False))
        others = [self._others.submit(w.sum_up, share) for w, share in work[1:] if self._others]
        mine, share = work[0]
        mine.sum_up(share)
        for other in others:
            other.result()
        for workspace, share in work:
            self._take_in(share, workspace)

    def _take_in(self, batch: SegmentBatch, workspace: "_Workspace") -> None:
        for first in range(0, batch.segments, self._chunk):
            self._take_in_chunk(
                workspace.totals[first // self._chunk],
                workspace.powers[first : min(first + self._chunk, batch.segments)],
                batch.first_index + first * self._hop,
            )

    def _take_in_chunk(self, total: Doubles, powers: Floats, first_index: int) -> None:
        if not isfinite(total.sum()):
            raise ValueError(f"one of the samples from number {first_index} on is not finite")
        self._total += total
        if self._settings.holds:
            np.maximum(self._largest, powers.max(axis=0), out=self._largest)
            np.minimum(self._smallest, powers.min(axis=0), out=self._smallest)
        for observer in self._observers:
            observer.observe(powers, first_index)

    def _too_short(self, samples: int) -> UsageError:
        has = f"{samples} samples without a gap" if self._train.gaps else f"{samples} samples"
        if samples < MIN_SEGMENT:
            return UsageError(f"{has} are too few for any spectrum; take more")
        wanted_hz = self._settings.window.enbw_bins * self._rate_hz / self._segment
        finest_hz = finest_rbw(samples, self._rate_hz, self._settings.window)
        return UsageError(
            f"{has} are too few for a resolution bandwidth of {format_span(wanted_hz)}, which "
            f"needs {self._segment}; take more, or ask for {format_span(finest_hz)} or wider"
        )


class _Workspace:
    """Arrays in which one thread transforms one batch, chunk by chunk."""

    def __init__(
        self, weights: Floats, hop: int, chunk: int, per_batch: int, *, each: bool
    ) -> None:
        segment = weights.size // 2
        self._weights = weights
        self._hop = hop
        self._bins = np.empty((chunk, segment), dtype=np.complex64)
        self.powers = np.empty((per_batch if each else 0, segment), dtype=np.float32)
        self.totals = np.zeros((per_batch // chunk, segment))

    def sum_up(self, batch: SegmentBatch) -> None:
        """Transform the segments; leaves each chunk's power, and each segment's where wanted."""
        # I and Q side by side as reals: a complex product with a real window does twice the work.
        stream = batch.samples.view(np.float32)
        segments = sliding_window_view(stream, self._weights.size)[:: 2 * self._hop]
        chunk = len(self._bins)
        for first, total in zip(range(0, batch.segments, chunk), self.totals, strict=False):
            part = segments[first : first + chunk]
            bins = self._bins[: len(part)]
            values = bins.view(np.float32)
            np.multiply(part, self._weights, out=values)
            ducc0.fft.c2c(bins, axes=[1], out=bins)
            if self.powers.size:
                powers = self.powers[first : first + len(part)]
                np.square(values, out=values)
                np.add(values[:, 0::2], values[:, 1::2], out=powers)
                total[:] = np.add.reduce(powers, axis=0)
            else:
                squares = np.einsum("ij,ij->j", values, values)
                np.add(squares[0::2], squares[1::2], out=total)


def _shifted(tone_power: Floats, per_rbw: float) -> Doubles:
    return np.fft.fftshift(tone_power).astype(np.float64) * per_rbw


def estimate(blocks: Iterable[IQBlock], settings: SpectrumSettings) -> Spectrum:
    """One spectrum of all blocks, which are at one tuning.

    Raises
    ------
    UsageError
        When the RBW wanted is out of reach, or the blocks are too short for it.
    SourceError
        When there is no block.
    ValueError
        As in `Welch.push`.
    """
    welch = None
    for block in blocks:
        if welch is None:
            welch = Welch(settings, rate_hz=block.rate_hz, center_hz=block.center_hz)
        welch.push(block)
    if welch is None:
        raise SourceError("the source gave no samples; check its length and where to start")
    return welch.result()
