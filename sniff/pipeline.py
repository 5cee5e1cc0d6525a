"""The pipeline: from a take to a look, from a source and expected lines to a line board."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from calib.correction import Correction
from sniff.board import Board, BoardLine
from sniff.concluding import conclude, concluded_again
from sniff.course import CourseRecorder, course_segment
from sniff.errors import SourceError, UsageError
from sniff.frontend import FrontEnd, RailCount, coarse_caution, mark
from sniff.look import Look, LookResult, see
from sniff.measure import MOST_PEAKS, measure, refine_all, zoom_requests
from sniff.model import Caution, Course, IQBlock, Peak, Source, SourceInfo, Spectrum, Take
from sniff.peaks import DEFAULT_FALSE_ALARM_RATE, Summit, find_summits, noise_floor
from sniff.probe import (
    View,
    judge,
    out_of_view,
    pick,
    search_half_width_hz,
    search_window,
)
from sniff.prove import Trial, prove
from sniff.resolution import SpectrumSettings
from sniff.spectrum import Welch
from sniff.strength import Placing, against_plan, against_sibling
from sniff.superhet.at_place import LineThere
from sniff.superhet.expected import Expected
from sniff.tuning import Window, choose_tunings
from sniff.units import Tolerance, format_frequency, to_db
from sniff.watch.presence import PowerCourse, Presence
from sniff.zoom import MIN_HOP, Zoom

_PROVE_RBW = 13.7
_PROVE_GAIN_DB = 6.0

CUT_SHORT = "cut-short"
"""Code of the caution that a source failed in the middle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LookSettings:
    """How to look.

    Attributes
    ----------
    spectrum : SpectrumSettings
    false_alarm_rate : float
        Chance that a look at noise alone shows any line.
    course : bool
        Whether to keep the spectrum against time.
    """

    spectrum: SpectrumSettings
    false_alarm_rate: float = DEFAULT_FALSE_ALARM_RATE
    course: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Survey:
    view: View
    course: Course | None
    cautions: tuple[Caution, ...]


def look(take: Take, info: SourceInfo, settings: LookSettings, correction: Correction) -> Look:
    """See what one take holds.

    Raises
    ------
    UsageError
        When the take is shorter than one segment, or the RBW is out of reach.
    SourceError
        When the source fails.
    """
    return _as_look(_survey(take, info, settings, windows=()), settings, correction)


def view_of(take: Take, info: SourceInfo, settings: LookSettings, *windows: Window) -> View:
    """What one take shows, with the lines inside the windows refined however weak they are.

    Raises
    ------
    UsageError, SourceError
        As `look`.
    """
    return _survey(take, info, settings, windows=windows).view


def look_and_prove(
    source: Source, settings: LookSettings, correction: Correction, *, seconds: float
) -> Look:
    """Look, then once more a little beside and once more with less gain, and try each peak.

    The source is left as it was.

    Raises
    ------
    UsageError
        When the source cannot be tuned, and as `look`.
    SourceError
        When the source fails.
    """
    info = source.info
    if not info.tunable:
        raise UsageError("--prove tunes and steps the gain, which a recording cannot do")
    center_hz, gain_db = info.centers_hz[0], info.gain_db
    first = _survey(source.take(seconds=seconds), info, settings, windows=())
    plain = replace(settings, course=False)
    trials: list[Trial] = []

    def again(*, less_gain_db: float) -> Trial:
        survey = _survey(source.take(seconds=seconds), source.info, plain, windows=())
        return Trial(
            moved_hz=survey.view.spectrum.center_hz - first.view.spectrum.center_hz,
            less_gain_db=less_gain_db,
            rbw_hz=survey.view.spectrum.rbw_hz,
            peaks=survey.view.peaks,
        )

    try:
        # An odd number of RBWs, so that places do not fall together with a comb of lines.
        source.tune(center_hz + _PROVE_RBW * first.view.spectrum.rbw_hz)
        trials.append(again(less_gain_db=0.0))
        source.tune(center_hz)
        if gain_db is not None:
            lower_db = source.set_gain(max(0.0, gain_db - _PROVE_GAIN_DB))
            if lower_db is not None and lower_db < gain_db:
                trials.append(again(less_gain_db=gain_db - lower_db))
    finally:
        source.tune(center_hz)
        source.set_gain(gain_db)
    seen = _as_look(first, settings, correction)
    proofs = prove(
        first.view.peaks,
        trials[0],
        trials[1] if len(trials) > 1 else None,
        overloaded=first.view.overloaded,
    )
    peaks = tuple(
        replace(line, proof=proof) for line, proof in zip(seen.result.peaks, proofs, strict=True)
    )
    cautions = seen.cautions
    if len(trials) < 2:
        text = "the gain could not be stepped: products of overload were not told apart"
        cautions = (*cautions, Caution(code="gain-not-stepped", text=text))
    return replace(seen, result=replace(seen.result, peaks=peaks), cautions=cautions)


