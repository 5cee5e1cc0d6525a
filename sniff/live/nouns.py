"""What the live page shows: a frame with the spectrum and the rows of the board."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.board import LineState
from sniff.superhet.expected import Expected

Cells = npt.NDArray[np.uint8]

STRIP_S = 60
"""Length of a row's strip, s; one cell a second."""

UNOBSERVED = -1
"""A cell of a strip about which nothing is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveLine:
    """A line that the page watches.

    Attributes
    ----------
    expected : Expected
        From the plan, or as the user stated it.
    window_hz : float
        It is looked for within ± this, Hz.
    sibling_dbfs : float or None
        Level of the same line of the sibling at the gain in use, dBFS.
    """

    expected: Expected
    window_hz: float
    sibling_dbfs: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveRow:
    """A line as it is now; what is not known is None, with the reason in `why`.

    Attributes
    ----------
    number : int
        Its place on the board, from 0.
    name, formula : str
    wanted : bool
    expected_hz, tolerance_hz : float
    state : LineState
    why : str
    frequency_hz, expanded_hz : float or None
        Corrected frequency of the last seconds and U (k = 2), Hz.
    error_hz, error_ppm : float or None
        Against the plan.
    level_dbfs : float or None
        Now.
    against_db : float or None
        Level against `against`, dB.
    against : str
        ``sibling`` or ``best seen``.
    dropouts : int
        How many began so far.
    gone_s : float or None
        Since when it is away, s; None while it is there.
    last_s : float or None
        When the last drop-out began, s since the source was opened.
    strip : tuple of int
        The last minute, the oldest second first: percent of it in which the line was there, or
        `UNOBSERVED`.
    """

    number: int
    name: str
    formula: str
    wanted: bool
    expected_hz: float
    tolerance_hz: float
    state: LineState
    why: str
    frequency_hz: float | None = None
    expanded_hz: float | None = None
    error_hz: float | None = None
    error_ppm: float | None = None
    level_dbfs: float | None = None
    against_db: float | None = None
    against: str = "best seen"
    dropouts: int = 0
    gone_s: float | None = None
    last_s: float | None = None
    strip: tuple[int, ...] = (UNOBSERVED,) * STRIP_S


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """What the page shows at one moment.

    Attributes
    ----------
    number : int
    time_s : float
        Of its end, s since the source was opened.
    first_hz, step_hz : float
        Corrected frequency of the first point, and from point to point, Hz.
    levels : ndarray of uint8, shape (n,)
        Half decibels over -140 dBFS: level that a steady tone would have in each point.
    hold : ndarray of uint8, shape (n,), or None
        The largest since it was switched on.
    rows : tuple of LiveRow
    """

    number: int
    time_s: float
    first_hz: float
    step_hz: float
    levels: Cells
    hold: Cells | None
    rows: tuple[LiveRow, ...]
