"""The nouns of a sweep's answer."""

from dataclasses import dataclass
from enum import Enum

import numpy as np

from calib.correction import Correction
from sniff.look import Look, LookResult, SeenLine
from sniff.model import NOT_SIGNALS, Caution, Doubles
from sniff.naming import Explanation
from sniff.sweep.hops import Span
from sniff.sweep.stitch import Stitched
from sniff.units import to_db


class Stay(str, Enum):
    """What became of a line when it was stayed at, off the centre."""

    REFINED = "refined"
    """Found again; its frequency is the stay's."""
    GONE = "gone"
    """Not found again: it comes and goes, or the receiver made it at one tuning."""
    TOO_WEAK = "too-weak"
    """Not found again, but so weak that a stay need not show it; good to the RBW."""
    NONE = "none"
    """There was no stay; its frequency is the sweep's own, good to the RBW."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SweptLine(SeenLine):
    """A line of a sweep.

    Attributes
    ----------
    stay : Stay
    hops : int
        How many hops show its place.
    once : bool
        True when only one of them shows the line itself.
    momentary : bool
        True when it stood out of the highest level only.
    beside : int
        How many more lines the stay showed that the sweep cannot part from this one.
    explanations : tuple of Explanation
        What it may be, the most plausible first.
    """

    stay: Stay
    hops: int
    once: bool = False
    momentary: bool = False
    beside: int = 0
    explanations: tuple[Explanation, ...] = ()

    @property
    def is_signal(self) -> bool:
        """False for what was gone when looked at again, and for what the receiver itself made."""
        return self.stay is not Stay.GONE and not NOT_SIGNALS.intersection(self.marks)

    @property
    def explained(self) -> bool:
        """True when something it may be is more than a coincidence."""
        return any(explanation.likely for explanation in self.explanations)


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepResult:
    """The answer of one sweep, field by field what ``--json`` prints.

    Attributes
    ----------
    start_hz, stop_hz : float
        What was swept, true frequencies, Hz.
    rbw_hz, window
        Of the spectrum.
    bin_hz, points : float, int
        Its grid: point k lies at exactly ``k bin_hz`` on the indicated scale.
    hops, passes : int
        Tunings, and how often each was gone to.
    seconds, stay_seconds : float
        Time listened at the hops, and at the lines, s.
    noise_dbfs_per_hz : float or None
        Median noise density, dBFS/Hz; None where no floor could be told.
    false_alarm_rate : float
        Chance that a sweep over pure noise shows any line at all.
    equalised : bool
        Whether the pass-band's shape could be learned, and was taken out.
    unobserved, interpolated : tuple of Span
        What no hop showed; and where only a hop's spike was, so that a line would not be seen.
    mixing_order : int or None
        Order up to which mixing products were tried; None without a plan.
    peaks : tuple of SweptLine
        Unexplained first, each group strongest first.
    """

    start_hz: float
    stop_hz: float
    rbw_hz: float
    window: str
    bin_hz: float
    points: int
    hops: int
    passes: int
    seconds: float
    stay_seconds: float
    noise_dbfs_per_hz: float | None
    false_alarm_rate: float
    equalised: bool
    unobserved: tuple[Span, ...]
    interpolated: tuple[Span, ...]
    peaks: tuple[SweptLine, ...]
    mixing_order: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sweep:
    """A sweep with all that its picture, its table and a comparison need.

    Attributes
    ----------
    stitched : Stitched
    noise, threshold : ndarray of float64, shape of ``stitched.psd``
        Floor and detection threshold, FS²/Hz; NaN where none is known.
    """

    result: SweepResult
    stitched: Stitched
    noise: Doubles
    threshold: Doubles
    cautions: tuple[Caution, ...]

    @property
    def look(self) -> Look:
        """The same as one wide look, NaN where nothing was observed."""
        spectrum, result = self.stitched.spectrum, self.result
        noise = result.noise_dbfs_per_hz
        return Look(
            result=LookResult(
                center_hz=spectrum.center_hz,
                rate_hz=spectrum.rate_hz,
                seconds=result.seconds,
                rbw_hz=result.rbw_hz,
                averages=self.stitched.averages,
                window=result.window,
                noise_dbfs_per_hz=to_db(0.0) if noise is None else noise,
                false_alarm_rate=result.false_alarm_rate,
                peaks=result.peaks,
            ),
            spectrum=spectrum,
            noise=self.noise,
            threshold=self.threshold,
            course=None,
            cautions=self.cautions,
        )


def corrected(span: Span, correction: Correction) -> Span:
    """A span from the indicated scale to the true one."""
    low_hz, high_hz = (correction.apply(hz, 0.0).value_hz for hz in (span.low_hz, span.high_hz))
    return Span(low_hz=low_hz, high_hz=high_hz)


def median_noise_dbfs(noise: Doubles) -> float | None:
    """Median density in dBFS/Hz; None where there is no floor at all."""
    known = noise[np.isfinite(noise)]
    return to_db(float(np.median(known))) if known.size else None