def probe(
    source: Source,
    lines: Sequence[Expected],
    *,
    settings: LookSettings,
    correction: Correction,
    search: Tolerance | None = None,
    seconds: float | None = None,
    start_s: float = 0.0,
) -> Board:
    """Judge every expected line, in as few tunings as show them all.

    Parameters
    ----------
    source : Source
    lines : sequence of Expected
        Those that the set radiates.
    search : Tolerance, optional
        Half-width of the search window; ten tolerances otherwise.
    seconds, start_s : float
        As in `Source.take`.

    Raises
    ------
    UsageError, SourceError
        As `look`.
    """
    widths = [search_half_width_hz(line, search) for line in lines]
    windows = [
        search_window(line, width, correction) for line, width in zip(lines, widths, strict=True)
    ]
    rows: dict[int, BoardLine] = {}
    looks: list[Look] = []
    cautions: list[Caution] = []
    for tuning in choose_tunings(windows, source.info):
        inside = [windows[number] for number in tuning.windows]
        try:
            source.tune(tuning.center_hz)
            take = source.take(seconds=seconds, start_s=start_s)
            survey = _survey(take, source.info, settings, windows=inside)
        except SourceError as error:
            if not looks:
                raise
            cautions.append(Caution(code=CUT_SHORT, text=f"cut short: {error}"))
            for number in tuning.windows:
                rows[number] = out_of_view(
                    lines[number], half_width_hz=widths[number], why=f"not seen: {error}"
                )
            continue
        peaks = [
            pick(lines[number], windows[number], survey.view, correction)
            for number in tuning.windows
        ]
        presences = _presences(take, survey.view, peaks)
        for number, peak, there in zip(tuning.windows, peaks, presences, strict=True):
            rows[number] = judge(
                lines[number],
                half_width_hz=widths[number],
                view=survey.view,
                peak=peak,
                presence=there,
                correction=correction,
            )
        looks.append(_as_look(survey, settings, correction))
        cautions += survey.cautions
    for number, line in enumerate(lines):
        if number not in rows:
            rows[number] = out_of_view(
                line, half_width_hz=widths[number], why=_why_out_of_view(line, source.info)
            )
    result = conclude([rows[number] for number in range(len(lines))])
    return Board(result=result, looks=tuple(looks), cautions=tuple(cautions))


def compare_with_sibling(board: Board, sibling: Board, *, placing: Placing | None = None) -> Board:
    """Add the sibling's levels to a board, and judge it again."""
    lines = against_sibling(board.result.lines, sibling.result.lines, placing=placing or Placing())
    return Board(
        result=concluded_again(board.result, lines),
        looks=board.looks,
        cautions=board.cautions + sibling.cautions,
    )


def compare_with_plan(
    board: Board, there: Sequence[LineThere], *, placing: Placing | None = None
) -> Board:
    """Hold a board's levels against those that a plan states of a place, and judge it again."""
    stated = {line.expected.name: line.stated for line in there}
    lines = against_plan(board.result.lines, stated, placing=placing or Placing())
    return replace(board, result=concluded_again(board.result, lines))


