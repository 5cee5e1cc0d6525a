"""Windows by name: cosine sums, periodic (DFT-even), with the figures of merit that follow.

All figures are closed forms in the coefficients, for segments longer than twice the number of
terms. A symmetric window is not the same: its noise bandwidth is larger by about 1/n.
"""

from enum import Enum
from math import log10, pi

import numpy as np
import numpy.typing as npt

from sniff.errors import UsageError


class Window(str, Enum):
    """A window's name, as the user writes it and as `Spectrum.window` bears it."""

    HANN = "hann"
    BLACKMAN_HARRIS = "blackman-harris"
    FLAT_TOP = "flat-top"
    RECTANGULAR = "rectangular"

    @classmethod
    def named(cls, text: str) -> "Window":
        """The window of this name, in any case, with hyphen, underscore or space.

        Raises
        ------
        UsageError
            When there is none; lists those there are.
        """
        try:
            return cls("-".join(text.strip().lower().replace("_", " ").split()))
        except ValueError:
            names = ", ".join(window.value for window in cls)
            raise UsageError(f"no window is named {text!r}; there are {names}") from None

    @property
    def coefficients(self) -> tuple[float, ...]:
        """Terms a0, a1, … of ``a0 - a1 cos z + a2 cos 2z - …`` with ``z = 2 pi i / n``.

        Sources: Hann by its definition; Blackman-Harris: Harris 1978, *Proc. IEEE* 66(1), table
        in section V-E, minimum 4-term; flat-top: D'Antona and Ferrero 2006, *Digital Signal
        Processing for Measurement Systems*, 5-term.
        """
        return _COEFFICIENTS[self]

    @property
    def recommended_overlap(self) -> float:
        """Overlap as a fraction of the segment.

        Where amplitude flatness less overlap correlation is greatest: Heinzel, Rüdiger and
        Schilling 2002, section 10 and appendix C; their rule applied by us to this flat-top.
        """
        return _RECOMMENDED_OVERLAP[self]

    def samples(self, n: int) -> npt.NDArray[np.float64]:
        """The window's `n` samples, largest 1 within rounding, shape (n,).

        Raises
        ------
        ValueError
            When `n` is too short for the window's terms not to alias.
        """
        terms = self.coefficients
        if n < 2 * len(terms):
            raise ValueError(f"{n=} is too short for {self.value}; at least {2 * len(terms)}")
        angle = np.arange(n) * (2 * pi / n)
        shape = np.zeros(n)
        for k, term in enumerate(terms):
            shape += (-1) ** k * term * np.cos(k * angle)
        return shape

    @property
    def coherent_gain(self) -> float:
        """Mean of the samples: what a tone on a bin is multiplied by."""
        return self.coefficients[0]

    @property
    def enbw_bins(self) -> float:
        """Equivalent noise bandwidth ``n sum(w²) / sum(w)²``, bins (Harris 1978, eq. 11)."""
        first, *others = self.coefficients
        return 1.0 + sum(term * term for term in others) / (2.0 * first * first)

    @property
    def scalloping_db(self) -> float:
        """How much lower a tone half-way between bins reads, dB >= 0 (Harris 1978, eq. 15).

        The limit for long segments, where term k contributes sinc(1/2 - k) + sinc(1/2 + k).
        """
        half_way = sum(
            (-1) ** k * term / (0.25 - k * k) / (2.0 * pi)
            for k, term in enumerate(self.coefficients)
        )
        return -20.0 * log10(half_way / self.coherent_gain)

    def overlap_correlation(self, overlap: float, n: int = 4096) -> float:
        """Correlation of the noise in two segments that share `overlap` of their length.

        Harris 1978, eq. 18; sampled at `n` points. Its square is Welch's rho.
        """
        return correlation_at(self.samples(n), round(n * (1.0 - overlap)))


_COEFFICIENTS = {
    Window.HANN: (0.5, 0.5),
    Window.BLACKMAN_HARRIS: (0.35875, 0.48829, 0.14128, 0.01168),
    Window.FLAT_TOP: (0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368),
    Window.RECTANGULAR: (1.0,),
}

_RECOMMENDED_OVERLAP = {
    Window.HANN: 0.5,
    Window.BLACKMAN_HARRIS: 0.661,
    Window.FLAT_TOP: 0.754,
    Window.RECTANGULAR: 0.0,
}


def correlation_at(shape: npt.NDArray[np.float64], lag: int) -> float:
    """Normalised autocorrelation of a window at a lag in samples, 0 beyond its length."""
    if lag >= shape.size:
        return 0.0
    return float(np.dot(shape[: shape.size - lag], shape[lag:]) / np.dot(shape, shape))
