"""What is asked of a transmitter, and the answer, field by field what `--json` prints."""

from dataclasses import dataclass, field

from sniff.channels import Channel
from sniff.limits import Held
from sniff.model import Caution, Mark
from sniff.modulation.bandwidth import Adjacent
from sniff.modulation.measured import CarrierSettings, MeasuredCarrier
from sniff.units import Tolerance
from sniff.verdict import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierRequest:
    """What is asked.

    Attributes
    ----------
    channels : tuple of Channel
        Where the carrier may belong; one without a name for a stated nominal frequency; empty to
        measure the strongest carrier in view.
    tolerance : Tolerance or None
        Allowed error; None to measure without judging.
    search : Tolerance or None
        How far off a channel the carrier is searched; ten tolerances, or 200 ppm, otherwise.
    settings : CarrierSettings
    """

    channels: tuple[Channel, ...] = ()
    tolerance: Tolerance | None = None
    search: Tolerance | None = None
    settings: CarrierSettings = field(default_factory=CarrierSettings)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenCarrier:
    """A carrier that was seen, and not measured further.

    Attributes
    ----------
    frequency_hz, u_hz : float
        Clock-corrected, with standard uncertainty (k = 1), Hz.
    level_dbfs : float
    marks : tuple of Mark
    """

    frequency_hz: float
    u_hz: float
    level_dbfs: float
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ModulationResult:
    """What a carrier carries; a field that does not apply, or is not known, is None.

    Attributes
    ----------
    kind, why : str
        ``none``, ``fm`` (or phase), ``am`` or ``keyed``, and how that was decided.
    deviation_peak_hz : float or None
        The larger of the two below.
    deviation_positive_hz, deviation_negative_hz : float or None
        Above and below the carrier, both as sizes, Hz.
    deviation_by : str or None
        ``tone``: of a test tone, averaged over its periods, plus other tones; ``time``: exceeded a
        thousandth of the time.
    deviation_rms_hz : float or None
        The receiver's noise taken off, Hz.
    deviation_largest_hz, deviation_below_peak_share : float or None
        Largest over the capture, the receiver's noise included, Hz; share of the time at or below
        the peak.
    depth_percent, depth_positive_percent, depth_negative_percent : float or None
        Of amplitude modulation.
    audio_hz, u_audio_hz : float or None
        The test tone, Hz.
    sinad_db, thd_percent : float or None
        Of the test tone.
    harmonics : int or None
        How many harmonics entered the THD.
    residual_hz, residual_percent : float or None
        Effective deviation, or depth, in the audio band that is no test tone; the receiver's noise
        taken off.
    hum_hz, hum_deviation_hz, hum_depth_percent : float or None
        Strongest line at a multiple of the mains.
    audio_low_hz, audio_high_hz, deemphasis_s : float
        Where, and behind what, the audio was judged.
    measured_s : float
        How much was demodulated, s.
    """

    kind: str
    why: str
    deviation_peak_hz: float | None = None
    deviation_positive_hz: float | None = None
    deviation_negative_hz: float | None = None
    deviation_by: str | None = None
    deviation_rms_hz: float | None = None
    deviation_largest_hz: float | None = None
    deviation_below_peak_share: float | None = None
    depth_percent: float | None = None
    depth_positive_percent: float | None = None
    depth_negative_percent: float | None = None
    audio_hz: float | None = None
    u_audio_hz: float | None = None
    sinad_db: float | None = None
    thd_percent: float | None = None
    harmonics: int | None = None
    residual_hz: float | None = None
    residual_percent: float | None = None
    hum_hz: float | None = None
    hum_deviation_hz: float | None = None
    hum_depth_percent: float | None = None
    audio_low_hz: float
    audio_high_hz: float
    deemphasis_s: float
    measured_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneResult:
    """A pilot or squelch tone, corrected for the sampler's clock.

    Attributes
    ----------
    name : str
        ``stereo``, ``microphone`` or ``other`` for a pilot; the tone's nominal frequency for a
        squelch tone, or ``other``.
    frequency_hz, u_hz : float
        And standard uncertainty (k = 1), Hz.
    deviation_hz : float or None
        Peak, Hz; None on an AM carrier.
    """

    name: str
    frequency_hz: float
    u_hz: float
    deviation_hz: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SettlingResult:
    """After turning on: first frequency less the later one, Hz, and how long that took, s."""

    start_hz: float
    after_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HarmonicResult:
    """One harmonic of the carrier.

    Attributes
    ----------
    order : int
    frequency_hz : float
        Where it belongs, Hz.
    level_dbc : float or None
        Level over the carrier's, dB; None when it was not seen or cannot be.
    below_dbc : float or None
        When it was not seen: it would have been, from this level on.
    why : str or None
        When it could not be looked for.
    """

    order: int
    frequency_hz: float
    level_dbc: float | None = None
    below_dbc: float | None = None
    why: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldLimits:
    """The limits asked for, and what came of each."""

    title: str
    source: str
    note: str
    held: tuple[Held, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierResult:
    """The answer.

    Attributes
    ----------
    verdict : Outcome or None
        By the decision rule with U = 2 u; None when no tolerance was given.
    why : str
        The sentence that goes with it; when undecided, what would decide it.
    channel : str or None
        Name of the nearest channel.
    nominal_hz, frequency_hz, u_hz, expanded_hz, error_hz, error_ppm, tolerance_hz : float or None
        Hz, and ppm; None where not known or not asked.
    indicated_hz, u_indicated_hz : float or None
        On the uncorrected scale, without the clock's part, Hz.
    estimator, estimator_why : str or None
        How the frequency was found.
    level_dbfs, snr_db : float or None
        While on; over the noise in the channel.
    would_see_dbfs : float or None
        When there is none: a plain carrier would have been seen from this level on.
    observed_s, on_share : float or None
        Length of the take, s, and the part of it in which the carrier was on.
    on_times : int or None
    outside_share : float or None
        Part of the time in which the frequency lay outside the tolerance.
    carriers : tuple of SeenCarrier
        All that could be meant, when there are several.
    modulation : ModulationResult or None
    occupied_bandwidth_hz, x_db_bandwidth_hz, carson_hz : float or None
        Hz; `x_db` below `x_db_reference`.
    x_db : float
    x_db_reference : str or None
    bandwidth_rbw_hz, channel_width_hz : float or None
        Resolution of that, and what was demodulated, Hz.
    adjacent : tuple of Adjacent
    pilot, squelch : ToneResult or None
    drift_hz_per_s, drift_ppm_per_min : float or None
    settling : SettlingResult or None
    harmonics : tuple of HarmonicResult
    limits : HeldLimits or None
    """

    verdict: Outcome | None
    why: str
    channel: str | None = None
    nominal_hz: float | None = None
    frequency_hz: float | None = None
    u_hz: float | None = None
    expanded_hz: float | None = None
    error_hz: float | None = None
    error_ppm: float | None = None
    tolerance_hz: float | None = None
    indicated_hz: float | None = None
    u_indicated_hz: float | None = None
    estimator: str | None = None
    estimator_why: str | None = None
    level_dbfs: float | None = None
    snr_db: float | None = None
    would_see_dbfs: float | None = None
    observed_s: float | None = None
    on_share: float | None = None
    on_times: int | None = None
    outside_share: float | None = None
    carriers: tuple[SeenCarrier, ...] = ()
    modulation: ModulationResult | None = None
    occupied_bandwidth_hz: float | None = None
    x_db: float = 26.0
    x_db_bandwidth_hz: float | None = None
    x_db_reference: str | None = None
    carson_hz: float | None = None
    bandwidth_rbw_hz: float | None = None
    channel_width_hz: float | None = None
    adjacent: tuple[Adjacent, ...] = ()
    pilot: ToneResult | None = None
    squelch: ToneResult | None = None
    drift_hz_per_s: float | None = None
    drift_ppm_per_min: float | None = None
    settling: SettlingResult | None = None
    harmonics: tuple[HarmonicResult, ...] = ()
    limits: HeldLimits | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Transmitter:
    """The answer with all that its picture needs.

    Attributes
    ----------
    result : CarrierResult
    measured : MeasuredCarrier or None
        None when there was none, or several.
    cautions : tuple of Caution
    """

    result: CarrierResult
    measured: MeasuredCarrier | None
    cautions: tuple[Caution, ...]
