"""The bench's own division of time and its random numbers.

Everything is made in chunks of a fixed length that start at multiples of it, counted in samples
since the bench was switched on. What a caller reads is cut from these, so the same samples come
whatever the block size.
"""

from enum import IntEnum
from functools import cache

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles

ROW = 64
"""Samples between two knots: slow courses are worked out at knots and joined smoothly."""

CHUNK = 16_384
"""Samples made at once: small enough for a processor's second-level cache."""

ROWS = CHUNK // ROW

TAIL = 416
"""Samples of memory that a noise filter may have; CHUNK + TAIL = 2**5 * 3 * 5**2 * 7 is a quick
FFT length."""


SEEDS = 2**63
"""How many seeds there are: half of what a generator's key holds, so that TOML holds them too."""


class Stream(IntEnum):
    """Which random process a number belongs to; emitters follow from `EMITTER` on, in steps."""

    NOISE = 0
    LO_PHASE = 1
    PLACING = 2
    EMITTER = 16


class Process(IntEnum):
    """Random processes of one emitter."""

    CONTACT = 0
    WANDER = 1
    SPEECH = 2


def emitter_stream(emitter: int, process: Process) -> int:
    """Stream number of a process of the emitter with this number in the scene."""
    return Stream.EMITTER + len(Process) * emitter + process


def generator(seed: int, stream: int, *position: int) -> np.random.Generator:
    """Random numbers that depend on their place alone, not on what was drawn before.

    Philox is counter-based: any place of any stream is reached at once (Salmon et al., Parallel
    random numbers: as easy as 1, 2, 3, SC11, 2011). The low word of the counter is left to the
    draws themselves.
    """
    counter = np.zeros(4, np.uint64)
    counter[1 : 1 + len(position)] = position
    key = np.array([seed, stream], np.uint64)
    return np.random.Generator(np.random.Philox(counter=counter, key=key))


def white(seed: int, stream: int, chunk: int, width: int) -> npt.NDArray[np.float32]:
    """White Gaussian numbers of a chunk, preceded by the last ones of the chunk before.

    Returns
    -------
    ndarray of float32, shape ((TAIL + CHUNK) * width,)
        Unit variance. The tail of a chunk has a generator of its own, so that the next chunk
        need not draw the whole of it again.
    """
    out = np.empty((TAIL + CHUNK) * width, np.float32)
    tail = TAIL * width
    for part, place, chunk_of in (
        (1, out[:tail], chunk),
        (0, out[tail:-tail], chunk),
        (1, out[-tail:], chunk + 1),
    ):
        generator(seed, stream, chunk_of, part).standard_normal(out=place, dtype=np.float32)
    return out


def hermite(values: Doubles, slopes: Doubles, step: int) -> Doubles:
    """Join knots by cubics that keep value and slope (Hermite's interpolation).

    Parameters
    ----------
    values : ndarray of float64, shape (n + 1,)
        Value at each knot.
    slopes : ndarray of float64, shape (n + 1,)
        Change per step at each knot.
    step : int
        Samples from knot to knot.

    Returns
    -------
    ndarray of float64, shape (n * step,)

    Notes
    -----
    The error of a sinusoid of angular frequency w is at most ``(w h)**4 / 384`` of it, where h
    is the distance of two knots.
    """
    knots = np.stack([values[:-1], slopes[:-1], values[1:], slopes[1:]], axis=1)
    return np.asarray((knots @ _hermite_basis(step)).reshape(-1))


@cache
def _hermite_basis(step: int) -> Doubles:
    u = np.arange(step, dtype=np.float64) / step
    return np.stack(
        [(1 + 2 * u) * (1 - u) ** 2, u * (1 - u) ** 2, u * u * (3 - 2 * u), u * u * (u - 1)]
    )


def linear(values: Doubles, step: int) -> Doubles:
    """Join knots by straight lines: from shape (n + 1,) to shape (n * step,)."""
    u = np.arange(step, dtype=np.float64) / step
    knots = np.stack([values[:-1], values[1:]], axis=1)
    return np.asarray((knots @ np.stack([1 - u, u])).reshape(-1))
