"""Compare two sets, place by place."""

from collections.abc import Sequence
from math import hypot

from sniff.board import BoardLine, LineState
from sniff.compare.doubts import U_CLOCK_MOVES_PPM, Clocks, LevelDoubts, pooled
from sniff.compare.nouns import (
    ComparedLine,
    Comparison,
    ComparisonResult,
    ComparisonVerdict,
    Pair,
    PlaceComparison,
    Sight,
)
from sniff.compare.others import compare_others
from sniff.compare.overloaded import without_levels
from sniff.compare.planned import Doubts, compare_planned
from sniff.compare.settings import CompareSettings
from sniff.compare.verdict import concluded, in_one_sentence
from sniff.concluding import stayed_beside
from sniff.model import Caution
from sniff.strength import U_GAIN_DB


def compare(pairs: Sequence[Pair], settings: CompareSettings) -> Comparison:
    """Compare a suspect against a known-good set.

    Parameters
    ----------
    pairs : sequence of Pair
        Both sets, at each place; at least one.
    settings : CompareSettings

    Returns
    -------
    Comparison
    """
    if not pairs:
        raise ValueError("a comparison needs at least one pair")
    spread = pooled(pair.spread for pair in pairs)
    count = sum(_compared_levels(pair) for pair in pairs)
    places: list[PlaceComparison] = []
    lines: list[ComparedLine] = []
    for pair in pairs:
        levels = LevelDoubts(
            spread=spread, lines=count, settings=settings, other_gain=pair.gain_step_db != 0.0
        )
        rows = _rows(pair, levels, settings)
        places.append(_place(pair, rows, levels, settings))
        lines += rows
    first = pairs[0]
    result = ComparisonResult(
        verdict=_overall(places),
        sentence=in_one_sentence(places),
        good=first.good.source,
        suspect=first.suspect.source,
        good_carrier_hz=first.good.carrier_hz,
        suspect_carrier_hz=first.suspect.carrier_hz,
        shift_hz=_shift_hz(first),
        agree_ppm=settings.agree_ppm,
        one_clock=settings.one_clock,
        false_alarm_rate=settings.false_alarm_rate,
        places=tuple(places),
        lines=tuple(lines),
    )
    cautions = [said for pair in pairs for said in _cautions(pair, settings)]
    return Comparison(result=result, pairs=tuple(pairs), cautions=tuple(dict.fromkeys(cautions)))


def _rows(pair: Pair, levels: LevelDoubts, settings: CompareSettings) -> list[ComparedLine]:
    clocks = Clocks(
        good=pair.good.correction, suspect=pair.suspect.correction, one_clock=settings.one_clock
    )
    doubts = Doubts(
        levels=levels,
        clocks=clocks,
        agree_ppm=settings.agree_ppm,
        gain_step_db=pair.gain_step_db,
    )
    good = {line.name: line for line in _board_lines(pair.good)}
    rows = [
        compare_planned(good[line.name], line, place=pair.place, doubts=doubts)
        for line in _board_lines(pair.suspect)
        if line.name in good
    ]
    rows += compare_others(pair, shift_hz=_shift_hz(pair), doubts=doubts)
    return without_levels(rows, pair)


def _place(
    pair: Pair, rows: Sequence[ComparedLine], levels: LevelDoubts, settings: CompareSettings
) -> PlaceComparison:
    doubt = levels.of(pair.good.placings, pair.suspect.placings)
    restless = {line.name for line in _board_lines(pair.good) if line.state is LineState.UNSTEADY}
    verdict, sentence = concluded(
        rows,
        doubt=doubt,
        agree_ppm=settings.agree_ppm,
        planned=pair.suspect.board is not None,
        restless=restless,
        stayed=_stayed(pair.suspect),
    )
    return PlaceComparison(
        place=pair.place,
        verdict=verdict,
        sentence=sentence,
        good_placings=pair.good.placings,
        suspect_placings=pair.suspect.placings,
        u_difference_db=doubt.u_db,
        expanded_difference_db=doubt.expanded_db,
        degrees=doubt.degrees,
        weak_below_db=doubt.limit_db,
        would_tell_db=doubt.would_tell_db,
    )


def _stayed(sight: Sight) -> set[str]:
    """Lines that are known to have stayed while others of the set were gone."""
    lines = _board_lines(sight)
    restless = [line for line in lines if line.state is LineState.UNSTEADY]
    return {line.name for line in lines if all(stayed_beside(line, gone) for gone in restless)}


def _board_lines(sight: Sight) -> tuple[BoardLine, ...]:
    return () if sight.board is None else sight.board.lines


def _compared_levels(pair: Pair) -> int:
    """How many differences of level are judged: of them none should be "weak" by chance."""
    good = {line.name for line in _board_lines(pair.good) if line.level_dbfs is not None}
    planned = sum(line.name in good for line in _board_lines(pair.suspect))
    if pair.suspect.board is not None:
        return planned
    sights = (pair.good, pair.suspect)
    return min(sum(len(look.result.peaks) for look in sight.looks) for sight in sights)


def _shift_hz(pair: Pair) -> float | None:
    if pair.good.carrier_hz is None or pair.suspect.carrier_hz is None:
        return None
    return pair.suspect.carrier_hz - pair.good.carrier_hz


def _overall(places: Sequence[PlaceComparison]) -> ComparisonVerdict:
    found = {place.verdict for place in places}
    for verdict in (ComparisonVerdict.DIFFERS, ComparisonVerdict.UNDECIDED):
        if verdict in found:
            return verdict
    return ComparisonVerdict.ALIKE


def _cautions(pair: Pair, settings: CompareSettings) -> tuple[Caution, ...]:
    said = []
    apart_ppm = hypot(pair.good.correction.u_ppm, pair.suspect.correction.u_ppm)
    if not settings.one_clock and apart_ppm > U_CLOCK_MOVES_PPM:
        text = (
            "it is not known that one dongle measured both: the errors of both clocks count; if "
            "it was the same, say --one-clock"
        )
        said.append(Caution(code="two-clocks", text=text))
    if pair.good.carrier_hz is None or pair.suspect.carrier_hz is None:
        text = "no carriers were given: both sets are taken to be on the same frequency"
        said.append(Caution(code="no-carriers", text=text))
    if pair.good.gain_db is None or pair.suspect.gain_db is None:
        text = "the gain is not known of both: levels hold only if it was the same"
        said.append(Caution(code="gain-unknown", text=text))
    elif pair.gain_step_db:
        text = (
            f"the good set was heard at {pair.good.gain_db:g} dB of gain, the suspect at "
            f"{pair.suspect.gain_db:g} dB: levels are compared as if at one gain, and "
            f"±{2.0 * U_GAIN_DB:g} dB is added"
        )
        said.append(Caution(code="other-gain", text=text))
    return tuple(said)
