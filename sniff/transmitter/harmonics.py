"""The harmonics of a carrier, as far as a tuner reaches or a recording holds them."""

from calib.correction import Correction
from sniff.model import NOT_SIGNALS, Caution, Mark, Source
from sniff.modulation.extent import extents
from sniff.peaks import would_see_ratio
from sniff.survey import LookSettings, view_of
from sniff.transmitter.nouns import HarmonicResult
from sniff.tuning import Window, choose_tunings
from sniff.units import to_db

ROUGH = Caution(
    code="harmonics-rough",
    text="levels of harmonics are rough: a loop and a tuner are not equally sensitive at all "
    "frequencies, and the dongle makes harmonics of a strong carrier itself",
)

_SECONDS = 0.3
_REACH_PPM = 20.0  # beyond the carrier's own error and the clock's
_LEAST_REACH_HZ = 2e3
_FALSE = NOT_SIGNALS | {Mark.OWN_SPUR}


def measure_harmonics(
    source: Source,
    *,
    carrier_hz: float,
    carrier_dbfs: float,
    width_hz: float,
    highest: int,
    look: LookSettings,
    correction: Correction,
    seconds: float | None,
    start_s: float,
) -> tuple[HarmonicResult, ...]:
    """Levels of harmonics 2 to `highest` over the carrier's, at the same gain.

    Parameters
    ----------
    source : Source
        Left where it was last tuned.
    carrier_hz, carrier_dbfs : float
        Clock-corrected frequency, Hz, and level of the carrier.
    width_hz : float
        How wide the carrier's signal is; harmonic n of an FM signal is n times as wide, Hz.
    highest : int
        Order.
    look : LookSettings
    correction : Correction
    seconds, start_s : float
        Of a recording; a live source is heard 0.3 s at each.
    """
    return tuple(
        _one(
            source,
            order,
            carrier_hz=carrier_hz,
            carrier_dbfs=carrier_dbfs,
            width_hz=width_hz,
            look=look,
            correction=correction,
            seconds=_SECONDS if source.info.tunable else seconds,
            start_s=start_s,
        )
        for order in range(2, highest + 1)
    )


def _one(
    source: Source,
    order: int,
    *,
    carrier_hz: float,
    carrier_dbfs: float,
    width_hz: float,
    look: LookSettings,
    correction: Correction,
    seconds: float | None,
    start_s: float,
) -> HarmonicResult:
    place_hz = order * carrier_hz
    middle_hz = correction.indicate(place_hz)
    # The indicated carrier was at the same clock's mercy: only what a harmonic's own reading adds.
    reach_hz = max(_LEAST_REACH_HZ, _REACH_PPM * 1e-6 * place_hz, order * width_hz / 2.0)
    window = Window(low_hz=middle_hz - reach_hz, high_hz=middle_hz + reach_hz)
    tunings = choose_tunings([window], source.info)
    if not tunings:
        why = "beyond the tuner" if source.info.tunable else "not in this recording"
        return HarmonicResult(order=order, frequency_hz=place_hz, why=why)
    source.tune(tunings[0].center_hz)
    view = view_of(source.take(seconds=seconds, start_s=start_s), source.info, look, window)
    own_hz = [peak.indicated_hz for peak in view.peaks if _FALSE.intersection(peak.marks)]
    inside = [
        signal
        for signal in extents(view.spectrum, view.floor, not_hz=own_hz)
        if window.low_hz <= signal.middle_hz <= window.high_hz
    ]
    if inside:
        level_dbc = to_db(inside[0].power) - carrier_dbfs
        return HarmonicResult(order=order, frequency_hz=place_hz, level_dbc=level_dbc)
    at = round((middle_hz - view.spectrum.first_hz) / view.spectrum.bin_hz)
    at = min(max(at, 0), view.spectrum.psd.size - 1)
    ratio = float(would_see_ratio(view.spectrum, view.floor)[at])
    least = ratio * float(view.floor.density[at]) * view.spectrum.rbw_hz
    return HarmonicResult(order=order, frequency_hz=place_hz, below_dbc=to_db(least) - carrier_dbfs)
