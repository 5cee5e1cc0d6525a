"""By what rules two sets are compared."""

from dataclasses import dataclass

from sniff.strength import PLACEMENT_DB

AGREE_PPM = 10.0
"""Two healthy sets of one make, after their clocks, differ by less (common practice, no source)."""

CLOCK_MOVES_PPM = 2.0
"""How far one warm dongle's clock may move between the two sets (common practice, no source)."""

FALSE_ALARM_RATE = 0.005
"""One comparison of two equal sets in 200 calls a line weak by the placing of the loop alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareSettings:
    """By what rules two sets are compared.

    Attributes
    ----------
    agree_ppm : float
        Lines that differ by no more agree in frequency.
    placement_db : float
        Spread (k = 2) of a difference of levels from placing the loop once at each set, where it
        was not measured.
    false_alarm_rate : float
        Chance that the levels of two equal sets make any line "weak".
    one_clock : bool
        Whether one clock measured both.
    """

    agree_ppm: float = AGREE_PPM
    placement_db: float = PLACEMENT_DB
    false_alarm_rate: float = FALSE_ALARM_RATE
    one_clock: bool = False
