"""The line board: expected lines, each with the state it was found in."""

from dataclasses import dataclass
from enum import Enum

from sniff.look import Look
from sniff.model import Caution
from sniff.verdict import Outcome


class LineState(str, Enum):
    """What may be said of one expected line."""

    PRESENT = "present"
    WEAK = "weak"
    OFF_FREQUENCY = "off-frequency"
    UNSTEADY = "unsteady"
    ABSENT = "absent"
    HIDDEN = "hidden"
    OUT_OF_VIEW = "out-of-view"


class BoardVerdict(str, Enum):
    """What may be said of all wanted lines together."""

    AS_EXPECTED = "as-expected"
    FAULT = "fault"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardLine:
    """One row of the line board; a number that is not known is None, with the reason in `why`.

    Attributes
    ----------
    name, role, formula : str
        From the plan.
    wanted : bool
        True when its absence is a fault.
    expected_hz, tolerance_hz : float
        Where it should be, and how far off it may be, Hz.
    window_hz : float
        It was searched within ± this of `expected_hz`, Hz.
    state : LineState
    frequency_hz, u_hz : float or None
        Reading and standard uncertainty (k = 1), Hz.
    u_indicated_hz : float or None
        That uncertainty without the clock's part, which two readings by one clock share, Hz.
    error_hz, error_ppm : float or None
        Reading minus expected.
    frequency_verdict : Outcome or None
        The error against the tolerance, by the decision rule.
    level_dbfs, snr_db : float or None
        Level while it was there, and over the noise in one RBW; of several placings of the loop
        the mean in dB.
    level_sd_db : float or None
        Standard deviation of its level from placing to placing; None with fewer than two.
    placings, seen_in : int
        How often the loop was placed, and in how many of these the line was seen.
    present_fraction : float or None
        Part of the observed time in which it was there.
    followed_step_s : float or None
        With this resolution it was followed: an absence of twice that cannot have been missed, s.
    longest_absence_s : float or None
        Its longest absence, s; None when none was seen.
    would_see_dbfs : float or None
        Level at which a steady line would have been seen with 95 % probability.
    versus_sibling_db : float or None
        Level minus the sibling's level of the same line.
    stated_dbfs, versus_stated_db : float or None
        Level that the plan states of a good set at this place, and level minus that.
    level_dbm, would_see_dbm, u_level_db : float or None
        The two levels at the dongle's input, and their standard uncertainty (k = 1); None without
        a level calibration that holds here.
    why : str
        The reason for the state in one sentence.
    """

    name: str
    role: str
    formula: str
    wanted: bool
    expected_hz: float
    tolerance_hz: float
    window_hz: float
    state: LineState
    frequency_hz: float | None = None
    u_hz: float | None = None
    u_indicated_hz: float | None = None
    error_hz: float | None = None
    error_ppm: float | None = None
    frequency_verdict: Outcome | None = None
    level_dbfs: float | None = None
    snr_db: float | None = None
    present_fraction: float | None = None
    followed_step_s: float | None = None
    longest_absence_s: float | None = None
    would_see_dbfs: float | None = None
    versus_sibling_db: float | None = None
    stated_dbfs: float | None = None
    versus_stated_db: float | None = None
    level_dbm: float | None = None
    would_see_dbm: float | None = None
    u_level_db: float | None = None
    level_sd_db: float | None = None
    placings: int = 1
    seen_in: int = 0
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardResult:
    """The answer of one probe, field by field what `--json` prints.

    Attributes
    ----------
    verdict : BoardVerdict
    why : str
    lines : tuple of BoardLine
    place : str or None
        Where on the board the loop was; None when that was not said.
    placings : int
        How often the loop was placed.
    sibling_placings : int or None
        How often at the sibling; None without one.
    placing_sd_db : float or None
        Standard deviation of the level from placing to placing, pooled over lines, dB; None when
        it was not measured.
    placing_degrees, placing_lines : int or None
        Degrees of freedom of that, and how many lines told it.
    """

    verdict: BoardVerdict
    why: str
    lines: tuple[BoardLine, ...]
    place: str | None = None
    placings: int = 1
    sibling_placings: int | None = None
    placing_sd_db: float | None = None
    placing_degrees: int | None = None
    placing_lines: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Board:
    """A probe with all that its pictures need: one look for each tuning."""

    result: BoardResult
    looks: tuple[Look, ...]
    cautions: tuple[Caution, ...]
