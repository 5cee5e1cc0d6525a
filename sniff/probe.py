"""Probe: expected lines against what one tuning shows; pure judgement, no source."""

from dataclasses import dataclass, replace

import numpy as np

from calib.correction import Correction
from sniff.board import BoardLine, LineState
from sniff.model import NOT_SIGNALS, Mark, Peak, Spectrum
from sniff.peaks import Floor, Summit, would_see_ratio
from sniff.superhet.expected import Expected
from sniff.tuning import Window
from sniff.units import (
    Tolerance,
    format_dbfs,
    format_error,
    format_expanded,
    format_frequency,
    format_seconds,
    format_share,
    format_span,
    format_times,
    to_db,
)
from sniff.verdict import Outcome, decide
from sniff.watch.presence import Presence

SEARCH_TOLERANCES = 10.0
"""Default search window, in tolerances."""

_FALSE_MARKS = NOT_SIGNALS | {Mark.OWN_SPUR}
_STEADY_FRACTION = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """What one tuning shows: all that lines are judged by.

    Attributes
    ----------
    spectrum, floor
        As estimated.
    summits : tuple of Summit
        All that stood out, also those not refined.
    peaks : tuple of Peak
        Refined and marked, strongest first.
    overloaded : bool
    """

    spectrum: Spectrum
    floor: Floor
    summits: tuple[Summit, ...]
    peaks: tuple[Peak, ...]
    overloaded: bool


def search_half_width_hz(line: Expected, search: Tolerance | None) -> float:
    """How far from its place a line is searched, the clock's uncertainty not counted, Hz."""
    if search is not None:
        return max(search.at(line.expected_hz), line.tolerance_hz)
    return SEARCH_TOLERANCES * line.tolerance_hz


def search_window(line: Expected, half_width_hz: float, correction: Correction) -> Window:
    """Where to search on the indicated scale: the window widened by the clock's uncertainty."""
    wide_hz = half_width_hz + 2.0 * correction.u_at(line.expected_hz)
    return Window(
        low_hz=correction.indicate(line.expected_hz - wide_hz),
        high_hz=correction.indicate(line.expected_hz + wide_hz),
    )


def pick(line: Expected, window: Window, view: View, correction: Correction) -> Peak | None:
    """The peak that is taken for the line: the strongest that may be within the tolerance, else
    the strongest in the window; peaks that the front end made do not count."""
    inside = [
        peak
        for peak in view.peaks
        if window.low_hz <= peak.indicated_hz <= window.high_hz
        and not _FALSE_MARKS.intersection(peak.marks)
    ]
    near = [
        peak for peak in inside if _frequency_verdict(line, peak, correction) is not Outcome.FAIL
    ]
    return max(near or inside, key=lambda peak: peak.level_dbfs, default=None)


def judge(
    line: Expected,
    *,
    half_width_hz: float,
    view: View,
    peak: Peak | None,
    presence: Presence | None,
    correction: Correction,
) -> BoardLine:
    """Say in which state a line is, from its own tuning alone.

    Parameters
    ----------
    line : Expected
    half_width_hz : float
        Searched within ± this, Hz.
    view : View
    peak : Peak or None
        From `pick`.
    presence : Presence or None
        Of that peak in time; None when it could not be resolved.
    correction : Correction
    """
    window = search_window(line, half_width_hz, correction)
    row = out_of_view(line, half_width_hz=half_width_hz, why="")
    covered = _covered(line, window, view, correction)
    would_see_dbfs = _would_see_dbfs(window, view)
    if peak is None:
        if covered is not None:
            return replace(row, state=LineState.HIDDEN, why=covered)
        return replace(
            row,
            state=LineState.ABSENT,
            would_see_dbfs=would_see_dbfs,
            why=f"no line within ±{format_span(half_width_hz)}; one of "
            f"{format_dbfs(would_see_dbfs)} would have been seen"
            f"{_partly_in_view(window, view.spectrum)}",
        )
    reading = correction.apply(peak.indicated_hz, peak.u_indicated_hz)
    error_hz = reading.value_hz - line.expected_hz
    row = replace(
        row,
        frequency_hz=reading.value_hz,
        u_hz=reading.u_hz,
        u_indicated_hz=peak.u_indicated_hz,
        error_hz=error_hz,
        error_ppm=error_hz / line.expected_hz * 1e6,
        level_dbfs=peak.level_dbfs if presence is None else to_db(presence.power),
        snr_db=peak.snr_db,
        present_fraction=None if presence is None else presence.fraction,
        followed_step_s=None if presence is None else presence.step_s,
        would_see_dbfs=would_see_dbfs,
        seen_in=1,
    )
    if presence is not None and presence.absences:
        verdict = _frequency_verdict(line, peak, correction)
        return replace(
            row,
            state=LineState.UNSTEADY,
            frequency_verdict=verdict,
            longest_absence_s=max(end_s - start_s for start_s, end_s in presence.absences),
            why=_describe_absences(presence),
        )
    return in_its_place(row)


