"""What watching a line yields: drop-outs, what is now, rows of a summary, and the whole."""

from dataclasses import dataclass
from enum import Enum

import numpy as np
import numpy.typing as npt

from calib.stability import Deviation
from sniff.sureness import RatePerHour

Floats = npt.NDArray[np.float32]


class Kind(str, Enum):
    """How a line went; the rule and its physics stand in `sniff.watch.kind`."""

    BREAK = "break"
    PULL = "pull"
    FADE = "fade"


class WatchVerdict(str, Enum):
    """Whether a line stays."""

    STEADY = "steady"
    INTERMITTENT = "intermittent"
    ABSENT = "absent"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchSettings:
    """How to watch.

    Attributes
    ----------
    resolution_s : float
        Time resolution, s: drop-outs of twice this are found, and their ends known to this.
    within_hz : float
        How far from the stated frequency the line may be when it is looked for, Hz.
    reach_hz : float
        How far from where it was last the line may be pulled and is still looked for, Hz.
    modulation_hz : float or None
        Half-width that the line's own modulation takes, Hz; None to find out.
    row_s : float
        Length of a row of the summary, s.
    around_s : float
        How much is kept before and after a drop-out, s.
    """

    resolution_s: float = 1e-3
    within_hz: float = 1e3
    reach_hz: float = 25e3
    modulation_hz: float | None = None
    row_s: float = 60.0
    around_s: float = 0.05

    def __post_init__(self) -> None:
        if not 1e-4 <= self.resolution_s <= 1.0:
            raise ValueError(f"{self.resolution_s=} must lie within 0.1 ms and 1 s")
        if not (self.within_hz > 0 and self.reach_hz > 0 and (self.modulation_hz or 0.0) >= 0):
            raise ValueError(f"{self.within_hz=}, {self.reach_hz=}, {self.modulation_hz=}")
        if not (self.row_s > 0 and self.around_s > 0):
            raise ValueError(f"{self.row_s=} and {self.around_s=} must be above zero")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Passage:
    """The line's course about the moment it went, or came back.

    Attributes
    ----------
    start_s, step_s : float
        Time of the first value since the source was opened, and from value to value, s.
    level_dbfs : ndarray of float32, shape (n,)
        NaN where unobserved; never below the noise.
    offset_hz : ndarray of float32, shape (n,)
        Frequency from the one before the drop-out, Hz; NaN where the line was too weak to tell.
    """

    start_s: float
    step_s: float
    level_dbfs: Floats
    offset_hz: Floats

    def __post_init__(self) -> None:
        self.level_dbfs.flags.writeable = False
        self.offset_hz.flags.writeable = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dropout:
    """A stretch of time in which the line was not there.

    Attributes
    ----------
    start_s : float
        When it went, s since the source was opened.
    duration_s : float
        Until it was there again for good, or till the end of the observation, s.
    depth_db : float
        How far its level fell below its own, dB, positive; what the noise hides is not counted.
    pull_hz : float
        How far its frequency had moved as the level fell, Hz; 0 when no farther than by itself.
    kind : Kind or None
        None when its going was not observed.
    before_dbfs : float
        Its own level before, dBFS.
    before_hz : float or None
        Indicated frequency before, Hz; None when that was not observed.
    ended : bool
        False when the observation ended first.
    fall, rise : Passage or None
        The courses from 50 ms before to 50 ms after its beginning and its end; None where that was
        not observed.
    """

    start_s: float
    duration_s: float
    depth_db: float
    pull_hz: float
    kind: Kind | None
    before_dbfs: float
    before_hz: float | None
    ended: bool
    fall: Passage | None
    rise: Passage | None

    @property
    def end_s(self) -> float:
        """When it was there again, s since the source was opened."""
        return self.start_s + self.duration_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Instant:
    """What is now.

    Attributes
    ----------
    time_s : float
        Time of this, s since the source was opened.
    level_dbfs : float or None
        Level now; None before anything was observed.
    indicated_hz : float or None
        Indicated frequency now, Hz; None while the line is not there.
    there : bool or None
        Whether the line is there; None while it was not found yet.
    dropouts : int
        How many began so far.
    observed_s, unobserved_s : float
        So far, s.
    """

    time_s: float
    level_dbfs: float | None
    indicated_hz: float | None
    there: bool | None
    dropouts: int
    observed_s: float
    unobserved_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A row of the summary: `WatchSettings.row_s` of time, the last one less.

    Attributes
    ----------
    start_s : float
        Its beginning, s since the source was opened: a whole multiple of the row's length.
    observed_s, present_s : float
        How much of it was observed, and how much of that the line was there, s.
    median_dbfs, lowest_dbfs, highest_dbfs : float or None
        Level: median while it was there, lowest and highest of all; None where there was none.
    indicated_hz : float or None
        Mean frequency while it was there, Hz.
    dropouts : int
        How many began in it.
    """

    start_s: float
    observed_s: float
    present_s: float
    median_dbfs: float | None
    lowest_dbfs: float | None
    highest_dbfs: float | None
    indicated_hz: float | None
    dropouts: int

    @property
    def present_fraction(self) -> float | None:
        """Part of the observed time in which the line was there."""
        return self.present_s / self.observed_s if self.observed_s > 0 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A moment that the user marked, such as a tap.

    Attributes
    ----------
    at_s : float
        When, s since the source was opened.
    label : str
        Where, or by what, in the user's words; may be empty.
    """

    at_s: float
    label: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WatchResult:
    """The answer of a watch, field by field what ``--json`` prints.

    Attributes
    ----------
    verdict : WatchVerdict
    why : str
        The sentence that goes with it.
    observed_s, unobserved_s : float
    present_fraction : float or None
        Part of the observed time in which the line was there; None when it was never found.
    level_dbfs : float or None
        Its median level while it was there.
    level_spread_db : float or None
        Half the distance of the 16 % and 84 % quantiles of that level, dB.
    level_slope_db_per_hour : float or None
        None when it was not there long enough for one.
    level_frequency_correlation : float or None
        Correlation of level (dB) with frequency, a trend of either counted; None when too short.
    would_see_dbfs : float or None
        Level at which a line that was not found would have been seen.
    indicated_hz, u_indicated_hz : float or None
        Mean frequency while it was there, before the clock correction, Hz.
    frequency_hz, u_hz : float or None
        After it (k = 1), Hz.
    resolution_s : float
    dropouts : tuple of Dropout
        The first `DROPOUTS_KEPT`; `dropout_count` counts all. Courses of the first
        `PASSAGES_KEPT` only.
    dropout_count : int
    rate_per_hour : RatePerHour or None
    drift_hz_per_hour : float or None
        None when it was not there long enough for one.
    stability : tuple of Deviation
        Allan deviation, Hz.
    marks : tuple of Mark
    """

    verdict: WatchVerdict
    why: str
    observed_s: float
    unobserved_s: float
    present_fraction: float | None
    level_dbfs: float | None
    level_spread_db: float | None
    level_slope_db_per_hour: float | None
    level_frequency_correlation: float | None
    would_see_dbfs: float | None
    indicated_hz: float | None
    u_indicated_hz: float | None
    frequency_hz: float | None
    u_hz: float | None
    resolution_s: float
    dropouts: tuple[Dropout, ...]
    dropout_count: int
    rate_per_hour: RatePerHour | None
    drift_hz_per_hour: float | None
    stability: tuple[Deviation, ...]
    marks: tuple[Mark, ...] = ()


DROPOUTS_KEPT = 2000
"""Drop-outs that a result lists, so that memory is bounded whatever happens."""

PASSAGES_KEPT = 100
"""Of these, how many keep the courses of their fall and rise."""
