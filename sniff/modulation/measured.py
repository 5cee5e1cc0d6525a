"""How a carrier is to be measured, and what comes of it on the uncorrected scale."""

from dataclasses import dataclass

from sniff.model import Doubles, Spectrum
from sniff.modulation.bandwidth import Adjacent, Span
from sniff.modulation.baseband import Baseband
from sniff.modulation.classify import Decided, Kind
from sniff.modulation.drift import FrequencyCourse, Settling
from sniff.modulation.figures import Figures
from sniff.modulation.on_times import OnTimes
from sniff.modulation.tones import AudioBand

UNMODULATED = "unmodulated carrier"
HIGHEST = "highest density"
"""What an x-dB bandwidth is counted from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierSettings:
    """How a carrier is to be measured.

    Attributes
    ----------
    kind : Kind or None
        What it carries; None to decide from the signal.
    width_hz : float or None
        Of the channel; None by what stands out of the noise.
    audio_band_hz : tuple of float or None
        In which audio is judged; None for 300 to 3,000 Hz where a set is narrow, and 50 Hz to
        15 kHz where it is wide (common practice, no source).
    deemphasis_s : float
        Time constant; 0 for none.
    x_db : float
        For the x-dB bandwidth.
    neighbours_hz : tuple of (float, float)
        Offset and width of adjacent channels.
    """

    kind: Kind | None = None
    width_hz: float | None = None
    audio_band_hz: tuple[float, float] | None = None
    deemphasis_s: float = 0.0
    x_db: float = 26.0
    neighbours_hz: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredCarrier:
    """A carrier on the uncorrected scale.

    Attributes
    ----------
    indicated_hz, u_indicated_hz : float
        Its frequency and standard uncertainty (k = 1), Hz.
    estimator, because : str
        How that was found, and why so.
    decided : Decided
    power : float
        While on, FS².
    snr_db : float
        Over the noise in the channel, dB.
    on : OnTimes
    channel : Span
        What was demodulated, Hz.
    drift_hz_per_s : float or None
    settling : Settling or None
    course : FrequencyCourse or None
        From `channel_zero_hz`.
    channel_zero_hz : float
        Indicated, Hz.
    band : AudioBand
    baseband : Baseband or None
        What it carries; None when it is too weak, too short or too wide to be demodulated.
    figures : Figures or None
    spectrum : Spectrum or None
        Of the channel and its neighbours.
    noise : ndarray of float64 or None
        Receiver noise in that, FS²/Hz.
    occupied, x_db : Span or None
    x_db_reference : str
        What the x dB are counted from: ``unmodulated carrier``, where the spectrum is of lines, or
        ``highest density``.
    carson_hz : float or None
    neighbours : tuple of Adjacent
    complete : bool
        False when the take was longer than what could be kept for demodulation.
    kept_s : float
        How much was kept, s.
    """

    indicated_hz: float
    u_indicated_hz: float
    estimator: str
    because: str
    decided: Decided
    power: float
    snr_db: float
    on: OnTimes
    channel: Span
    drift_hz_per_s: float | None
    settling: Settling | None
    course: FrequencyCourse | None
    channel_zero_hz: float
    band: AudioBand
    baseband: Baseband | None
    figures: Figures | None
    spectrum: Spectrum | None
    noise: Doubles | None
    occupied: Span | None
    x_db: Span | None
    x_db_reference: str
    carson_hz: float | None
    neighbours: tuple[Adjacent, ...]
    complete: bool
    kept_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Unmeasured:
    """Why a carrier that was seen could not be measured."""

    why: str
