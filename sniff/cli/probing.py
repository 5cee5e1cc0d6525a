"""The work of ``sniff probe``: the set, its sibling, and the showing of the board."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from calib.correction import Correction
from sniff.board import Board, BoardVerdict
from sniff.cli.clocks import clock_for
from sniff.cli.filing import Filing
from sniff.cli.levels import level_points
from sniff.cli.running import (
    all_cautions,
    budgets_if_asked,
    exit_code,
    explained,
    look_settings,
    opened,
    say_unless_quiet,
    seconds_of,
)
from sniff.errors import UsageError
from sniff.levelling import board_in_dbm
from sniff.look import SeenLine
from sniff.model import Caution, Course, SourceInfo
from sniff.pipeline import compare_with_sibling, probe
from sniff.report.board_text import print_board
from sniff.report.budget_text import print_budgets
from sniff.report.envelope import envelope
from sniff.superhet.expected import expected_lines, plan_cautions
from sniff.superhet.plan import Plan, carry

_EXITS = {BoardVerdict.AS_EXPECTED: 0, BoardVerdict.FAULT: 1, BoardVerdict.UNDECIDED: 3}


def probe_source(
    source: str, plan: Plan, given: Mapping[str, Any]
) -> tuple[Board, SourceInfo, Correction]:
    """Probe the set, and its sibling where one is named."""
    if (given["sibling"] is None) != (given["sibling_carrier"] is None):
        raise UsageError("--sibling and --sibling-carrier go together")
    board, info, correction = _board(source, plan, given)
    if given["sibling"] is not None:
        other = _of_the_sibling(given["sibling"], given)
        sibling, _, _ = _board(given["sibling"], carry(plan, given["sibling_carrier"]), other)
        board = compare_with_sibling(board, sibling, placement_db=given["placement"])
        said = Caution(
            code="placement",
            text=f"levels against the sibling hold for the same gain and the same place of the "
            f"loop, within ±{given['placement']:g} dB",
        )
        board = Board(result=board.result, looks=board.looks, cautions=(*board.cautions, said))
    return board, info, correction


def _of_the_sibling(source: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """The options as they hold for the sibling; what is the set's own is left out."""
    # A sibling's raw recording would need a rate, centre and datatype of its own.
    own = ("center", "rate", "datatype", "plot", "keep_stem")
    other = {**given, **dict.fromkeys(own)}
    if source.partition(":")[0] in ("bench", "dongle"):
        return other
    # How long, and by which gain, was settled when it was recorded.
    other.update(seconds=None, start=0.0, gain=None, bandwidth=None, direct=None)
    other.update(bias=False, wait=False)
    return other


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
        budgets=budgets_if_asked(_lines_of(board), info, correction, given),
    )
    if given["as_json"]:
        import click

        click.echo(told)
    else:
        print_board(board, info, correction)
        if given["budget"]:
            print_budgets(explained(_lines_of(board), info, correction))
    code = exit_code(_EXITS[board.result.verdict], board.cautions)
    with Filing(told, given, code) as filed:
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


def _lines_of(board: Board) -> list[SeenLine]:
    """The lines of the looks from which the board's rows were read."""
    read = {line.frequency_hz for line in board.result.lines if line.frequency_hz is not None}
    return [line for look in board.looks for line in look.result.peaks if line.frequency_hz in read]


def _course_of_first_wanted(board: Board, correction: Correction) -> Course | None:
    """The course of the tuning that shows the line on which the verdict hangs first."""
    wanted = [line for line in board.result.lines if line.wanted] or list(board.result.lines)
    if not wanted or not board.looks:
        return None
    place_hz = correction.indicate(wanted[0].expected_hz)
    nearest = min(board.looks, key=lambda look: abs(look.spectrum.center_hz - place_hz))
    return nearest.course


def _board(
    source: str, plan: Plan, given: Mapping[str, Any]
) -> tuple[Board, SourceInfo, Correction]:
    lines = [line for line in expected_lines(plan) if line.radiated]
    with opened(source, given) as opened_source:
        correction, noted = clock_for(opened_source.info, given)
        board = probe(
            opened_source,
            lines,
            settings=look_settings(given),
            correction=correction,
            search=given["search"],
            seconds=seconds_of(opened_source.info, given),
            start_s=given["start"],
        )
        info = opened_source.info
    cautions = plan_cautions(plan) + noted + board.cautions
    return Board(result=board.result, looks=board.looks, cautions=cautions), info, correction
