"""The pipeline: from a take to a look, from a source and expected lines to a line board."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calib.correction import Correction
from sniff.board import Board, BoardLine
from sniff.concluding import conclude, concluded_again
from sniff.errors import SourceError, UsageError
from sniff.look import Look, LookResult, see
from sniff.model import Caution, Source, SourceInfo, Take
from sniff.presences import presences
from sniff.probe import judge, out_of_view, pick, search_half_width_hz, search_window
from sniff.prove import Trial, prove
from sniff.reach import out_of_reach
from sniff.strength import Placing, against_plan, against_sibling
from sniff.superhet.at_place import LineThere
from sniff.superhet.expected import Expected
from sniff.survey import CUT_SHORT, LookSettings, Survey, examine
from sniff.tuning import choose_tunings
from sniff.units import Tolerance, to_db

_PROVE_RBW = 13.7
_PROVE_GAIN_DB = 6.0


def look(take: Take, info: SourceInfo, settings: LookSettings, correction: Correction) -> Look:
    """See what one take holds.

    Raises
    ------
    UsageError
        When the take is shorter than one segment, or the RBW is out of reach.
    SourceError
        When the source fails.
    """
    return _as_look(examine(take, info, settings, windows=()), settings, correction)


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
    first = examine(source.take(seconds=seconds), info, settings, windows=())
    plain = replace(settings, course=False)
    trials: list[Trial] = []

    def again(*, less_gain_db: float) -> Trial:
        survey = examine(source.take(seconds=seconds), source.info, plain, windows=())
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
            survey = examine(take, source.info, settings, windows=inside)
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
        there = presences(take, survey.view, peaks)
        for number, peak, presence in zip(tuning.windows, peaks, there, strict=True):
            rows[number] = judge(
                lines[number],
                half_width_hz=widths[number],
                view=survey.view,
                peak=peak,
                presence=presence,
                correction=correction,
            )
        looks.append(_as_look(survey, settings, correction))
        cautions += survey.cautions
    for number, line in enumerate(lines):
        if number not in rows:
            rows[number] = out_of_view(
                line, half_width_hz=widths[number], why=out_of_reach(source.info)
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


def _as_look(survey: Survey, settings: LookSettings, correction: Correction) -> Look:
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