def _survey(
    take: Take, info: SourceInfo, settings: LookSettings, *, windows: Sequence[Window]
) -> _Survey:
    welch = Welch(settings.spectrum, rate_hz=take.rate_hz, center_hz=take.center_hz)
    course = _CourseOf(take, settings) if settings.course else None
    rails = RailCount(info.rail)
    trouble: list[Caution] = []
    for block in _till_trouble(take, trouble):
        welch.push(block)
        rails.push(block)
        if course is not None:
            course.push(block)
    try:
        spectrum = welch.result()
    except UsageError:
        if trouble:
            raise SourceError(trouble[0].text) from None
        raise
    floor = noise_floor(spectrum, false_alarm_rate=settings.false_alarm_rate)
    summits = find_summits(spectrum, floor)
    chosen = _choose(summits, spectrum, windows)
    requests = zoom_requests(spectrum, chosen, among=summits)
    estimates = refine_all(take.blocks(), spectrum, floor, requests)
    peaks = list(measure(spectrum, floor, requests, estimates))
    front_end = FrontEnd.of(
        info,
        center_hz=spectrum.center_hz,
        rbw_hz=spectrum.rbw_hz,
        overloaded=rails.overloaded,
    )
    peaks.sort(key=lambda peak: -peak.level_dbfs)
    view = View(
        spectrum=spectrum,
        floor=floor,
        summits=summits,
        peaks=tuple(_with_center(peak, info.u_center_hz) for peak in mark(peaks, front_end)),
        overloaded=rails.overloaded,
    )
    noise_power = float(np.median(floor.density)) * spectrum.rate_hz
    noted = (rails.caution(), coarse_caution(info.datatype, noise_power=noise_power))
    cautions = trouble + [caution for caution in noted if caution is not None]
    if welch.gaps:
        cautions.append(
            Caution(
                code="gaps",
                text=f"{welch.gaps} gaps, {welch.lost_samples / take.rate_hz:.3g} s in all, were "
                "not observed",
            )
        )
    if len(summits) > len(chosen) and not windows:
        cautions.append(
            Caution(
                code="crowded",
                text=f"only the strongest {len(chosen)} of {len(summits)} lines are listed; "
                "a narrower span or a coarser RBW shows fewer",
            )
        )
    return _Survey(
        view=view,
        course=None if course is None else course.result(),
        cautions=tuple(cautions),
    )


def _till_trouble(take: Take, trouble: list[Caution]) -> Iterator[IQBlock]:
    """The blocks of a take; when its source fails after some, what was heard till then counts."""
    heard = False
    try:
        for block in take.blocks():
            heard = True
            yield block
    except SourceError as error:
        if not heard:
            raise
        trouble.append(Caution(code=CUT_SHORT, text=f"cut short: {error}"))


def _with_center(peak: Peak, u_center_hz: float) -> Peak:
    """Add the doubt about where the tuner really stands; it is common to all peaks of a tuning."""
    if u_center_hz == 0.0:
        return peak
    return replace(peak, u_indicated_hz=hypot(peak.u_indicated_hz, u_center_hz))


class _CourseOf:
    """The course of a take, with segments that suit it rather than the RBW that was asked for."""

    def __init__(self, take: Take, settings: LookSettings) -> None:
        segment = course_segment(round(take.seconds * take.rate_hz) or None)
        finer = replace(settings.spectrum, segment=segment, rbw_hz=None, holds=False)
        self._recorder = CourseRecorder(
            finer,
            rate_hz=take.rate_hz,
            center_hz=take.center_hz,
            seconds=take.seconds or None,
        )
        self._welch = Welch(
            finer, rate_hz=take.rate_hz, center_hz=take.center_hz, observers=[self._recorder]
        )

    def push(self, block: IQBlock) -> None:
        self._welch.push(block)

    def result(self) -> Course:
        self._welch.result()  # takes in the last segments
        return self._recorder.result()


