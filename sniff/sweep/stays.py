"""Short stays at what stood out: each line off the centre, its frequency with an honest u."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt

from calib.correction import Correction
from sniff.look import see
from sniff.model import NOT_SIGNALS, Caution, Doubles, Peak, Source
from sniff.peaks import would_see_ratio
from sniff.resolution import SpectrumSettings
from sniff.survey import LookSettings, view_of
from sniff.sweep.candidates import Candidate
from sniff.sweep.folding import Folding, marked_images
from sniff.sweep.hops import HopPlan, SweepSettings
from sniff.sweep.swept import Stay, SweptLine
from sniff.tuning import Tuning
from sniff.units import to_db

_STAY_SEGMENT = 4096
_STAY_AVERAGES = 16
_FINER = 4
_ONE_LINE_RBW = 0.5
_RIPPLE = 10.0  # valley ratio below which summits of one run, not looked at again, are one signal


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One stay: which candidates it is for, and what it showed.

    Attributes
    ----------
    numbers : tuple of int
        Of the candidates.
    would_see_dbfs : tuple of float
        Level at which each would have been seen there.
    peaks : tuple of Peak
        All that was refined there.
    seconds : float
        How long it was listened to, s.
    """

    numbers: tuple[int, ...]
    would_see_dbfs: tuple[float, ...]
    peaks: tuple[Peak, ...]
    seconds: float


def stay(
    source: Source,
    tuning: Tuning,
    candidates: Sequence[Candidate],
    plan: HopPlan,
    settings: SweepSettings,
    shape: Doubles | None = None,
) -> Visit:
    """Tune there, listen, and refine what its windows hold; levels equalised by the shape.

    Raises
    ------
    SourceError
        When the source fails.
    UsageError
        When the stay is too short for its spectrum.
    """
    windows = [candidates[number].window for number in tuning.windows]
    source.tune(tuning.center_hz)
    info = source.info
    seconds = settings.stay_s if info.tunable else None
    take = source.take(seconds=seconds)
    try:
        view = view_of(
            take, info, _look_settings(plan, settings, take.seconds or seconds), *windows
        )
    finally:
        # A live take lies on the disk, and there may be many; a recording's has nothing to close.
        getattr(take, "close", lambda: None)()
    power = view.floor.density * view.spectrum.rbw_hz * would_see_ratio(view.spectrum, view.floor)
    places = [(window.middle_hz - view.spectrum.first_hz) / plan.rate_hz for window in windows]
    return Visit(
        numbers=tuning.windows,
        would_see_dbfs=tuple(
            to_db(float(power[min(max(round(place * power.size), 0), power.size - 1)]))
            for place in places
        ),
        peaks=tuple(_equalised(peak, view.spectrum.center_hz, plan, shape) for peak in view.peaks),
        seconds=take.seconds,
    )


def _equalised(peak: Peak, center_hz: float, plan: HopPlan, shape: Doubles | None) -> Peak:
    if shape is None:
        return peak
    place = round((peak.indicated_hz - center_hz) / plan.bin_hz) + plan.half_bins
    gain = float(shape[min(max(place, 0), shape.size - 1)])
    return replace(peak, level_dbfs=peak.level_dbfs - to_db(gain))


def _look_settings(plan: HopPlan, settings: SweepSettings, seconds: float | None) -> LookSettings:
    """Finer than the sweep, so that a weak line stands out the better, and refines well."""
    segment = plan.spectrum.segment or _STAY_SEGMENT
    longest = max(_STAY_SEGMENT, _FINER * segment)
    if seconds is not None:
        longest = min(longest, int(seconds * plan.rate_hz / _STAY_AVERAGES))
    while 2 * segment <= longest:
        segment *= 2
    return LookSettings(
        spectrum=SpectrumSettings(window=settings.window, segment=segment),
        false_alarm_rate=settings.false_alarm_rate,
    )