def in_its_place(row: BoardLine) -> BoardLine:
    """Judge a line that is there by its frequency.

    Raises
    ------
    ValueError
        When it has none.
    """
    if row.error_hz is None or row.u_hz is None:
        raise ValueError(f"{row.name} was not seen")
    error_hz, expanded_hz = row.error_hz, 2.0 * row.u_hz
    decision = decide(error_hz=error_hz, expanded_hz=expanded_hz, tolerance_hz=row.tolerance_hz)
    row = replace(row, state=LineState.PRESENT, frequency_verdict=decision.outcome)
    error, allowed = format_error(error_hz, expanded_hz), format_span(row.tolerance_hz)
    if decision.outcome is Outcome.FAIL:
        why = f"{error} from its place, ±{allowed} allowed; nothing nearer stands out"
        return replace(row, state=LineState.OFF_FREQUENCY, why=why)
    if decision.outcome is Outcome.UNDECIDED:
        needed = format_span(decision.needed_expanded_hz or 0.0)
        why = (
            f"there, but ±{allowed} cannot be judged with U = "
            f"{format_expanded(expanded_hz)}: {_what_would_decide(row)} to U = {needed}"
        )
        return replace(row, why=why)
    followed = "" if row.present_fraction is not None else "; too weak or short to follow in time"
    return replace(row, why=f"{error}, within ±{allowed}{followed}")


def out_of_view(line: Expected, *, half_width_hz: float, why: str) -> BoardLine:
    """A line that no tuning shows."""
    return BoardLine(
        name=line.name,
        role=line.role.value,
        formula=line.formula,
        wanted=line.wanted,
        expected_hz=line.expected_hz,
        tolerance_hz=line.tolerance_hz,
        window_hz=half_width_hz,
        state=LineState.OUT_OF_VIEW,
        why=why,
    )


def _frequency_verdict(line: Expected, peak: Peak, correction: Correction) -> Outcome:
    reading = correction.apply(peak.indicated_hz, peak.u_indicated_hz)
    return decide(
        error_hz=reading.value_hz - line.expected_hz,
        expanded_hz=reading.expanded_hz(),
        tolerance_hz=line.tolerance_hz,
    ).outcome


def _what_would_decide(row: BoardLine) -> str:
    u_hz, indicated_hz = row.u_hz or 0.0, row.u_indicated_hz or 0.0
    if u_hz**2 >= 2.0 * indicated_hz**2:  # the clock has the greater part
        return "calibrate the clock"
    return "observe longer, or find out why the line is not steady,"


def _describe_absences(presence: Presence) -> str:
    count = len(presence.absences)
    longest_s = max(end - start for start, end in presence.absences)
    return (
        f"there {format_share(presence.fraction)} of the time; gone {format_times(count)}, "
        f"at the longest {format_seconds(longest_s)}"
    )


def _would_see_dbfs(window: Window, view: View) -> float:
    """Level of the weakest line that would have been detected anywhere in the window."""
    bins = _bins(window, view.spectrum)
    ratio = would_see_ratio(view.spectrum, view.floor)[bins]
    return to_db(float((ratio * view.floor.density[bins]).max()) * view.spectrum.rbw_hz)


def _partly_in_view(window: Window, spectrum: Spectrum) -> str:
    span_hz = spectrum.rate_hz
    if window.low_hz >= spectrum.first_hz and window.high_hz <= spectrum.first_hz + span_hz:
        return ""
    return "; part of where it was searched lies outside this view"


def _bins(window: Window, spectrum: Spectrum) -> slice:
    first = int(np.floor((window.low_hz - spectrum.first_hz) / spectrum.bin_hz))
    last = int(np.ceil((window.high_hz - spectrum.first_hz) / spectrum.bin_hz))
    first = min(max(first, 0), spectrum.psd.size - 1)
    return slice(first, max(first + 1, min(last + 1, spectrum.psd.size)))


def _covered(line: Expected, window: Window, view: View, correction: Correction) -> str | None:
    """Why a line could not have been seen at its place, or None."""
    if view.overloaded:
        return "the front end is overloaded: nothing can be said of what is not seen"
    reach_hz = max(line.tolerance_hz, view.spectrum.rbw_hz)
    place_hz = correction.indicate(line.expected_hz)
    for peak in view.peaks:
        inside = window.low_hz <= peak.indicated_hz <= window.high_hz
        false = [mark.value for mark in peak.marks if mark in _FALSE_MARKS]
        if inside and false and abs(peak.indicated_hz - place_hz) <= reach_hz:
            return f"a {false[0]} mark lies on its place, at {format_frequency(peak.indicated_hz)}"
    spectrum = view.spectrum
    for summit in view.summits:
        low_hz = spectrum.first_hz + summit.first * spectrum.bin_hz
        high_hz = spectrum.first_hz + summit.last * spectrum.bin_hz
        top_hz = spectrum.first_hz + summit.bin * spectrum.bin_hz
        outside = not window.low_hz <= top_hz <= window.high_hz
        if outside and low_hz <= place_hz <= high_hz:
            return f"a stronger signal at {format_frequency(top_hz)} covers its place"
    return None
