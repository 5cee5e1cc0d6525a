"""The work of ``sniff probe``: the set, its sibling, and the showing of the board."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from calib.correction import Correction
from sniff.board import Board, BoardLine, BoardVerdict
from sniff.cli.filing import Filing
from sniff.cli.levels import level_points
from sniff.cli.placing import NotPlacedError
from sniff.cli.repeating import ENDED, Placings, placings_of, refuse_kept, why_ended
from sniff.cli.running import (
    all_cautions,
    as_for_recording,
    budgets_if_asked,
    exit_code,
    explained,
    say_unless_quiet,
)
from sniff.errors import BenchError, UsageError
from sniff.levelling import board_in_dbm
from sniff.look import SeenLine
from sniff.model import Caution, Course, SourceInfo
from sniff.pipeline import compare_with_plan, compare_with_sibling
from sniff.placings import PlacingSpread, measured_spread
from sniff.report.board_text import print_board
from sniff.report.budget_text import print_budgets
from sniff.report.envelope import envelope
from sniff.sources.opening import is_live
from sniff.strength import U_GAIN_DB, Placing, at_gain, gain_step_db
from sniff.superhet.at_place import LineThere, lines_at, place_named
from sniff.superhet.expected import Expected, plan_cautions, radiated_lines
from sniff.superhet.place import checked_name
from sniff.superhet.plan import Plan, carry

NO_LEVELS = "there are no levels of the sibling"
_EXITS = {BoardVerdict.AS_EXPECTED: 0, BoardVerdict.FAULT: 1, BoardVerdict.UNDECIDED: 3}


def probe_source(
    source: str, plan: Plan, given: Mapping[str, Any]
) -> tuple[Board, SourceInfo, Correction]:
    """Probe the set at a place of its board, and its sibling where one is named, placing the loop
    as often as asked."""
    if (given["sibling"] is None) != (given["sibling_carrier"] is None):
        raise UsageError("--sibling and --sibling-carrier go together")
    refuse_kept(given)
    name, there = _place(plan, given.get("at"))
    count = given.get("repeat") or 1
    own = placings_of(source, _lines(plan, there), given, place=name, count=count)
    board, said = own.board, plan_cautions(plan) + own.cautions
    sibling: Placings | None = None
    if given["sibling"] is not None and not own.ended:
        sibling, why_not = _of_the_sibling(plan, own, given, place=name, count=count)
        said += why_not
    spread = measured_spread(own.boards, () if sibling is None else sibling.boards)
    placing = _placing(spread, given)
    if there is not None:
        board = compare_with_plan(board, there, placing=placing)
    step_db = None if sibling is None else gain_step_db(own.info.gain_db, sibling.info.gain_db)
    if sibling is not None:
        board = compare_with_sibling(
            board,
            _at_gain(sibling.board, step_db or 0.0),
            placing=replace(placing, other_gain=bool(step_db)),
        )
    result = replace(
        board.result,
        place=name,
        placings=len(own.boards),
        sibling_placings=None if sibling is None else len(sibling.boards),
    )
    if spread is not None:
        result = replace(
            result,
            placing_sd_db=spread.sd_db,
            placing_degrees=spread.degrees,
            placing_lines=spread.lines,
        )
    board = replace(board, result=result)
    cautions = said + board.cautions + _levels_hold(board, placing, count, against=sibling)
    if sibling is not None and step_db:
        cautions += _other_gain(own.info, sibling.info)
    board = replace(board, cautions=tuple(dict.fromkeys(cautions)))
    return board, own.info, own.correction


def _place(plan: Plan, name: str | None) -> tuple[str | None, tuple[LineThere, ...] | None]:
    """What a place is called, and what the plan says of it; a plan without places knows none."""
    if name is None:
        return None, None
    name = checked_name(name)
    place = place_named(plan, name)
    return (name, None) if place is None else (place.name, lines_at(plan, place))


def _lines(plan: Plan, there: tuple[LineThere, ...] | None) -> list[Expected]:
    if there is not None:
        return [line.expected for line in there]
    return list(radiated_lines(plan))


def _of_the_sibling(
    plan: Plan, own: Placings, given: Mapping[str, Any], *, place: str | None, count: int
) -> tuple[Placings | None, tuple[Caution, ...]]:
    """The sibling at the same place; when nobody places the loop there, why there is none."""
    text = given["sibling"]
    plan = carry(plan, given["sibling_carrier"])
    _, there = _place(plan, place)
    words = _words_of_the_sibling(text, own.info, given)
    try:
        sibling = placings_of(
            text, _lines(plan, there), words, place=place, count=count, sibling=True
        )
    except (KeyboardInterrupt, NotPlacedError) as end:
        return None, (why_ended(end, NO_LEVELS),)
    except BenchError as end:
        if own.info.duration_s is not None:
            raise
        return None, (why_ended(end, NO_LEVELS),)  # the set's own, heard live, are not thrown away
    return sibling, plan_cautions(plan) + sibling.cautions


def _words_of_the_sibling(text: str, own: SourceInfo, given: Mapping[str, Any]) -> dict[str, Any]:
    """The options as they hold for the sibling; what is the set's own is left out."""
    # A sibling's raw recording would need a rate, centre and datatype of its own.
    left_out = ("center", "rate", "datatype", "plot", "keep_stem")
    other = {**given, **dict.fromkeys(left_out), "start": 0.0}
    kind = text.partition(":")[0]
    if kind == own.kind == "dongle" and own.gain_db is not None:
        other["gain"] = own.gain_db  # levels of two gains cannot be compared
    if is_live(text):
        return other
    return {**as_for_recording(other), "seconds": None}


