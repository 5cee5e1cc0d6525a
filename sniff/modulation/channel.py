"""One channel cut out of a tuning: moved to zero, filtered flat, decimated.

`sniff.zoom` follows a line through a narrow Hann filter; a modulated carrier needs a filter that is
flat over all of its sidebands, or the demodulated audio is distorted.
"""

from collections.abc import Iterator
from math import ceil, pi

import numpy as np

from sniff.errors import UsageError
from sniff.model import ComplexSamples, Doubles, IQBlock

TURNS = 32
"""Length of the filter, output samples. Even, so that its middle falls on a sample."""

STOP_DB = 80.0
"""What the filter leaves of what would fold into the channel, dB below it."""

_BETA = 0.1102 * (STOP_DB - 8.7)
# Kaiser's estimate of a filter's length, solved for the width of its edge in output rates: J. F.
# Kaiser 1974, Proc. IEEE ISCAS, 20.
_EDGE = (STOP_DB - 7.95) / (14.36 * TURNS)
_ROWS = 2**13  # output samples at a time: the products stay in the second-level cache


def decimation_for(width_hz: float, rate_hz: float) -> int:
    """The largest step from sample to sample that leaves a channel of this width intact."""
    return max(1, int(rate_hz * (1.0 - _EDGE) / width_hz))


class ChannelFilter:
    """Cut a channel out of a stream of blocks.

    Parameters
    ----------
    line_hz : float
        Indicated frequency that is moved to zero, Hz.
    width_hz : float
        Width of the channel, flat within 0.001 dB, Hz.
    rate_hz, center_hz : float
        Of the blocks to come, Hz.

    Raises
    ------
    UsageError
        When the channel is wider than what the blocks can hold.
    """

    def __init__(
        self, line_hz: float, *, width_hz: float, rate_hz: float, center_hz: float
    ) -> None:
        if width_hz > widest_hz(rate_hz) * (1.0 + 1e-9):
            raise UsageError(
                f"a channel of {width_hz:g} Hz is wider than the recording holds: at most "
                f"{widest_hz(rate_hz):g} Hz at this rate"
            )
        self.line_hz = line_hz
        self.width_hz = width_hz
        self._step = decimation_for(width_hz, rate_hz)
        self.rate_hz = rate_hz / self._step
        self._in_rate_hz = rate_hz
        self._center_hz = center_hz
        turns = (line_hz - center_hz) / rate_hz  # per input sample
        taps = _low_pass(width_hz / rate_hz, self._step)
        n = np.arange(taps.size) - taps.size // 2
        kernel = taps * np.exp(-2j * pi * ((turns * n) % 1.0))
        self._kernel = kernel.reshape(TURNS, self._step).astype(np.complex64)
        self._turns = (turns * self._step) % 1.0  # per output sample
        self._next_index: int | None = None
        self._row = 0
        self._rest: ComplexSamples = np.empty(0, np.complex64)
        self._partial = np.empty((TURNS, 0), np.complex64)

    @property
    def noise_bandwidth_hz(self) -> float:
        """Width of the rectangle that passes as much noise, Hz."""
        return float((np.abs(self._kernel) ** 2).sum()) * self._in_rate_hz

    def push(self, block: IQBlock) -> Iterator[IQBlock]:
        """Take in a block; gives the channel's samples that it completes.

        Indices count output samples on the same clock: an index over `rate_hz` is the time of the
        filter's middle. A gap in the input is a gap in the output, longer by the filter.

        Raises
        ------
        ValueError
            When the block has another rate or centre.
        """
        if (block.rate_hz, block.center_hz) != (self._in_rate_hz, self._center_hz):
            raise ValueError("a channel cannot go on over a change of rate or centre")
        samples = block.samples
        if block.index != self._next_index:
            self._row = ceil(block.index / self._step)
            samples = samples[self._row * self._step - block.index :]
            self._rest = np.empty(0, np.complex64)
            self._partial = np.empty((TURNS, 0), np.complex64)
        self._next_index = block.end_index
        if self._rest.size:
            samples = np.concatenate([self._rest, samples])
        rows = samples.size // self._step
        self._rest = samples[rows * self._step :].copy()
        table = samples[: rows * self._step].reshape(rows, self._step)
        for first in range(0, rows, _ROWS):
            made = self._filter(table[first : first + _ROWS])
            if made is not None:
                yield made

    def _filter(self, rows: ComplexSamples) -> IQBlock | None:
        # Each tap group times all rows in one product, then summed along the diagonals.
        products = np.concatenate([self._partial, self._kernel @ rows.T], axis=1)
        count = products.shape[1] - TURNS + 1
        self._partial = products[:, max(0, count) :].copy()
        if count <= 0:
            return None
        made = products[0, :count].copy()
        for turn in range(1, TURNS):
            made += products[turn, turn : turn + count]
        index = self._row + TURNS // 2
        self._row += count
        turned = (self._turns * (index + np.arange(count, dtype=np.float64))) % 1.0
        made *= np.exp(-2j * pi * turned).astype(np.complex64)
        return IQBlock(samples=made, rate_hz=self.rate_hz, center_hz=self.line_hz, index=index)


def widest_hz(rate_hz: float) -> float:
    """The widest channel that can be filtered at this rate, Hz."""
    return rate_hz * (1.0 - _EDGE)


def _low_pass(width: float, step: int) -> Doubles:
    """Kaiser-windowed low-pass of unit gain, flat to half of `width` (in input rates)."""
    size = TURNS * step
    n = np.arange(size) - size // 2
    cut = width + _EDGE / step  # both edges, −6 dB in the middle of each
    taps = cut * np.sinc(cut * n) * np.kaiser(size + 1, _BETA)[:size]
    return np.asarray(taps / taps.sum(), dtype=np.float64)
