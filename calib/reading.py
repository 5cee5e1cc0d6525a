"""Reading: a frequency that may be reported, with its standard uncertainty."""

from dataclasses import dataclass
from math import isfinite


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A corrected frequency.

    It exists only after a `Correction` was applied, so an uncorrected number in a report is a
    type error.

    Attributes
    ----------
    value_hz : float
        Best estimate of the true frequency, Hz.
    u_hz : float
        Combined standard uncertainty (k = 1), Hz.
    """

    value_hz: float
    u_hz: float

    def __post_init__(self) -> None:
        if not isfinite(self.value_hz) or not isfinite(self.u_hz) or self.u_hz < 0:
            raise ValueError(f"a reading needs finite numbers and u >= 0, not {self!r}")

    def expanded_hz(self, k: float = 2.0) -> float:
        """Expanded uncertainty U = k u, Hz (JCGM 100:2008, 6.2.1)."""
        return k * self.u_hz