def _placing(spread: PlacingSpread | None, given: Mapping[str, Any]) -> Placing:
    """By what levels may differ: as stated by hand, else as measured, else as is common."""
    stated_db: float | None = given.get("placement")
    return Placing(spread=spread) if stated_db is None else Placing(stated_db=stated_db)


def _at_gain(board: Board, step_db: float) -> Board:
    return replace(board, result=replace(board.result, lines=at_gain(board.result.lines, step_db)))


def _other_gain(own: SourceInfo, sibling: SourceInfo) -> tuple[Caution, ...]:
    text = (
        f"the sibling was heard at {sibling.gain_db:g} dB of gain, the set at {own.gain_db:g} dB: "
        f"levels are compared as if at one gain, and ±{2.0 * U_GAIN_DB:g} dB is added"
    )
    return (Caution(code="other-gain", text=text),)


def _levels_hold(
    board: Board, placing: Placing, count: int, *, against: Placings | None
) -> tuple[Caution, ...]:
    """For what the levels of a board hold."""
    said = []
    stated = any(line.stated_dbfs is not None for line in board.result.lines)
    others = [*(["the plan"] if stated else []), *(["the sibling"] if against else [])]
    if others:
        moves = f"±{placing.stated_db:g} dB"
        if placing.spread is not None:
            moves = "the placing spread, as measured"
        text = (
            f"levels against {' and '.join(others)} hold for the same gain and the same place of "
            f"the loop, within {moves}"
        )
        said.append(Caution(code="placement", text=text))
    if count > 1 and board.result.placing_sd_db is None:
        text = (
            "no line was seen steadily in two placings, so that it is not known how much placing "
            "the loop moves a level"
        )
        said.append(Caution(code="no-spread", text=text))
    return tuple(said)


def show_board(
    board: Board, info: SourceInfo, correction: Correction, given: Mapping[str, Any]
) -> int:
    """Print the board, file it, and draw its pictures; returns the exit code."""
    points = level_points(info, given)
    if points:
        in_dbm = board_in_dbm(board.result, points, gain_db=info.gain_db)
        board = replace(board, result=in_dbm)
    cautions = all_cautions(info, correction, board.cautions)
    told = envelope(
        "probe",
        board.result,
        source=info,
        correction=correction,
        cautions=cautions,
        budgets=budgets_if_asked(_lines_of(board, correction), info, correction, given),
    )
    if given["as_json"]:
        import click

        click.echo(told)
    else:
        print_board(board, info, correction)
        if given["budget"]:
            print_budgets(explained(_lines_of(board, correction), info, correction))
    code = exit_code(_EXITS[board.result.verdict], board.cautions)
    code = next((ENDED[each.code] for each in board.cautions if each.code in ENDED), code)
    with Filing(told, given, code, place=board.result.place) as filed:
        _draw(board, correction, given)
    say_unless_quiet(cautions, given)
    return filed.exit_code


def _draw(board: Board, correction: Correction, given: Mapping[str, Any]) -> None:
    if given["plot"] is None and given["course"] is None:
        return
    from sniff.report.plots import draw_board, draw_course, save

    if given["plot"] is not None:
        save(draw_board(board, clock=correction), given["plot"])
    course = _course_of_first_wanted(board, correction)
    if given["course"] is not None and course is not None:
        save(draw_course(course, board=board, clock=correction), given["course"])


def _lines_of(board: Board, correction: Correction) -> list[SeenLine]:
    """The lines of the looks from which the board's rows were read; means of several placings are
    in none of them."""
    if board.result.placings > 1:
        return [seen for line in board.result.lines if (seen := _as_seen(line, correction))]
    read = {line.frequency_hz for line in board.result.lines if line.frequency_hz is not None}
    return [line for look in board.looks for line in look.result.peaks if line.frequency_hz in read]


def _as_seen(line: BoardLine, correction: Correction) -> SeenLine | None:
    if line.frequency_hz is None or line.u_hz is None or line.level_dbfs is None:
        return None
    return SeenLine(
        frequency_hz=line.frequency_hz,
        u_hz=line.u_hz,
        indicated_hz=correction.indicate(line.frequency_hz),
        u_indicated_hz=line.u_indicated_hz or 0.0,
        level_dbfs=line.level_dbfs,
        snr_db=line.snr_db or 0.0,
        width_hz=0.0,
        steady=False,
    )


def _course_of_first_wanted(board: Board, correction: Correction) -> Course | None:
    """The course of the tuning that shows the line on which the verdict hangs first."""
    wanted = [line for line in board.result.lines if line.wanted] or list(board.result.lines)
    if not wanted or not board.looks:
        return None
    place_hz = correction.indicate(wanted[0].expected_hz)
    nearest = min(board.looks, key=lambda look: abs(look.spectrum.center_hz - place_hz))
    return nearest.course
