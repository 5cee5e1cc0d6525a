"""Recognize: which multiplex is on the air, in which mode, or why that cannot be said."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from sniff.model import Take
from sniff.multiplex.prefix import PrefixCorrelator, prefix_course
from sniff.multiplex.systems import Rhythm, System
from sniff.multiplex.track import CLEAR

_TRY_S = 0.1  # of each rhythm, to find the one that is sent
_FEWEST_SPACINGS = 16.0  # in view
_GUESSED = 4.0  # standard deviations: noise alone stays at half of that, too few to be measured


class Silence(str, Enum):
    """Why there is no estimate."""

    NARROW = "narrow"
    """Too little of the channel is in view."""
    SHORT = "short"
    """Too little was observed."""
    NOTHING = "nothing"
    """No symbols of these systems stand out."""
    WEAK = "weak"
    """Some do, but not out of chance."""


def view_of_channel(
    system: System, *, nominal_hz: float, center_hz: float, rate_hz: float, usable_fraction: float
) -> tuple[float, float]:
    """What of a channel lies in the usable span, Hz from the centre."""
    middle_hz = nominal_hz - center_hz
    # Room for a clock that is off, and for the empty carriers beside.
    half_hz = system.half_width_hz + 200e-6 * nominal_hz + 4.0 * system.spacing_hz
    edge_hz = 0.5 * usable_fraction * rate_hz
    return max(-edge_hz, middle_hz - half_hz), min(edge_hz, middle_hz + half_hz)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recognized:
    """What is sent, and what of the span, Hz from its centre, tells it."""

    system: System
    rhythm: Rhythm
    band_hz: tuple[float, float]


def recognize(
    take: Take, systems: Sequence[System], *, nominal_hz: float, usable_fraction: float
) -> Recognized | Silence:
    """The system and rhythm that stand out most; parameters as `estimate_multiplex`."""
    best: tuple[float, Recognized] | None = None
    in_view = False
    for system in systems:
        band_hz = view_of_channel(
            system,
            nominal_hz=nominal_hz,
            center_hz=take.center_hz,
            rate_hz=take.rate_hz,
            usable_fraction=usable_fraction,
        )
        if band_hz[1] - band_hz[0] < _FEWEST_SPACINGS * system.spacing_hz:
            continue
        in_view = True
        for rhythm in system.rhythms:
            correlator = PrefixCorrelator(rhythm, rate_hz=take.rate_hz, band_hz=band_hz)
            course = prefix_course(
                take.blocks(), correlator, until_s=max(_TRY_S, 3.0 * rhythm.period_s)
            )
            if course.standing.size:
                standing = float(np.median(course.standing))
                if best is None or standing > best[0]:
                    best = standing, Recognized(system=system, rhythm=rhythm, band_hz=band_hz)
    if best is None:
        return Silence.SHORT if in_view else Silence.NARROW
    if best[0] < _GUESSED:
        return Silence.NOTHING
    return best[1] if best[0] >= CLEAR else Silence.WEAK
