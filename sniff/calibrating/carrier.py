"""A carrier as the reference: the line itself, or the mean frequency of a modulated one."""

from math import hypot, sqrt

import numpy as np

from calib.fit import LARGEST_PPM
from calib.references import Reference
from sniff.calibrating.measured import Measured, out_of_view, overloaded
from sniff.errors import SourceError
from sniff.model import NOT_SIGNALS, Mark, Peak, Source, Take
from sniff.modulation.channel import ChannelFilter, widest_hz
from sniff.modulation.mean_frequency import mean_frequency
from sniff.modulation.phase import PhaseSteps
from sniff.probe import View
from sniff.survey import LookSettings, view_of
from sniff.tuning import Window, choose_tunings
from sniff.units import format_db, format_dbfs, format_frequency, format_ppm, to_db

_RIVAL_DB = 10.0  # a second line so near in level may be the reference as well
_CLEAR = 10.0  # power over noise in the modulation's bandwidth
_STEPS = 64  # fewer tell no mean of a modulated carrier
_DRIFTED = 4.0  # times what chance makes of a drift
_BESIDE_PPM = 1000.0  # a line so near is named where none is near enough


def measure_carrier(
    source: Source,
    reference: Reference,
    *,
    settings: LookSettings,
    seconds: float | None,
    start_s: float = 0.0,
) -> Measured:
    """Find a carrier within ±200 ppm of its place and measure where it is indicated.

    A plain one is measured as any line, a modulated one by the mean slope of its phase.

    Raises
    ------
    SourceError
        When it lies outside what the source can show, is not found, or two lines could be it: both
        are named, and none is chosen.
    UsageError
        As in `sniff.survey.examine`.
    """
    reach_hz = reference.nominal_hz * LARGEST_PPM * 1e-6 + reference.limit_hz
    window = Window(
        low_hz=reference.nominal_hz - reach_hz - reference.half_width_hz,
        high_hz=reference.nominal_hz
        + max(reference.offsets_hz, default=0.0)
        + reach_hz
        + reference.half_width_hz,
    )
    tunings = choose_tunings([window], source.info)
    if not tunings:
        raise out_of_view(reference, source.info)
    source.tune(tunings[0].center_hz)
    take = source.take(seconds=seconds, start_s=start_s)
    view = view_of(take, source.info, settings, window)
    if view.overloaded:
        raise overloaded(reference)
    inside = [peak for peak in view.peaks if window.low_hz <= peak.indicated_hz <= window.high_hz]
    heard = [peak for peak in inside if _is_heard(peak)]
    if not heard:
        raise SourceError(f"{reference.name}: {_why_none(reference, inside, view)}")
    best = _only(heard, reference)
    if not reference.half_width_hz:
        return Measured.of(
            reference,
            indicated_hz=best.indicated_hz,
            u_hz=best.u_indicated_hz,
            steady=best.steady,
        )
    indicated_hz, u_hz, steady = _mean(take, best, reference, view)
    u_hz = hypot(u_hz, source.info.u_center_hz)
    return Measured.of(reference, indicated_hz=indicated_hz, u_hz=u_hz, steady=steady)


def _is_heard(peak: Peak) -> bool:
    return not (NOT_SIGNALS | {Mark.OWN_SPUR}).intersection(peak.marks)


def _why_none(reference: Reference, inside: list[Peak], view: View) -> str:
    place = format_frequency(reference.nominal_hz)
    if any(Mark.OWN_SPUR in peak.marks for peak in inside):
        return f"only the dongle's own spur is heard at {place}; choose a reference elsewhere"
    nothing = f"nothing is heard within ±{LARGEST_PPM:g} ppm of {place}"
    beside = [
        peak
        for peak in view.peaks
        if _is_heard(peak) and abs(_clock_ppm(reference, peak)) <= _BESIDE_PPM
    ]
    if beside:
        nearest = min(beside, key=lambda peak: abs(_clock_ppm(reference, peak)))
        return (
            f"{nothing}; by the line at {format_frequency(nearest.indicated_hz)} the clock would "
            f"be {format_ppm(_clock_ppm(reference, nearest))} off: that is probably another station"
        )
    return f"{nothing}; more gain, a better antenna, or another reference"


def _clock_ppm(reference: Reference, peak: Peak) -> float:
    return (reference.nominal_hz / peak.indicated_hz - 1.0) * 1e6


def _only(heard: list[Peak], reference: Reference) -> Peak:
    """The strongest, when no other comes near it; a modulated one has peaks within its width."""
    best = max(heard, key=lambda peak: peak.level_dbfs)
    rivals = [
        peak
        for peak in heard
        if peak is not best
        and abs(peak.indicated_hz - best.indicated_hz) >= 2.0 * reference.half_width_hz
        and best.level_dbfs - peak.level_dbfs < _RIVAL_DB
    ]
    if rivals:
        named = " and ".join(
            f"{format_frequency(peak.indicated_hz)} ({format_dbfs(peak.level_dbfs)}, "
            f"{format_ppm(_clock_ppm(reference, peak))})"
            for peak in (best, rivals[0])
        )
        raise SourceError(
            f"{reference.name}: two lines could be it, {named}; they differ by less than "
            f"{format_db(_RIVAL_DB)}: use a reference that stands alone"
        )
    return best


def _mean(take: Take, peak: Peak, reference: Reference, view: View) -> tuple[float, float, bool]:
    """Mean frequency, its standard uncertainty, and whether it stood still; Hz."""
    # The strongest peak of a modulated carrier may lie anywhere in it: once more, about its middle.
    rough_hz, _, _ = _mean_about(take, peak.indicated_hz, 4.0, reference, view)
    return _mean_about(take, rough_hz, 2.0, reference, view)


def _mean_about(
    take: Take, line_hz: float, half_widths: float, reference: Reference, view: View
) -> tuple[float, float, bool]:
    channel = ChannelFilter(
        line_hz,
        width_hz=min(half_widths * reference.half_width_hz, widest_hz(take.rate_hz)),
        rate_hz=take.rate_hz,
        center_hz=take.center_hz,
    )
    steps = PhaseSteps(channel.rate_hz, seconds=take.seconds)
    for block in take.blocks():
        for part in channel.push(block):
            steps.push(part)
    runs = [run for run in steps.runs() if run.phase.size >= _STEPS]
    if not runs:
        raise SourceError(f"{reference.name}: too short to find its mean; more --seconds")
    weights = np.array([run.seconds for run in runs]) / sum(run.seconds for run in runs)
    power = float(weights @ [run.power.mean() for run in runs])
    density = float(np.median(view.floor.density))
    if power < _CLEAR * density * channel.noise_bandwidth_hz:
        raise SourceError(
            f"{reference.name}: too weak: less than {format_db(to_db(_CLEAR))} over the noise in "
            "its bandwidth; more gain, a better antenna, or another reference"
        )
    means = [mean_frequency(run.phase, run.step_s) for run in runs]
    offset_hz = float(weights @ [mean.offset_hz for mean in means])
    u_hz = float(np.sqrt(((weights * [mean.u_hz for mean in means]) ** 2).sum()))
    # A frequency that went evenly over a range D has a spread of D / sqrt(12) about its mean.
    drifted_hz = max(abs(mean.drift_hz_per_s) * mean.seconds for mean in means) / sqrt(12.0)
    steady = drifted_hz < _DRIFTED * u_hz
    return line_hz + offset_hz, u_hz if steady else hypot(u_hz, drifted_hz), steady
