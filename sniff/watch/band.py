"""The surroundings of a line, moved to zero and decimated: all that is watched comes from there.

A recording must be read much faster than real time, so the first stage is one matrix product: each
row of `hop` samples against the pieces of the filter, mixing included. What follows works on some
100 kS/s, whatever the source's rate.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sniff.errors import UsageError
from sniff.model import ComplexSamples, IQBlock
from sniff.units import format_frequency

_PIECES = 8
_BETA = 5.65  # Kaiser window of 60 dB (Oppenheim and Schafer, Discrete-Time Signal Processing)

CLEAN = 0.27
"""Part of the decimated rate, to either side of the line, that nothing folds into above −60 dB:
eight pieces of a 60 dB Kaiser window make a transition of 0.45 of the rate about its half."""

_ROTATIONS = 4096


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """A gap-free run of the decimated band.

    Attributes
    ----------
    values : ndarray of complex64, shape (n,)
        The line, if where it was said to be, stands at 0 Hz.
    start_s : float
        Time of the first value since the source was opened, s.
    fresh : bool
        True when it does not join the piece before: first of all, or after lost samples.
    """

    values: ComplexSamples
    start_s: float
    fresh: bool


class Band:
    """Moves a line to zero and decimates.

    Parameters
    ----------
    line_hz : float
        Indicated frequency that becomes zero, Hz.
    rate_hz, center_hz : float
        Of the blocks to come.
    least_hz : float
        The decimated rate is at least this, and less than twice this where the source's rate
        allows, Hz.

    Raises
    ------
    UsageError
        When the line lies outside the span.
    """

    def __init__(
        self, line_hz: float, *, rate_hz: float, center_hz: float, least_hz: float
    ) -> None:
        if not abs(line_hz - center_hz) < rate_hz / 2.0:
            low, high = (format_frequency(center_hz + side * rate_hz / 2.0) for side in (-1, 1))
            raise UsageError(
                f"{format_frequency(line_hz)} is not in view, which is {low} to {high}; "
                "set --center near it, but not on it"
            )
        self._source_hz, self._center_hz = rate_hz, center_hz
        self._hop = max(1, int(rate_hz / least_hz))
        self._pieces = _PIECES if self._hop > 1 else 1
        self.rate_hz = rate_hz / self._hop
        turns = (line_hz - center_hz) / rate_hz
        self._turns_per_value = (turns * self._hop) % 1.0
        self._rotations = np.exp(
            -2j * np.pi * ((self._turns_per_value * np.arange(_ROTATIONS)) % 1.0)
        ).astype(np.complex64)
        self._kernel = _kernel(self._hop, self._pieces, turns)
        self._next_index: int | None = None
        self._rest: ComplexSamples = np.empty(0, np.complex64)
        self._carry = np.empty((self._pieces, 0), np.complex64)
        self._first_index = 0
        self._count = 0

    def push(self, block: IQBlock) -> Iterator[Piece]:
        """Take in a block; gives what can be made of it.

        Raises
        ------
        ValueError
            When a block has another rate or centre, or lies before the last one's end.
        """
        if block.rate_hz != self._source_hz or block.center_hz != self._center_hz:
            raise ValueError("watching cannot go on over a change of rate or centre")
        if self._next_index is not None and block.index < self._next_index:
            raise ValueError(f"block {block.index=} lies before {self._next_index}")
        if block.index != self._next_index:
            self._rest = np.empty(0, np.complex64)
            self._carry = np.empty((self._pieces, 0), np.complex64)
            self._first_index, self._count = block.index, 0
        self._next_index = block.end_index
        samples = np.concatenate([self._rest, block.samples]) if self._rest.size else block.samples
        rows = samples.size // self._hop
        self._rest = samples[rows * self._hop :].copy()
        values = self._filtered(samples[: rows * self._hop].reshape(rows, self._hop))
        if values.size:
            yield self._piece(values)

    def _filtered(self, rows: ComplexSamples) -> ComplexSamples:
        """Each value is the sum of the products of successive rows with successive pieces."""
        if self._hop == 1:
            return np.array(rows[:, 0], dtype=np.complex64)
        products: ComplexSamples = self._kernel @ rows.T
        if self._carry.shape[1]:
            products = np.concatenate([self._carry, products], axis=1)
        values = products.shape[1] - self._pieces + 1
        if values <= 0:
            self._carry = products
            return np.empty(0, np.complex64)
        self._carry = products[:, values:].copy()
        total: ComplexSamples = products[0, :values].copy()
        for piece in range(1, self._pieces):
            total += products[piece, piece : piece + values]
        return total

    def _piece(self, values: ComplexSamples) -> Piece:
        middle = (self._pieces * self._hop - 1) / 2.0
        start_s = (self._first_index + self._count * self._hop + middle) / self._source_hz
        for at in range(0, values.size, _ROTATIONS):
            part = values[at : at + _ROTATIONS]
            begin = (self._turns_per_value * (self._count + at)) % 1.0
            part *= self._rotations[: part.size]
            part *= np.complex64(np.exp(-2j * np.pi * begin))
        piece = Piece(values=values, start_s=start_s, fresh=self._count == 0)
        self._count += values.size
        return piece


def _kernel(hop: int, pieces: int, turns: float) -> ComplexSamples:
    """Low-pass of half the decimated rate, mixed down by `turns` a sample; shape (pieces, hop)."""
    if hop == 1:
        return np.ones((1, 1), np.complex64)
    taps = pieces * hop
    n = np.arange(taps) - (taps - 1) / 2.0
    low_pass = np.sinc(n / hop) * np.kaiser(taps, _BETA)
    low_pass /= low_pass.sum()
    mixed = low_pass * np.exp(-2j * np.pi * ((turns * np.arange(taps)) % 1.0))
    return np.asarray(mixed.reshape(pieces, hop), dtype=np.complex64)
