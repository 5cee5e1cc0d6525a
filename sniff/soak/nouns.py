"""What a soak keeps: what it is of, when it observed, minutes, and drop-outs."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from sniff.watch.nouns import Kind

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What is soaked; a soak goes on only with the same.

    Attributes
    ----------
    line_hz : float
        The line's stated, true frequency, Hz.
    resolution_s : float
        Time resolution, s.
    """

    line_hz: float
    resolution_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run of the program within a soak.

    Attributes
    ----------
    zero_utc_s : float
        Time of the source's sample 0, s since 1970 UTC.
    indicated_hz : float
        Where the stated line was indicated by this run's clock correction, Hz.
    inverted : bool
        Whether a converter turned the spectrum round: the line rises when its indication falls.
    about : dict
        Source, serial number, rate, gain, clock: kept as it is for the reader.
    """

    zero_utc_s: float
    indicated_hz: float
    inverted: bool
    about: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """A stretch of time that was observed.

    Attributes
    ----------
    start_utc_s, end_utc_s : float
        s since 1970 UTC.
    lost_s : float
        What was lost within it in breaks of less than a second each, s.
    """

    start_utc_s: float
    end_utc_s: float
    lost_s: float

    @property
    def observed_s(self) -> float:
        """How much of it was observed, s."""
        return self.end_utc_s - self.start_utc_s - self.lost_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Minute:
    """A summary of what one run saw of one minute.

    Attributes
    ----------
    start_utc_s : float
        When the run first saw of it, s since 1970 UTC.
    observed_s, present_s : float
        How much of it was observed, and how much of that the line was there, s.
    dropouts : int
        How many began in it.
    median_dbfs, lowest_dbfs, highest_dbfs : float or None
        Level of the line.
    offset_hz : float or None
        How far above the stated frequency it stood, Hz.
    """

    start_utc_s: float
    observed_s: float
    present_s: float
    dropouts: int
    median_dbfs: float | None
    lowest_dbfs: float | None
    highest_dbfs: float | None
    offset_hz: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptDropout:
    """A drop-out as it is kept.

    Attributes
    ----------
    start_utc_s : float
        s since 1970 UTC.
    duration_s : float or None
        None when the soak broke off before it ended.
    depth_db, before_dbfs : float or None
    pull_hz : float
    kind : Kind or None
        None when its going, or its kind, was not observed to the end.
    recording : str or None
        Name of the recording that holds its IQ.
    """

    start_utc_s: float
    duration_s: float | None
    depth_db: float | None
    pull_hz: float
    kind: Kind | None
    before_dbfs: float | None
    recording: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """All that a soak has kept, as far as a report needs it.

    Attributes
    ----------
    setup : Setup
    runs : tuple of Run
    observed : tuple of Observed
    minutes : tuple of Minute
        In order of time.
    dropouts : tuple of KeptDropout
        In order of time; beyond a number they are counted in the minutes only.
    uncounted : int
        How many began that no minute counts yet.
    recording_bytes : int
        Size of the recordings.
    """

    setup: Setup
    runs: tuple[Run, ...]
    observed: tuple[Observed, ...]
    minutes: tuple[Minute, ...]
    dropouts: tuple[KeptDropout, ...]
    uncounted: int
    recording_bytes: int
