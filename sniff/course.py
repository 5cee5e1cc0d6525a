"""Spectrum against time in rows and columns of bounded number, for a pass of any length."""

from math import ceil

import numpy as np

from sniff.model import Course
from sniff.resolution import SpectrumSettings
from sniff.spectrum import Floats

MAX_ROWS = 600
MAX_COLUMNS = 2048

_SHORTEST_SEGMENT = 256
# With fewer rows an interruption is hard to see.
_ROWS_WANTED = 300


def course_segment(samples: int | None) -> int:
    """A segment length that shows a pass of `samples` (None: unknown) well in time and frequency.

    Two bins to a column, or fewer where a short pass would otherwise have too few rows.
    """
    segment = 2 * MAX_COLUMNS
    while samples is not None and segment > _SHORTEST_SEGMENT:
        if 2 * samples >= _ROWS_WANTED * segment:  # rows of half a segment, as with Hann
            break
        segment //= 2
    return segment


class CourseRecorder:
    """Makes a course of the segments of a Welch pass that it observes.

    A row holds the segments whose middles lie in it; a row in which nothing was observed is NaN.
    Within a row the mean over time comes first, then the largest over a column's bins. When all
    rows are full they are merged two by two, and then the columns of the two are averaged.

    Parameters
    ----------
    settings : SpectrumSettings
        Those of the pass.
    rate_hz, center_hz : float
        Those of the pass.
    seconds : float or None
        Expected length, from which the length of a row follows. When it is not known, or proves
        too short, rows merge.
    max_rows : int
        Largest number of rows, even.
    max_columns : int
        Largest number of columns.

    Raises
    ------
    UsageError
        When the RBW wanted is out of reach at this rate.
    ValueError
        When a number is out of range.
    """

    def __init__(
        self,
        settings: SpectrumSettings,
        *,
        rate_hz: float,
        center_hz: float,
        seconds: float | None = None,
        max_rows: int = MAX_ROWS,
        max_columns: int = MAX_COLUMNS,
    ) -> None:
        if max_rows < 2 or max_rows % 2 or max_columns < 1:
            raise ValueError(f"{max_rows=} must be even and {max_columns=} above zero")
        if seconds is not None and not seconds > 0:
            raise ValueError(f"{seconds=} must be above zero")
        self._rate_hz = rate_hz
        self._center_hz = center_hz
        self._segment = settings.segment_at(rate_hz)
        self._hop = settings.hop_of(self._segment)
        self._bins_per_column = ceil(self._segment / max_columns)
        hops = ceil((seconds or 0.0) * rate_hz / (self._hop * max_rows))
        self._row_samples = max(1, hops) * self._hop
        self._origin: int | None = None
        columns = ceil(self._segment / self._bins_per_column)
        self._means = np.zeros((max_rows, columns), dtype=np.float32)
        self._counts = np.zeros(max_rows, dtype=np.int64)
        self._row = 0
        self._sum = np.zeros(self._segment)
        self._count = 0

    def observe(self, tone_power: Floats, first_index: int) -> None:
        """Take in some segments, see `SegmentObserver`."""
        if self._origin is None:
            self._origin = first_index
        done = 0
        while done < len(tone_power):
            # A segment stands for one hop about its middle; all in half samples, to stay exact.
            middle = 2 * (first_index - self._origin + done * self._hop) + self._hop
            self._move_to(middle // (2 * self._row_samples))
            left = 2 * (self._row + 1) * self._row_samples - middle
            end = min(len(tone_power), done + ceil(left / (2 * self._hop)))
            self._sum += np.add.reduce(tone_power[done:end], axis=0)
            self._count += end - done
            done = end

    def result(self) -> Course:
        """The course so far; more may follow.

        Raises
        ------
        ValueError
            When nothing was observed.
        """
        if self._origin is None:
            raise ValueError("no segment was observed")
        self._store()
        rows = self._means[: self._row + 1].copy()
        rows[self._counts[: self._row + 1] == 0] = np.nan
        bin_hz = self._rate_hz / self._segment
        return Course(
            tone_power=rows,
            row_s=self._row_samples / self._rate_hz,
            start_s=(self._origin + (self._segment - self._hop) / 2) / self._rate_hz,
            first_hz=self._center_hz
            + bin_hz * ((self._bins_per_column - 1) / 2 - self._segment // 2),
            column_hz=bin_hz * self._bins_per_column,
        )

    def _move_to(self, row: int) -> None:
        if row == self._row:
            return
        self._store()
        self._sum[:] = 0.0
        self._count = 0
        while row >= len(self._means):
            self._merge()
            row //= 2
        self._row = row

    def _store(self) -> None:
        """Write the row at hand; the next time it is written it replaces this."""
        if self._count:
            spectrum = np.fft.fftshift(self._sum) / self._count
            first_bins = np.arange(0, self._segment, self._bins_per_column)
            self._means[self._row] = np.maximum.reduceat(spectrum, first_bins)
            self._counts[self._row] = self._count

    def _merge(self) -> None:
        pairs = self._means.reshape(-1, 2, self._means.shape[1])
        counts = self._counts.reshape(-1, 2)
        both = counts.sum(axis=1)
        share = counts / np.maximum(both, 1)[:, np.newaxis]
        merged = np.einsum("rpc,rp->rc", pairs, share)
        half = len(merged)
        self._means[:half] = merged
        self._means[half:] = 0.0
        self._counts[:half] = both
        self._counts[half:] = 0
        self._row_samples *= 2
