"""Probe: expected lines against what one tuning shows; pure judgement, no source."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.correction import Correction
from sniff.board import BoardLine, BoardResult, BoardVerdict, LineState
from sniff.model import NOT_SIGNALS, Mark, Peak, Spectrum
from sniff.peaks import Floor, Summit, would_see_ratio
from sniff.superhet.expected import Expected
from sniff.tuning import Window
from sniff.units import (
    Tolerance,
    format_db,
    format_dbfs,
    format_error,
    format_expanded,
    format_frequency,
    format_seconds,
    format_span,
    to_db,
)
from sniff.verdict import Outcome, decide
from sniff.watch.presence import Presence

PLACEMENT_DB = 6.0
"""By how much the level of a hand-held loop differs from placing to placing (k = 2), unless
measured (common practice, no source)."""

SEARCH_TOLERANCES = 10.0
"""Default search window, in tolerances."""

_FALSE_MARKS = NOT_SIGNALS | {Mark.OWN_SPUR}
_STEADY_FRACTION = 1.0
_FAULTS = frozenset({LineState.WEAK, LineState.OFF_FREQUENCY, LineState.UNSTEADY, LineState.ABSENT})
_NOT_SEEN = frozenset({LineState.HIDDEN, LineState.OUT_OF_VIEW})


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
    verdict = _frequency_verdict(line, peak, correction)
    row = replace(
        row,
        frequency_hz=reading.value_hz,
        u_hz=reading.u_hz,
        u_indicated_hz=peak.u_indicated_hz,
        error_hz=error_hz,
        error_ppm=error_hz / line.expected_hz * 1e6,
        frequency_verdict=verdict,
        level_dbfs=peak.level_dbfs if presence is None else to_db(presence.power),
        snr_db=peak.snr_db,
        present_fraction=None if presence is None else presence.fraction,
        would_see_dbfs=would_see_dbfs,
    )
    if presence is not None and presence.absences:
        return replace(row, state=LineState.UNSTEADY, why=_describe_absences(presence))
    error = format_error(error_hz, reading.expanded_hz())
    allowed = format_span(line.tolerance_hz)
    if verdict is Outcome.FAIL:
        why = f"{error} from its place, ±{allowed} allowed; nothing nearer stands out"
        return replace(row, state=LineState.OFF_FREQUENCY, why=why)
    if verdict is Outcome.UNDECIDED:
        decision = decide(
            error_hz=error_hz, expanded_hz=reading.expanded_hz(), tolerance_hz=line.tolerance_hz
        )
        needed = format_span(decision.needed_expanded_hz or 0.0)
        why = (
            f"there, but ±{allowed} cannot be judged with U = "
            f"{format_expanded(reading.expanded_hz())}: {_what_would_decide(peak, correction)} "
            f"to U = {needed}"
        )
        return replace(row, state=LineState.PRESENT, why=why)
    steadiness = "" if presence is not None else "; too weak or short to follow in time"
    return replace(row, state=LineState.PRESENT, why=f"{error}, within ±{allowed}{steadiness}")


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


def against_sibling(
    lines: Sequence[BoardLine], sibling: Sequence[BoardLine], *, placement_db: float
) -> tuple[BoardLine, ...]:
    """Compare levels line by line, by name; a line weaker by more than the placing is weak."""
    levels = {line.name: line for line in sibling}
    return tuple(_against(line, levels.get(line.name), placement_db) for line in lines)


def _against(line: BoardLine, other: BoardLine | None, placement_db: float) -> BoardLine:
    if other is None or other.level_dbfs is None:
        return line
    if line.state is LineState.ABSENT and line.would_see_dbfs is not None:
        margin_db = other.level_dbfs - line.would_see_dbfs
        if margin_db < placement_db:
            return replace(
                line,
                state=LineState.HIDDEN,
                why=f"not seen, but the sibling's line is only {format_db(margin_db)} over what "
                "would have been seen here: move the loop closer, or use a finer RBW",
            )
        return replace(line, why=f"{line.why}; the sibling shows {format_dbfs(other.level_dbfs)}")
    if line.level_dbfs is None:
        return line
    difference_db = line.level_dbfs - other.level_dbfs
    line = replace(line, versus_sibling_db=difference_db)
    if line.state is LineState.OFF_FREQUENCY and difference_db < -placement_db:
        return replace(
            line,
            why=f"{line.why}; {format_db(difference_db)} against the sibling: it may be another "
            "line, and this one absent",
        )
    if line.state is LineState.PRESENT and difference_db < -placement_db:
        return replace(
            line,
            state=LineState.WEAK,
            why=f"{format_db(difference_db)} against the sibling, more than the "
            f"±{placement_db:g} dB of placing the loop",
        )
    return line


def conclude(lines: Sequence[BoardLine]) -> BoardResult:
    """The verdict over all wanted lines, with the sentence that goes with it."""
    wanted = [line for line in lines if line.wanted]
    faults = [line for line in wanted if line.state in _FAULTS]
    blind = [
        line for line in wanted if line.state in _NOT_SEEN and not _heard_by_multiple(line, lines)
    ]
    open_ = [
        line
        for line in wanted
        if line.state is LineState.PRESENT and line.frequency_verdict is Outcome.UNDECIDED
    ]
    if faults:
        verdict = BoardVerdict.FAULT
        why = "; ".join(f"{line.name} is {line.state.value}" for line in faults)
        why += _hint(lines, faults)
    elif blind:
        verdict = BoardVerdict.UNDECIDED
        why = "; ".join(f"{line.name} is {line.state.value}" for line in blind)
    elif open_:
        verdict = BoardVerdict.UNDECIDED
        names = ", ".join(line.name for line in open_)
        why = f"{names}: there, but whether within tolerance cannot be said"
    elif not wanted:
        verdict, why = BoardVerdict.UNDECIDED, "the plan names no line that must be there"
    else:
        verdict, why = BoardVerdict.AS_EXPECTED, "every wanted line is there and within tolerance"
        unseen = [line.name for line in wanted if line.state is LineState.OUT_OF_VIEW]
        if unseen:
            why += f"; {', '.join(unseen)} by a multiple, itself below what can be seen"
    return BoardResult(verdict=verdict, why=why, lines=tuple(lines))


def _heard_by_multiple(line: BoardLine, lines: Sequence[BoardLine]) -> bool:
    """Whether a line below the tuner's range is heard all the same, by one of its multiples: the
    third of a second LO of 10.245 MHz is the first that a tuner from 26 MHz can see."""
    return line.state is LineState.OUT_OF_VIEW and any(
        other.name.startswith(f"{line.name} ×")
        and other.state is LineState.PRESENT
        and other.frequency_verdict is Outcome.PASS
        for other in lines
    )


def _hint(lines: Sequence[BoardLine], faults: Sequence[BoardLine]) -> str:
    """Where the fault may lie, by what the crystal does while the line it drives fails."""
    crystal = next((line for line in lines if line.role == "crystal"), None)
    driven = next((fault for fault in faults if fault.role in ("lo", "carrier")), None)
    if crystal is None or driven is None:
        return ""
    runs = crystal.state in (LineState.PRESENT, LineState.OFF_FREQUENCY)
    if driven.state is LineState.ABSENT and runs:
        return ". The crystal oscillates: look between it and the mixer, at the multiplier first"
    if driven.state is LineState.ABSENT and crystal.state is LineState.ABSENT:
        return ". Its crystal is not heard either: look at the oscillator and its supply first"
    if driven.state is LineState.UNSTEADY and crystal.state is LineState.UNSTEADY:
        return ". Its crystal comes and goes too: look at the oscillator and its supply first"
    if driven.state is LineState.UNSTEADY and runs:
        return ". The crystal stayed: look between it and the mixer, at the multiplier first"
    return ""


def _frequency_verdict(line: Expected, peak: Peak, correction: Correction) -> Outcome:
    reading = correction.apply(peak.indicated_hz, peak.u_indicated_hz)
    return decide(
        error_hz=reading.value_hz - line.expected_hz,
        expanded_hz=reading.expanded_hz(),
        tolerance_hz=line.tolerance_hz,
    ).outcome


def _what_would_decide(peak: Peak, correction: Correction) -> str:
    if correction.u_at(peak.indicated_hz) >= peak.u_indicated_hz:
        return "calibrate the clock"
    return "observe longer, or find out why the line is not steady,"


def _describe_absences(presence: Presence) -> str:
    count = len(presence.absences)
    longest_s = max(end - start for start, end in presence.absences)
    times = "once" if count == 1 else f"{count} times"
    return (
        f"there {presence.fraction:.0%} of the time; gone {times}, "
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
