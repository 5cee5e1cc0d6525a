"""Zoom: lines moved to zero, filtered and decimated, so that each can be followed in time.

Successive Hann windows of ``2 hop`` samples, one every `hop`, add up to one everywhere: a coherent
sum of frames is therefore the plain, unwindowed Fourier sum of the samples, and nothing of the
line's information is lost by going through frames.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.model import ComplexSamples, Doubles, IQBlock

Complexes = npt.NDArray[np.complex128]

MIN_HOP = 8

LONGEST_STRETCH = 2**16
"""Frames in a stretch, at the most: memory is bounded by that whatever the length of a take."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zoomed:
    """One line against time, over one stretch.

    Attributes
    ----------
    values : ndarray of complex128, shape (frames,)
        Complex amplitude, full scale 1.0; NaN where nothing was observed. A steady tone of
        amplitude a at `center_hz` gives a constant of magnitude a.
    center_hz : float
        Indicated frequency that was moved to zero, Hz.
    rate_hz : float
        Frames per second. A frame passes ±`rate_hz` / 2 at −6 dB.
    start_s : float
        Time of the middle of the first frame since the source was opened, s.
    """

    values: Complexes
    center_hz: float
    rate_hz: float
    start_s: float

    def __post_init__(self) -> None:
        self.values.flags.writeable = False

    @property
    def times_s(self) -> Doubles:
        """Time of the middle of each frame, s, shape (frames,)."""
        return self.start_s + np.arange(self.values.size, dtype=np.float64) / self.rate_hz


class Zoom:
    """Follow several lines of one tuning in one pass, stretch by stretch.

    Parameters
    ----------
    lines_hz : array_like of float, shape (lines,)
        Indicated frequencies to move to zero, Hz.
    hop : int
        Samples from frame to frame; the filter is a Hann window of twice that.
    longest : int
        Frames after which a stretch ends.

    Raises
    ------
    ValueError
        When `hop` is too small to filter, or a later block has another rate or centre.
    """

    def __init__(
        self, lines_hz: npt.ArrayLike, *, hop: int, longest: int = LONGEST_STRETCH
    ) -> None:
        if hop < MIN_HOP:
            raise ValueError(f"{hop=} is below {MIN_HOP}")
        self._lines_hz = np.atleast_1d(np.asarray(lines_hz, dtype=np.float64))
        self._hop = hop
        self._longest = longest
        self._rate_hz = 0.0
        self._center_hz = 0.0
        self._next_index: int | None = None
        # One array that doubles: small arrays kept among large short-lived ones would make the
        # heap grow with the length of the take.
        self._frames = np.empty((1024, self._lines_hz.size), np.complex128)
        self._offset_turns: Doubles = np.zeros(self._lines_hz.size)
        self._first_index = 0
        self._count = 0
        self._lead = 0
        self._rest: ComplexSamples = np.empty(0, np.complex64)
        self._half: ComplexSamples | None = None

    def push(self, block: IQBlock) -> Iterator[tuple[Zoomed, ...]]:
        """Take in a block; gives the stretches that it ends, the lines in the order asked for.

        A gap shorter than a stretch leaves frames unobserved, a longer one ends the stretch.

        Raises
        ------
        ValueError
            When rate or centre have changed.
        """
        if self._next_index is None:
            self._set_up(block)
        elif block.rate_hz != self._rate_hz or block.center_hz != self._center_hz:
            raise ValueError("a zoom cannot go on over a change of rate or centre")
        elif block.index != self._next_index:
            yield from self._skip_to(block.index)
        self._next_index = block.end_index
        samples = block.samples[self._lead :]
        self._lead = max(0, self._lead - block.samples.size)
        if self._rest.size:
            samples = np.concatenate([self._rest, samples])
        rows = samples.size // self._hop
        self._rest = samples[rows * self._hop :].copy()
        if rows:
            self._multiply(samples[: rows * self._hop].reshape(rows, self._hop))
        if self._count >= self._longest:
            yield self._end()

    def finish(self) -> Iterator[tuple[Zoomed, ...]]:
        """Give what is left as the last stretch, if there is any."""
        if self._count:
            yield self._end()

    def _begin(self, index: int) -> None:
        """Start a stretch at a sample's number."""
        self._offset_turns = np.zeros(self._lines_hz.size)
        self._first_index = index
        self._count = 0
        self._lead = 0
        self._rest = np.empty(0, np.complex64)
        self._half = None

    def _end(self) -> tuple[Zoomed, ...]:
        start_s = (self._first_index + self._hop) / self._rate_hz
        stretch = tuple(
            Zoomed(
                values=self._frames[: self._count, at].copy(),
                center_hz=float(line_hz),
                rate_hz=self._rate_hz / self._hop,
                start_s=start_s,
            )
            for at, line_hz in enumerate(self._lines_hz)
        )
        # The half-finished frame goes on into the next stretch, by its own phase reference.
        shift = self._count * self._hop
        self._offset_turns = (self._offset_turns + shift * self._turns) % 1.0
        self._first_index += shift
        self._count = 0
        return stretch

    def _set_up(self, block: IQBlock) -> None:
        self._rate_hz, self._center_hz = block.rate_hz, block.center_hz
        self._begin(block.index)
        hop = self._hop
        self._turns = (self._lines_hz - block.center_hz) / block.rate_hz  # per sample
        n = np.arange(2 * hop, dtype=np.float64)
        window = 0.5 - 0.5 * np.cos(np.pi * (n + 0.5) / hop)  # sums to `hop`
        kernel = window[:, None] / hop * np.exp(-2j * np.pi * n[:, None] * self._turns)
        # One product gives the first and the second half of a frame for every row of samples;
        # overlapping rows would make numpy copy, and keep it from using BLAS.
        self._kernel = np.concatenate([kernel[:hop], kernel[hop:]], axis=1).astype(np.complex64)

    def _multiply(self, rows: ComplexSamples) -> None:
        lines = self._lines_hz.size
        product = rows @ self._kernel
        first, second = product[:, :lines], product[:, lines:]
        if self._half is not None:
            first = np.concatenate([self._half[None, :], first])
        else:
            second = second[1:]
        self._half = first[-1].copy()
        frames = (first[:-1] + second).astype(np.complex128)
        numbers = self._count + np.arange(frames.shape[0])
        turns = self._offset_turns + numbers[:, None] * (self._hop * self._turns)
        frames *= np.exp(-2j * np.pi * (turns % 1.0))
        self._keep(frames)

    def _skip_to(self, index: int) -> Iterator[tuple[Zoomed, ...]]:
        """Go on after a gap: unobserved frames up to the next frame border, or a new stretch.

        Samples between `index` and that border, less than one hop, are passed over.
        """
        border = -(-(index - self._first_index) // self._hop)
        if border > self._longest:
            yield from self.finish()
            self._begin(index)
            return
        missing = max(0, border - self._count)
        self._keep(np.full((missing, self._lines_hz.size), np.nan, np.complex128))
        self._half = None
        self._rest = np.empty(0, np.complex64)
        self._lead = border * self._hop + self._first_index - index

    def _keep(self, frames: Complexes) -> None:
        end = self._count + frames.shape[0]
        if end > self._frames.shape[0]:
            larger = np.empty((max(end, 2 * self._frames.shape[0]), frames.shape[1]), np.complex128)
            larger[: self._count] = self._frames[: self._count]
            self._frames = larger
        self._frames[self._count : end] = frames
        self._count = end