def lines_of(
    candidates: Sequence[Candidate],
    visits: Sequence[Visit],
    correction: Correction,
    *,
    u_center_hz: float = 0.0,
    folding: Folding | None = None,
) -> tuple[SweptLine, ...]:
    """Each line once: candidates that the stays found to be one are one.

    A peak belongs to the nearest candidate in whose window it lies. A candidate that no peak
    belongs to was part of its neighbour when that one's window or run holds a peak: the ripple of
    a modulated signal, the shoulder of a strong line. Else it is gone.

    Parameters
    ----------
    candidates : sequence of Candidate
    visits : sequence of Visit
    correction : Correction
        Applied once, here.
    u_center_hz : float
        As in `SourceInfo`; of lines that were not stayed at, Hz.
    folding : Folding, optional
        By which those that are gone are known for images of stronger lines.
    """
    peaks = _owned(candidates, visits)
    would_see = {
        number: level
        for visit in visits
        for number, level in zip(visit.numbers, visit.would_see_dbfs, strict=True)
    }
    found_runs = {candidates[number].run for number, mine in peaks.items() if mine}
    lines: list[SweptLine] = []
    listed_runs = set(found_runs)
    for number, candidate in enumerate(candidates):
        mine = peaks.get(number, [])
        if mine:
            best = max(mine, key=_rank)
            lines.append(_line(best, candidate, Stay.REFINED, correction, beside=len(mine) - 1))
            continue
        if number in would_see:
            if candidate.run in found_runs or _is_beside(candidate, candidates, peaks):
                continue
            weak = candidate.level_dbfs < would_see[number]
            state = Stay.TOO_WEAK if weak else Stay.GONE
        else:
            if candidate.run in listed_runs and candidate.valley_ratio < _RIPPLE:
                continue
            state = Stay.NONE
        listed_runs.add(candidate.run)
        lines.append(_line(_own_peak(candidate, u_center_hz), candidate, state, correction))
    once = _each_once(lines, candidates[0].rbw_hz) if lines else ()
    return once if folding is None else marked_images(once, folding)


def stay_cautions(
    candidates: Sequence[Candidate], stayed: int, *, asked: bool
) -> tuple[Caution, ...]:
    """What to know of lines that were not stayed at."""
    left = len([candidate for candidate in candidates if not candidate.momentary]) - stayed
    if left <= 0:
        return ()
    why = f"only {stayed} lines were" if asked else "no line was"
    more = " more" if stayed else ""
    good = f"frequency of one{more} is" if left == 1 else f"frequencies of {left}{more} are"
    text = f"{why} looked at again; the {good} good to the RBW only"
    return (Caution(code="not-refined", text=text),)


def _rank(peak: Peak) -> tuple[bool, float]:
    return not NOT_SIGNALS.intersection(peak.marks), peak.level_dbfs


def _owned(candidates: Sequence[Candidate], visits: Sequence[Visit]) -> dict[int, list[Peak]]:
    """The peaks of each candidate, by its number."""
    owned: dict[int, list[Peak]] = {}
    for visit in visits:
        for peak in visit.peaks:
            offers = [
                (abs(peak.indicated_hz - candidates[number].indicated_hz), number)
                for number in visit.numbers
                if _holds(candidates[number], peak)
            ]
            if offers:
                owned.setdefault(min(offers)[1], []).append(peak)
    return owned


def _holds(candidate: Candidate, peak: Peak) -> bool:
    return candidate.window.low_hz <= peak.indicated_hz <= candidate.window.high_hz


def _each_once(lines: list[SweptLine], rbw_hz: float) -> tuple[SweptLine, ...]:
    """Two stays may have shown one line; the sweep cannot part two that are so near."""
    kept: list[SweptLine] = []
    for line in sorted(lines, key=lambda line: -line.level_dbfs):
        near = (
            abs(line.indicated_hz - other.indicated_hz) < _ONE_LINE_RBW * rbw_hz for other in kept
        )
        if not any(near):
            kept.append(line)
    return tuple(kept)


def _is_beside(
    candidate: Candidate,
    candidates: Sequence[Candidate],
    peaks: Mapping[int, Sequence[Peak]],
) -> bool:
    """Whether a neighbour's line lies within this one's window: it was that line all along."""
    return any(
        _holds(candidate, peak)
        for number, mine in peaks.items()
        if candidates[number] is not candidate
        for peak in mine
    )


def _own_peak(candidate: Candidate, u_center_hz: float) -> Peak:
    """What the sweep alone tells of a line: it is somewhere within one RBW of its top."""
    return Peak(
        indicated_hz=candidate.indicated_hz,
        u_indicated_hz=sqrt(candidate.rbw_hz**2 / 3.0 + u_center_hz**2),
        level_dbfs=candidate.level_dbfs,
        snr_db=candidate.snr_db,
        width_hz=0.0,
        steady=False,
    )


def _line(
    peak: Peak, candidate: Candidate, state: Stay, correction: Correction, *, beside: int = 0
) -> SweptLine:
    seen = see(peak, correction)
    return SweptLine(
        frequency_hz=seen.frequency_hz,
        u_hz=seen.u_hz,
        indicated_hz=seen.indicated_hz,
        u_indicated_hz=seen.u_indicated_hz,
        level_dbfs=seen.level_dbfs,
        snr_db=seen.snr_db,
        width_hz=seen.width_hz,
        steady=seen.steady,
        marks=seen.marks,
        stay=state,
        hops=candidate.hops,
        once=candidate.once,
        momentary=candidate.momentary,
        beside=beside,
    )
