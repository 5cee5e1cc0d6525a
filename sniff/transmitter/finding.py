"""Find the carrier that is meant: which tuning shows it, and whether it is alone there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.correction import Correction
from sniff.channels import nearest
from sniff.errors import SourceError
from sniff.model import NOT_SIGNALS, Mark, Peak, Source, SourceInfo, Take
from sniff.modulation.extent import RIVAL_DB, Extent, extents
from sniff.peaks import would_see_ratio
from sniff.probe import View
from sniff.reach import out_of_reach
from sniff.survey import LookSettings, view_of
from sniff.transmitter.nouns import CarrierRequest, SeenCarrier
from sniff.tuning import Tuning, Window, choose_tunings
from sniff.units import Tolerance, format_frequency, to_db

SEARCH_TOLERANCES = 10.0
_SEARCH_UNTOLD = Tolerance(ppm=200.0)
_SIDEBANDS_HZ = 100e3
_SCOUT_S = 0.3
_NARROW_RBW = 6.0  # a line; of anything wider the strongest line may be a sideband
_FALSE = NOT_SIGNALS | {Mark.OWN_SPUR}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sought:
    """What one tuning shows of what is sought.

    Attributes
    ----------
    take : Take
    view : View
    windows : tuple of Window
        Where it was searched in this tuning.
    signals : tuple of Extent
        In those windows, strongest first.
    beside : tuple of Extent
        All others of the take.
    """

    take: Take
    view: View
    windows: tuple[Window, ...]
    signals: tuple[Extent, ...]
    beside: tuple[Extent, ...]

    @property
    def rivals(self) -> tuple[Extent, ...]:
        """All of them that could be meant: the strongest, and what comes near it."""
        if not self.signals:
            return ()
        least = self.signals[0].power * 10.0 ** (-RIVAL_DB / 10.0)
        return tuple(signal for signal in self.signals if signal.power >= least)

    def peak_of(self, signal: Extent) -> Peak | None:
        """The refined line in a signal, the strongest."""
        reach_hz = self.view.spectrum.rbw_hz
        inside = [
            peak
            for peak in self.view.peaks
            if signal.low_hz - reach_hz <= peak.indicated_hz <= signal.high_hz + reach_hz
            and not _FALSE.intersection(peak.marks)
        ]
        return max(inside, key=lambda peak: peak.level_dbfs, default=None)

    @property
    def would_see_dbfs(self) -> float:
        """Level of the weakest plain carrier that would have been detected, dBFS."""
        spectrum = self.view.spectrum
        f = spectrum.frequencies_hz
        inside = np.zeros(f.size, dtype=np.bool_)
        for window in self.windows:
            inside |= (f >= window.low_hz) & (f <= window.high_hz)
        if not inside.any():
            inside[:] = True
        power = would_see_ratio(spectrum, self.view.floor) * self.view.floor.density
        return to_db(float(power[inside].max()) * spectrum.rbw_hz)

    def false_lines(self) -> tuple[Peak, ...]:
        """What stands in the windows but was made by the receiver, or may have been."""
        return tuple(
            peak
            for peak in self.view.peaks
            if _FALSE.intersection(peak.marks)
            and any(w.low_hz <= peak.indicated_hz <= w.high_hz for w in self.windows)
        )


def seek(
    source: Source,
    request: CarrierRequest,
    *,
    look: LookSettings,
    correction: Correction,
    seconds: float | None,
    start_s: float,
) -> Sought:
    """Tune to where the carrier may be, and see what is there.

    Where the channels need several tunings, a live source is scouted with short takes and then
    observed where the strongest signal stood.

    Raises
    ------
    SourceError
        When no channel is within what the source can show.
    UsageError, SourceError
        As `sniff.survey.examine`.
    """
    info = source.info
    if not request.channels:
        whole = Window(low_hz=-np.inf, high_hz=np.inf)
        return _sought(source, (whole,), look, seconds, start_s)
    windows = [_window(channel.frequency_hz, request, correction) for channel in request.channels]
    tunings = choose_tunings([_with_sidebands(w, info) for w in windows], info)
    if not tunings:
        raise SourceError(_out_of_view(request, info))
    if len(tunings) == 1:
        return _at(source, tunings[0], windows, look, seconds, start_s)
    if not info.tunable:
        found = [_at(source, tuning, windows, look, seconds, start_s) for tuning in tunings]
        return max(found, key=_strength)
    scouted = [_at(source, tuning, windows, look, _SCOUT_S, start_s) for tuning in tunings]
    best = max(range(len(tunings)), key=lambda number: _strength(scouted[number]))
    if not scouted[best].signals:
        return _at(source, tunings[best], windows, look, seconds, start_s)
    # Tuned anew for its own channel: so far others were to be in view as well.
    near_hz = correction.apply(scouted[best].signals[0].middle_hz, 0.0).value_hz
    only = replace(request, channels=(nearest(request.channels, near_hz),))
    return seek(source, only, look=look, correction=correction, seconds=seconds, start_s=start_s)


def seen_carriers(sought: Sought, correction: Correction) -> tuple[SeenCarrier, ...]:
    """All that could be meant, as readings, strongest first."""
    made = []
    for signal in sought.rivals:
        peak = sought.peak_of(signal)
        u_hz = (signal.high_hz - signal.low_hz) / np.sqrt(12.0) + sought.view.spectrum.rbw_hz
        narrow = signal.high_hz - signal.low_hz <= _NARROW_RBW * sought.view.spectrum.rbw_hz
        if peak is not None and peak.steady and narrow:
            reading = correction.apply(peak.indicated_hz, peak.u_indicated_hz)
        else:
            reading = correction.apply(signal.middle_hz, float(u_hz))
        made.append(
            SeenCarrier(
                frequency_hz=reading.value_hz,
                u_hz=reading.u_hz,
                level_dbfs=to_db(signal.power),
                marks=() if peak is None else peak.marks,
            )
        )
    return tuple(made)


def _strength(sought: Sought) -> float:
    return sought.signals[0].power if sought.signals else 0.0


def _window(nominal_hz: float, request: CarrierRequest, correction: Correction) -> Window:
    """On the indicated scale, widened by what the clock may be off."""
    search = request.search
    if search is not None:
        reach_hz = search.at(nominal_hz)
    elif request.tolerance is not None:
        reach_hz = SEARCH_TOLERANCES * request.tolerance.at(nominal_hz)
    else:
        reach_hz = _SEARCH_UNTOLD.at(nominal_hz)
    reach_hz += 2.0 * correction.u_at(nominal_hz)
    return Window(
        low_hz=correction.indicate(nominal_hz - reach_hz),
        high_hz=correction.indicate(nominal_hz + reach_hz),
    )


def _with_sidebands(window: Window, info: SourceInfo) -> Window:
    """A tuner is set so that the sidebands are in view too, where its span allows."""
    room_hz = (info.usable_fraction * info.rate_hz - (window.high_hz - window.low_hz)) / 4.0
    more_hz = min(_SIDEBANDS_HZ, max(0.0, room_hz)) if info.tunable else 0.0
    return Window(low_hz=window.low_hz - more_hz, high_hz=window.high_hz + more_hz)


def _at(
    source: Source,
    tuning: Tuning,
    windows: Sequence[Window],
    look: LookSettings,
    seconds: float | None,
    start_s: float,
) -> Sought:
    source.tune(tuning.center_hz)
    inside = tuple(windows[number] for number in tuning.windows)
    return _sought(source, inside, look, seconds, start_s)


def _sought(
    source: Source,
    windows: tuple[Window, ...],
    look: LookSettings,
    seconds: float | None,
    start_s: float,
) -> Sought:
    take = source.take(seconds=seconds, start_s=start_s)
    view = view_of(take, source.info, look, *windows)
    own_hz = [peak.indicated_hz for peak in view.peaks if _FALSE.intersection(peak.marks)]
    found = extents(view.spectrum, view.floor, not_hz=own_hz)
    signals = tuple(
        signal
        for signal in found
        if any(w.low_hz <= signal.middle_hz <= w.high_hz for w in windows)
    )
    return Sought(
        take=take,
        view=view,
        windows=windows,
        signals=signals,
        beside=tuple(signal for signal in found if signal not in signals),
    )


def _out_of_view(request: CarrierRequest, info: SourceInfo) -> str:
    if len(request.channels) == 1:
        what = format_frequency(request.channels[0].frequency_hz)
    else:
        what = "each channel of the list"
    return f"{what} is {out_of_reach(info)}"
