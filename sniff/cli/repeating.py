"""Probe a set as often as the loop is placed; what was measured stays, whatever ends it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import click

from calib.correction import Correction
from sniff.board import Board
from sniff.cli.clocks import clock_for
from sniff.cli.placing import NotPlacedError, find_gain_again, is_recorded, placed
from sniff.cli.running import look_settings, opened, seconds_of
from sniff.errors import SourceError, UsageError
from sniff.model import Caution, Source, SourceInfo
from sniff.pipeline import probe
from sniff.placings import combined
from sniff.superhet.expected import Expected
from sniff.survey import CUT_SHORT
from sniff.units import format_dbfs, format_times

INTERRUPTED = "interrupted"
NOT_PLACED = "not-placed"
ENDED = {INTERRUPTED: 130, NOT_PLACED: 2}
"""Exit codes of a probe that was ended between two placings, by its caution."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placings:
    """All placings of the loop at one set.

    Attributes
    ----------
    boards : tuple of Board
        One for each placing.
    info : SourceInfo
    correction : Correction
    cautions : tuple of Caution
        Of the clock, and why there are fewer than were asked for.
    """

    boards: tuple[Board, ...]
    info: SourceInfo
    correction: Correction
    cautions: tuple[Caution, ...]

    @property
    def board(self) -> Board:
        """One board of them all."""
        return combined(self.boards, u_center_hz=self.info.u_center_hz)

    @property
    def ended(self) -> bool:
        """Whether the user ended it."""
        return any(caution.code in ENDED for caution in self.cautions)


def placings_of(
    text: str,
    lines: Sequence[Expected],
    given: Mapping[str, Any],
    *,
    place: str | None,
    count: int,
    sibling: bool = False,
) -> Placings:
    """Open a source and probe it.

    Parameters
    ----------
    text : str
        As after ``--from``.
    lines : sequence of Expected
    given : mapping
        The options, as they hold for this set.
    place : str or None
        Where on the board.
    count : int
        How often the loop is placed.
    sibling : bool
        Whether it is the sibling: the loop must come over to it, so that its place is asked for
        even once; and a recording of it is one placing, however often the set's loop is placed.

    Raises
    ------
    UsageError
        When a recording is to be placed again, or nobody answers for the first placing.
    SourceError
        As `probe`, in the first placing.
    """
    with opened(text, given) as source:
        correction, noted = clock_for(source.info, given)
        what = "the sibling" if sibling else "the set"
        if count > 1 and is_recorded(source):
            if not sibling:
                raise UsageError(
                    f"{source.info.name}: in a recording the loop cannot be placed again; leave "
                    "--repeat out, or give 'sniff compare' one recording for each placing"
                )
            count = 1
        boards: list[Board] = []
        ended: tuple[Caution, ...] = ()
        for number in range(1, count + 1):
            try:
                if count > 1 or sibling or (place is not None and source.info.kind == "bench"):
                    placed(source, what=what, place=place, number=number, count=count)
                    if number == 1:
                        find_gain_again(source, given["gain"])
                boards.append(_board(source, lines, given, correction))
            except (KeyboardInterrupt, NotPlacedError, SourceError) as end:
                if not boards:
                    raise
                done = format_times(number - 1)
                ended = (why_ended(end, f"the loop was placed {done}, not {count} times"),)
                break
            if count > 1 and source.info.kind == "dongle" and not given["quiet"]:
                click.echo(f"Placing {number} of {count}: {_levels(boards[-1])}", err=True)
        return Placings(
            boards=tuple(boards),
            info=source.info,
            correction=correction,
            cautions=noted + ended,
        )


def refuse_kept(given: Mapping[str, Any]) -> None:
    """Refuse to keep the samples of several placings in one recording.

    Raises
    ------
    UsageError
    """
    if given.get("keep_stem") is not None and (given.get("repeat") or 1) > 1:
        raise UsageError(
            "--keep-iq keeps one placing of the loop: leave --repeat out, or record each placing"
        )


def _board(
    source: Source, lines: Sequence[Expected], given: Mapping[str, Any], correction: Correction
) -> Board:
    return probe(
        source,
        lines,
        settings=look_settings(given),
        correction=correction,
        search=given["search"],
        seconds=seconds_of(source.info, given),
        start_s=given["start"],
    )


def why_ended(end: BaseException, so_far: str) -> Caution:
    """That somebody, or the source, ended it, and how far it came."""
    if isinstance(end, NotPlacedError):
        return Caution(code=NOT_PLACED, text=f"{so_far}: {end}")
    if isinstance(end, KeyboardInterrupt):
        return Caution(code=INTERRUPTED, text=f"interrupted: {so_far}")
    return Caution(code=CUT_SHORT, text=f"cut short, {so_far}: {end}")


def _levels(board: Board) -> str:
    shown = [line for line in board.result.lines if line.wanted or line.level_dbfs is not None]
    return ", ".join(f"{line.name} {_level(line.level_dbfs) or line.state.value}" for line in shown)


def _level(level_dbfs: float | None) -> str:
    return "" if level_dbfs is None else format_dbfs(level_dbfs)