def _choose(
    summits: Sequence[Summit], spectrum: Spectrum, windows: Sequence[Window]
) -> tuple[Summit, ...]:
    """All summits for a look; for a probe those in its windows, and the strongest ones, by
    which images and overload products are known."""
    if not windows:
        return tuple(summits[:MOST_PEAKS])
    strongest, per_window = 8, 8
    chosen = set(summits[:strongest])
    for window in windows:
        inside = [
            summit
            for summit in summits
            if window.low_hz - spectrum.rbw_hz
            <= spectrum.first_hz + summit.bin * spectrum.bin_hz
            <= window.high_hz + spectrum.rbw_hz
        ]
        chosen.update(inside[:per_window])
    return tuple(summit for summit in summits if summit in chosen)


def _presences(take: Take, view: View, peaks: Sequence[Peak | None]) -> tuple[Presence | None, ...]:
    """Follow each chosen peak in time, with a filter that its modulation passes."""
    spectrum = view.spectrum
    followed = {
        peak: (Zoom([peak.indicated_hz], hop=_presence_hop(peak, view)), PowerCourse(take.seconds))
        for peak in peaks
        if peak is not None
    }
    if followed:
        for block in take.blocks():
            for zoom, course in followed.values():
                for (stretch,) in zoom.push(block):
                    course.take_in(stretch)
    found: list[Presence | None] = []
    for peak in peaks:
        if peak is None:
            found.append(None)
            continue
        zoom, course = followed[peak]
        for (stretch,) in zoom.finish():
            course.take_in(stretch)
        at = round((peak.indicated_hz - spectrum.first_hz) / spectrum.bin_hz)
        density = float(view.floor.density[min(max(at, 0), spectrum.psd.size - 1)])
        found.append(course.presence(noise_density=density))
    return tuple(found)


def _presence_hop(peak: Peak, view: View) -> int:
    """Frames so fast that 99 % of the line's own power lies within a quarter of their rate."""
    spectrum = view.spectrum
    at = (peak.indicated_hz - spectrum.first_hz) / spectrum.bin_hz
    owner = min(view.summits, key=lambda c: 0 if c.first <= at <= c.last else abs(c.bin - at))
    run = [c for c in view.summits if c.run == owner.run]
    bins = np.arange(min(c.first for c in run), max(c.last for c in run) + 1)
    over = np.maximum(spectrum.psd[bins] - view.floor.density[bins], 0.0)
    order = np.argsort(np.abs(bins - at))
    share = np.cumsum(over[order]) / max(float(over.sum()), 1e-300)
    reach = float(np.abs(bins[order] - at)[int(np.searchsorted(share, 0.99))])
    fastest_hz = 4.0 * max(reach, 2.0) * spectrum.bin_hz
    return max(MIN_HOP, int(spectrum.rate_hz / fastest_hz))


def _as_look(survey: _Survey, settings: LookSettings, correction: Correction) -> Look:
    spectrum, floor = survey.view.spectrum, survey.view.floor
    middle = slice(spectrum.psd.size // 10, spectrum.psd.size - spectrum.psd.size // 10)
    result = LookResult(
        center_hz=spectrum.center_hz,
        rate_hz=spectrum.rate_hz,
        seconds=spectrum.seconds,
        rbw_hz=spectrum.rbw_hz,
        averages=spectrum.averages,
        window=spectrum.window,
        noise_dbfs_per_hz=to_db(float(np.median(floor.density[middle]))),
        false_alarm_rate=settings.false_alarm_rate,
        peaks=tuple(see(peak, correction) for peak in survey.view.peaks),
    )
    return Look(
        result=result,
        spectrum=spectrum,
        noise=floor.density,
        threshold=floor.threshold,
        course=survey.course,
        cautions=survey.cautions,
    )


def _why_out_of_view(line: Expected, info: SourceInfo) -> str:
    if info.tunable and info.range_hz is not None:
        low, high = (format_frequency(hz) for hz in info.range_hz)
        return f"outside what this source can tune, {low} to {high}"
    held = ", ".join(
        f"{format_frequency(center - info.rate_hz / 2)} to "
        f"{format_frequency(center + info.rate_hz / 2)}"
        for center in info.centers_hz
    )
    return f"not in this recording, which holds {held}"
