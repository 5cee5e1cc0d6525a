"""Correction: how fast the instrument's clock runs, and how sure we are of it."""

from dataclasses import dataclass
from math import hypot, isfinite, sqrt

from calib.reading import Reading

UNKNOWN_DONGLE_LIMIT_PPM = 100.0
"""Half-width assumed for a dongle that was never calibrated (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Converter:
    """A mixer ahead of the instrument, whose LO the instrument's crystal knows nothing of.

    Attributes
    ----------
    shift_hz : float
        The instrument hears what is on the air this much higher (negative: lower); with `inverted`
        it hears ``shift_hz - f``, its LO lying above what is on the air, Hz.
    inverted : bool
    u_hz : float
        Standard uncertainty (k = 1) of its LO, Hz.
    """

    shift_hz: float
    inverted: bool = False
    u_hz: float = 0.0

    def __post_init__(self) -> None:
        if not isfinite(self.shift_hz) or not isfinite(self.u_hz) or self.u_hz < 0:
            raise ValueError(f"a converter needs finite numbers and u >= 0, not {self!r}")

    def behind(self, air_hz: float) -> float:
        """Where the instrument hears what is on the air, Hz."""
        return self.shift_hz - air_hz if self.inverted else air_hz + self.shift_hz

    def ahead(self, heard_hz: float) -> float:
        """What is on the air when the instrument hears this, Hz."""
        return self.shift_hz - heard_hz if self.inverted else heard_hz - self.shift_hz


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One cause of doubt about a clock.

    Attributes
    ----------
    cause : str
        In words.
    u_ppm : float
        Standard uncertainty (k = 1) by it, ppm.
    distribution : str
        ``normal`` or ``rectangular``, as it was stated.
    """

    cause: str
    u_ppm: float
    distribution: str


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
    converter : Converter or None
        What sits ahead of the instrument. Indicated frequencies are then those on the air, as if
        the crystal were right; the crystal's error acts on what the instrument hears.
    parts : tuple of Part
        Of what `u_ppm` is made, in quadrature; none where it was stated as it is.
    """

    ppm: float
    u_ppm: float
    origin: str
    converter: Converter | None = None
    parts: tuple[Part, ...] = ()

    def __post_init__(self) -> None:
        if not isfinite(self.ppm) or not isfinite(self.u_ppm) or self.u_ppm < 0:
            raise ValueError(f"a correction needs finite numbers and u >= 0, not {self!r}")
        if self.parts and abs(hypot(*(part.u_ppm for part in self.parts)) - self.u_ppm) > (
            1e-9 * self.u_ppm
        ):
            raise ValueError(f"the parts do not add up to u = {self.u_ppm} ppm: {self.parts!r}")

    @classmethod
    def from_limit(cls, limit_ppm: float, *, origin: str) -> "Correction":
        """Zero, rectangular within ±`limit_ppm`: u = limit / sqrt(3) (JCGM 100:2008, 4.3.7)."""
        u_ppm = limit_ppm / sqrt(3.0)
        parts = (Part(cause=origin, u_ppm=u_ppm, distribution="rectangular"),)
        return cls(ppm=0.0, u_ppm=u_ppm, origin=origin, parts=parts)

    @classmethod
    def unknown_dongle(cls) -> "Correction":
        """What may be assumed of a dongle nobody calibrated."""
        return cls.from_limit(
            UNKNOWN_DONGLE_LIMIT_PPM,
            origin=f"not calibrated: within ±{UNKNOWN_DONGLE_LIMIT_PPM:g} ppm assumed",
        )

    @property
    def factor(self) -> float:
        """True frequency over indicated frequency, without a converter."""
        return 1.0 + self.ppm * 1e-6

    @property
    def offset_hz(self) -> float:
        """True minus `factor` times indicated: what a converter's shift adds, Hz."""
        return 0.0 if self.converter is None else self.converter.shift_hz * self.ppm * self._turn

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
            for independent inputs (JCGM 100:2008, 5.1.2); with a converter f is what is heard, and
            its own u is added.
        """
        return Reading(
            value_hz=indicated_hz * self.factor + self.offset_hz,
            u_hz=hypot(u_hz * self.factor, self.u_at(indicated_hz)),
        )

    def indicate(self, true_hz: float) -> float:
        """Where a line of known true frequency appears on the uncorrected scale, Hz."""
        return (true_hz - self.offset_hz) / self.factor

    def u_at(self, indicated_hz: float) -> float:
        """The part of a reading's standard uncertainty that is not the indication's own, Hz."""
        if self.converter is None:
            return abs(indicated_hz) * self.u_ppm * 1e-6
        heard_hz = self.converter.behind(indicated_hz)
        return hypot(heard_hz * self.u_ppm * 1e-6, self.converter.u_hz)

    @property
    def _turn(self) -> float:
        # (f + s)(1 + p) - s = f (1 + p) + s p, and s - (s - f)(1 + p) = f (1 + p) - s p.
        return -1e-6 if self.converter is not None and self.converter.inverted else 1e-6
