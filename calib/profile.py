"""Profile: a correction tied to a dongle and a date, and what time and warmth do to it."""

from dataclasses import dataclass, replace
from datetime import datetime
from math import hypot, sqrt

from calib.correction import Correction, Part

FORMAT = 1

AGING_PPM_PER_YEAR = 1.0
"""Half-width by which a cheap crystal ages in a year (common practice, no source)."""

WARMTH_PPM = 2.0
"""Half-width for a dongle used at another temperature or before it is warm, unless both
temperatures are stated (from published experiments with a finger on the crystal: +2.5 ppm)."""

PPM_PER_DEGREE = 0.3
"""Half-width per degree when they are (steepest part of an AT cut at 4 to 8 arc minutes between
25 and 60 °C, after R. Bechmann, Proc. IRE 44, 1956; from memory)."""

DRIFT_HOURS = 8.0
"""A drift seen at a calibration is taken to go on for a day's work; later the dongle was off in
between, and what that does is in `WARMTH_PPM` (common practice, no source)."""

OLD_DAYS = 30.0
"""An older profile is a caution."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """What is known of one clock.

    Attributes
    ----------
    name : str
        The dongle's serial number, or what the user calls it.
    ppm, u_ppm : float
        As in `Correction`, when it was made.
    made : datetime
        Aware UTC.
    references : tuple of str
        By what.
    temperature_c : float or None
        Of the dongle then, °C.
    drift_ppm_per_hour : float or None
        Half-width of what it still drifted then, ppm per hour; None when it was not followed.
    dongle : str or None
        Serial number of the dongle it was made with; None where the source named none. Another
        name does not change it.
    """

    name: str
    ppm: float
    u_ppm: float
    made: datetime
    references: tuple[str, ...]
    temperature_c: float | None = None
    drift_ppm_per_hour: float | None = None
    dongle: str | None = None

    def age_days(self, now: datetime) -> float:
        """How old it is, days; a date in the future counts as today."""
        return max(0.0, (now - self.made).total_seconds() / 86_400.0)

    def correction(self, now: datetime, temperature_c: float | None = None) -> Correction:
        """The correction as it holds now.

        Drift, age and warmth are added in quadrature, each rectangular: ``a / sqrt(3)`` (JCGM
        100:2008, 4.3.7).
        """
        age = AGING_PPM_PER_YEAR * self.age_days(now) / 365.25
        warmth = WARMTH_PPM
        if temperature_c is not None and self.temperature_c is not None:
            warmth = PPM_PER_DEGREE * abs(temperature_c - self.temperature_c)
        words = f"calibrated {self.made:%Y-%m-%d} by {', '.join(self.references)}"
        hours = min(24.0 * self.age_days(now), DRIFT_HOURS)
        drift = abs(self.drift_ppm_per_hour or 0.0) * hours
        causes = (("drift since", drift), ("age", age), ("warmth", warmth))
        limits = [(why, a) for why, a in causes if a > 0]
        parts = [Part(cause=words, u_ppm=self.u_ppm, distribution="normal")]
        parts += [
            Part(cause=f"{why}, ±{a:.2g} ppm", u_ppm=a / sqrt(3.0), distribution="rectangular")
            for why, a in limits
        ]
        told = [f"±{a:.2g} ppm for {why}" for why, a in limits if a > 0.01]
        return Correction(
            ppm=self.ppm,
            u_ppm=hypot(*(part.u_ppm for part in parts)),
            origin="; ".join([words, *told]),
            parts=tuple(parts),
        )

    def renamed(self, name: str) -> "Profile":
        """The same under another name."""
        return replace(self, name=name)
