"""Correction: how fast the instrument's clock runs, and how sure we are of it."""

from dataclasses import dataclass
from math import hypot, isfinite, sqrt

from calib.reading import Reading

UNKNOWN_DONGLE_LIMIT_PPM = 100.0
"""Half-width assumed for a dongle that was never calibrated (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """The error of the crystal that clocks tuner and sampler alike.

    Attributes
    ----------
    ppm : float
        How fast the crystal runs, parts per million; positive means fast. A fast crystal makes
        everything look too low, hence ``true = indicated * (1 + ppm * 1e-6)``.
    u_ppm : float
        Standard uncertainty (k = 1) of `ppm`. It is common to all readings and does not average
        away: average indications first, correct once, last.
    origin : str
        Where the number comes from, in words.
    """

    ppm: float
    u_ppm: float
    origin: str

    def __post_init__(self) -> None:
        if not isfinite(self.ppm) or not isfinite(self.u_ppm) or self.u_ppm < 0:
            raise ValueError(f"a correction needs finite numbers and u >= 0, not {self!r}")

    @classmethod
    def from_limit(cls, limit_ppm: float, *, origin: str) -> "Correction":
        """Zero, rectangular within ±`limit_ppm`: u = limit / sqrt(3) (JCGM 100:2008, 4.3.7)."""
        return cls(ppm=0.0, u_ppm=limit_ppm / sqrt(3.0), origin=origin)

    @classmethod
    def unknown_dongle(cls) -> "Correction":
        """What may be assumed of a dongle nobody calibrated."""
        return cls.from_limit(
            UNKNOWN_DONGLE_LIMIT_PPM,
            origin=f"not calibrated: within ±{UNKNOWN_DONGLE_LIMIT_PPM:g} ppm assumed",
        )

    @property
    def factor(self) -> float:
        """True frequency over indicated frequency."""
        return 1.0 + self.ppm * 1e-6

    def apply(self, indicated_hz: float, u_hz: float) -> Reading:
        """Turn an indication into a reading.

        Parameters
        ----------
        indicated_hz : float
            Frequency on the instrument's own, uncorrected scale, Hz.
        u_hz : float
            Standard uncertainty of the indication alone, Hz.

        Returns
        -------
        Reading
            ``value = f (1 + p)`` and ``u² = (u_f (1 + p))² + (f u_p)²``, the law of propagation
            for independent inputs (JCGM 100:2008, 5.1.2).
        """
        return Reading(
            value_hz=indicated_hz * self.factor,
            u_hz=hypot(u_hz * self.factor, indicated_hz * self.u_ppm * 1e-6),
        )

    def indicate(self, true_hz: float) -> float:
        """Where a line of known true frequency appears on the uncorrected scale, Hz."""
        return true_hz / self.factor
