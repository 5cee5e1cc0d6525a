"""What one take shows: its spectrum, floor and lines, and what is to be said about them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from sniff.course import CourseRecorder, course_segment
from sniff.errors import SourceError, UsageError
from sniff.frontend import FrontEnd, RailCount, coarse_caution, mark
from sniff.measure import MOST_PEAKS, measure, refine_all, zoom_requests
from sniff.model import Caution, Course, IQBlock, Peak, SourceInfo, Spectrum, Take
from sniff.peaks import DEFAULT_FALSE_ALARM_RATE, Summit, find_summits, noise_floor
from sniff.probe import View
from sniff.resolution import SpectrumSettings
from sniff.spectrum import Welch
from sniff.tuning import Window

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
class Survey:
    """All that one take shows.

    Attributes
    ----------
    view : View
    course : Course, optional
        The spectrum against time, where the settings ask for it.
    cautions : tuple of Caution
        What was not observed, or is to be doubted.
    """

    view: View
    course: Course | None
    cautions: tuple[Caution, ...]


def examine(
    take: Take, info: SourceInfo, settings: LookSettings, *, windows: Sequence[Window]
) -> Survey:
    """See what one take shows; inside the windows a line is refined however weak it is.

    Parameters
    ----------
    take : Take
        Read twice: for the spectrum, and for the lines found in it.
    info : SourceInfo
    settings : LookSettings
    windows : sequence of Window
        None for all lines, the strongest first and no more than are worth listing.

    Raises
    ------
    UsageError
        When the take is shorter than one segment, or the RBW is out of reach.
    SourceError
        When the source fails before anything is seen.
    """
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
    return Survey(
        view=view,
        course=None if course is None else course.result(),
        cautions=tuple(cautions),
    )


def view_of(take: Take, info: SourceInfo, settings: LookSettings, *windows: Window) -> View:
    """The view alone, where nothing else of a survey counts.

    Raises
    ------
    UsageError, SourceError
        As `examine`.
    """
    return examine(take, info, settings, windows=windows).view


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
