"""What a strong line leaves in a place where there is none."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot

from sniff.model import Mark
from sniff.sweep.swept import Stay, SweptLine

_SAME_HZ = 5.0  # a line that warms up between two looks moves so much
_WEAKER_DB = 6.0  # the demodulator's filter alone takes that off what folds in beyond the edge


@dataclass(frozen=True, slots=True, kw_only=True)
class Folding:
    """Where the receiver shows a line once more, at each of its tunings.

    With the centre c and the rate r a line at f folds to ``f ± r``; a mirror of I and Q shows it
    at ``2 c − f``, and a low-IF tuner, with its LO an IF above c, at ``2 (c + IF) − f``.

    Attributes
    ----------
    centers_hz : tuple of float
        Of the hops, indicated, Hz.
    rate_hz : float
    half_hz : float
        What of each hop counts on either side of its centre, Hz.
    image_offset_hz : float or None
        As in `SourceInfo`.
    reach_hz : float
        How near two places must be to be the same, Hz.
    """

    centers_hz: tuple[float, ...]
    rate_hz: float
    half_hz: float
    image_offset_hz: float | None
    reach_hz: float

    def shows(self, line_hz: float, at_hz: float) -> bool:
        """Whether a line at one place may be shown at another."""
        if abs(abs(line_hz - at_hz) - self.rate_hz) <= self.reach_hz:
            return True
        offsets_hz = [0.0] if self.image_offset_hz is None else [0.0, self.image_offset_hz]
        return any(
            abs(2.0 * center_hz + offset_hz - line_hz - at_hz) <= 2.0 * self.reach_hz
            for center_hz in self.centers_hz
            if abs(at_hz - center_hz) <= self.half_hz
            for offset_hz in offsets_hz
        )


def marked_images(lines: Sequence[SweptLine], folding: Folding) -> tuple[SweptLine, ...]:
    """The lines, with those marked that a stronger one explains so.

    A line that was gone when looked at again is one by its place. What folds in is not gone: it
    stands at ``f ± r`` at every tuning that reaches so far, but in no other place, to the hertz.
    """
    return tuple(
        replace(line, marks=(*line.marks, Mark.IMAGE))
        if Mark.IMAGE not in line.marks
        and any(
            other.stay is Stay.REFINED
            and other.level_dbfs - line.level_dbfs >= _WEAKER_DB
            and _made_by(other, line, folding)
            for other in lines
        )
        else line
        for line in lines
    )


def _made_by(other: SweptLine, line: SweptLine, folding: Folding) -> bool:
    if line.stay is Stay.GONE:
        return folding.shows(other.indicated_hz, line.indicated_hz)
    apart_hz = abs(other.indicated_hz - line.indicated_hz)
    doubt_hz = 3.0 * hypot(other.u_indicated_hz, line.u_indicated_hz)
    return line.stay is Stay.REFINED and abs(apart_hz - folding.rate_hz) <= max(doubt_hz, _SAME_HZ)
