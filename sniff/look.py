"""What is on the air or on the loop: the peaks of one spectrum as readings."""

from dataclasses import dataclass

from calib.correction import Correction
from sniff.model import Caution, Course, Doubles, Mark, Peak, Spectrum
from sniff.prove import Proof


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenLine:
    """A peak after the clock correction.

    Attributes
    ----------
    frequency_hz, u_hz : float
        Best estimate of the true frequency and its standard uncertainty (k = 1), the clock's
        included, Hz.
    indicated_hz, u_indicated_hz : float
        The same on the uncorrected scale, without the clock's part, Hz.
    level_dbfs, snr_db, width_hz, steady, marks
        As in `Peak`.
    proof : Proof or None
        What moving the tuning and stepping the gain told; None when that was not tried.
    level_dbm, u_level_db : float or None
        Level at the dongle's input and its standard uncertainty (k = 1); None without a level
        calibration that holds here.
    """

    frequency_hz: float
    u_hz: float
    indicated_hz: float
    u_indicated_hz: float
    level_dbfs: float
    snr_db: float
    width_hz: float
    steady: bool = True
    marks: tuple[Mark, ...] = ()
    proof: Proof | None = None
    level_dbm: float | None = None
    u_level_db: float | None = None

    @property
    def expanded_hz(self) -> float:
        """Expanded uncertainty (k = 2), Hz."""
        return 2.0 * self.u_hz


@dataclass(frozen=True, slots=True, kw_only=True)
class LookResult:
    """The answer of one look, field by field what `--json` prints.

    Attributes
    ----------
    center_hz : float
        Indicated centre, Hz.
    rate_hz, seconds, rbw_hz, averages, window
        Of the spectrum.
    noise_dbfs_per_hz : float
        Median noise density over the usable span, dBFS/Hz.
    false_alarm_rate : float
        Chance that one look at pure noise shows any line at all.
    peaks : tuple of SeenLine
        Strongest first.
    """

    center_hz: float
    rate_hz: float
    seconds: float
    rbw_hz: float
    averages: int
    window: str
    noise_dbfs_per_hz: float
    false_alarm_rate: float
    peaks: tuple[SeenLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """A look with all that its picture needs.

    Attributes
    ----------
    noise : ndarray of float64, shape of `spectrum.psd`
        Noise floor, FS²/Hz.
    threshold : ndarray of float64, same shape
        Density above which a bin counts as a line, FS²/Hz.
    """

    result: LookResult
    spectrum: Spectrum
    noise: Doubles
    threshold: Doubles
    course: Course | None
    cautions: tuple[Caution, ...]


def see(peak: Peak, correction: Correction) -> SeenLine:
    """Correct one peak: once, last."""
    reading = correction.apply(peak.indicated_hz, peak.u_indicated_hz)
    return SeenLine(
        frequency_hz=reading.value_hz,
        u_hz=reading.u_hz,
        indicated_hz=peak.indicated_hz,
        u_indicated_hz=peak.u_indicated_hz,
        level_dbfs=peak.level_dbfs,
        snr_db=peak.snr_db,
        width_hz=peak.width_hz,
        steady=peak.steady,
        marks=peak.marks,
    )
