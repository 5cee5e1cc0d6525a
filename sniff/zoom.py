"""Zoom: lines moved to zero, filtered and decimated, so that each can be followed in time.

Successive Hann windows of ``2 hop`` samples, one every `hop`, add up to one everywhere: a coherent
sum of all frames is therefore the plain, unwindowed Fourier sum of the whole take, and nothing of
the line's information is lost by going through frames.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles, IQBlock, _seal

Complexes = npt.NDArray[np.complex128]

MIN_HOP = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zoomed:
    """One line against time.

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
        _seal(self.values)

    @property
    def times_s(self) -> Doubles:
        """Time of the middle of each frame, s, shape (frames,)."""
        return self.start_s + np.arange(self.values.size, dtype=np.float64) / self.rate_hz


class Zoom:
    """Follow several lines of one tuning in one pass.

    Parameters
    ----------
    lines_hz : sequence of float
        Indicated frequencies to move to zero, Hz.
    hop : int
        Samples from frame to frame; the filter is a Hann window of twice that.

    Raises
    ------
    ValueError
        When `hop` is too small to filter, or a later block has another rate or centre.
    """

    def __init__(self, lines_hz: npt.ArrayLike, *, hop: int) -> None:
        if hop < MIN_HOP:
            raise ValueError(f"{hop=} is below {MIN_HOP}")
        self._lines_hz = np.atleast_1d(np.asarray(lines_hz, dtype=np.float64))
        self._hop = hop
        self._rate_hz = 0.0
        self._center_hz = 0.0
        self._first_index: int | None = None
        self._next_index = 0
        self._rest = np.empty(0, np.complex64)
        self._half: npt.NDArray[np.complex64] | None = None
        self._frames: list[Complexes] = []
        self._frame = 0
        self._lead = 0

    def push(self, block: IQBlock) -> None:
        """Take in a block; a gap before it leaves frames unobserved."""
        if self._first_index is None:
            self._set_up(block)
        elif block.rate_hz != self._rate_hz or block.center_hz != self._center_hz:
            raise ValueError("a zoom cannot go on over a change of rate or centre")
        elif block.index != self._next_index:
            self._skip_to(block.index)
        self._next_index = block.end_index
        samples = block.samples[self._lead :]
        self._lead = max(0, self._lead - block.samples.size)
        if self._rest.size:
            samples = np.concatenate([self._rest, samples])
        rows = samples.size // self._hop
        self._rest = samples[rows * self._hop :].copy()
        if rows:
            self._multiply(samples[: rows * self._hop].reshape(rows, self._hop))

    def results(self) -> tuple[Zoomed, ...]:
        """The lines so far, in the order they were asked for."""
        if self._first_index is None:
            return ()
        frames = (
            np.concatenate(self._frames)
            if self._frames
            else np.empty((0, self._lines_hz.size), np.complex128)
        )
        start_s = (self._first_index + self._hop) / self._rate_hz
        return tuple(
            Zoomed(
                values=np.ascontiguousarray(frames[:, at]),
                center_hz=float(line_hz),
                rate_hz=self._rate_hz / self._hop,
                start_s=start_s,
            )
            for at, line_hz in enumerate(self._lines_hz)
        )

    def _set_up(self, block: IQBlock) -> None:
        self._rate_hz, self._center_hz = block.rate_hz, block.center_hz
        self._first_index = block.index
        hop = self._hop
        self._turns = (self._lines_hz - block.center_hz) / block.rate_hz  # per sample
        n = np.arange(2 * hop, dtype=np.float64)
        window = 0.5 - 0.5 * np.cos(np.pi * (n + 0.5) / hop)  # sums to `hop`
        kernel = window[:, None] / hop * np.exp(-2j * np.pi * n[:, None] * self._turns)
        # One product gives the first and the second half of a frame for every row of samples;
        # overlapping rows would make numpy copy, and keep it from using BLAS.
        self._kernel = np.concatenate([kernel[:hop], kernel[hop:]], axis=1).astype(np.complex64)

    def _multiply(self, rows: npt.NDArray[np.complex64]) -> None:
        lines = self._lines_hz.size
        product = rows @ self._kernel
        first, second = product[:, :lines], product[:, lines:]
        if self._half is not None:
            first = np.concatenate([self._half[None, :], first])
        else:
            second = second[1:]
        self._half = first[-1].copy()
        frames = (first[:-1] + second).astype(np.complex128)
        numbers = self._frame + np.arange(frames.shape[0])
        frames *= np.exp(-2j * np.pi * ((numbers[:, None] * self._hop * self._turns) % 1.0))
        self._frame += frames.shape[0]
        self._frames.append(frames)

    def _skip_to(self, index: int) -> None:
        """Fill with NaN up to the next frame border at or after `index`.

        Samples between `index` and that border, less than one hop, are passed over.
        """
        assert self._first_index is not None
        border = -(-(index - self._first_index) // self._hop)
        missing = max(0, border - self._frame)
        self._frames.append(np.full((missing, self._lines_hz.size), np.nan, np.complex128))
        self._frame += missing
        self._half = None
        self._rest = np.empty(0, np.complex64)
        self._lead = border * self._hop + self._first_index - index
