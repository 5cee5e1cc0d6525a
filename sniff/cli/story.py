"""The story that ``sniff demo`` tells: a deaf receiver, its working sibling, and the repair."""

from dataclasses import dataclass
from math import log
from pathlib import Path

from calib.correction import Correction
from sniff.board import Board, LineState
from sniff.errors import SourceError
from sniff.look import SeenLine
from sniff.model import SourceInfo
from sniff.pipeline import compare_with_sibling, look, probe
from sniff.report.board_text import print_board
from sniff.report.plots import draw_board, draw_course, save
from sniff.report.text import console, table
from sniff.resolution import SpectrumSettings
from sniff.sources.opening import open_source
from sniff.sources.shipped import shipped_recordings
from sniff.superhet.expected import expected_lines, radiated_lines
from sniff.superhet.infer import infer
from sniff.superhet.plan import Plan, Side, carry
from sniff.superhet.seen import Seen
from sniff.survey import LookSettings
from sniff.units import (
    format_frequency,
    format_reading,
    format_seconds,
    format_span,
    parse_tolerance,
)

_CLOCK = Correction(ppm=28.8, u_ppm=0.3, origin="calibrated on the bench that morning")
_SETTINGS = LookSettings(spectrum=SpectrumSettings(segment=4096, holds=True), course=True)
_SIBLING_CARRIER_HZ = 74.7e6
_PLAN = Plan(
    carrier_hz=72.9e6,
    if_hz=10.7e6,
    side=Side.HIGH,
    multiplier=3,
    tolerance=parse_tolerance("50ppm"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Probed:
    board: Board
    info: SourceInfo


def tell(out: Path) -> None:
    """Run the whole job on the shipped recordings and print it as a technician would tell it.

    Raises
    ------
    SourceError
        When the recordings are missing or `out` cannot be written.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SourceError(
            f"{out}: cannot be made: {error.strerror}; choose another --out"
        ) from None
    say = console().print
    say("A museum's tour-guide receivers. One, on 72.9 MHz, is deaf; its sibling on 74.7 MHz")
    say("works. No schematic. All of it is invented, and simulated; the tool does not know.")

    say("\n[bold]1. What is inside? Ask the working sibling[/]\n")
    _ask_the_sibling()

    say("\n[bold]2. So which lines should the deaf one show?[/]\n")
    lines = radiated_lines(_PLAN)
    say(
        table(
            ["line", "expected", "may be off", "<how it comes about"],
            [
                (
                    line.name,
                    format_frequency(line.expected_hz),
                    f"± {format_span(line.tolerance_hz)}",
                    line.formula,
                )
                for line in lines
            ],
        )
    )

    say("\n[bold]3. As it came: a loop of coax by the oscillator[/]\n")
    sibling = _probe("tour-guide-good", carry(_PLAN, _SIBLING_CARRIER_HZ))
    arrival = _probe("tour-guide-deaf", _PLAN)
    arrival = _against(arrival, sibling)
    print_board(arrival.board, arrival.info, _CLOCK)
    say("\nThe course of the LO shows it at a glance: the picture course-arrival.png.")

    say("\n[bold]4. After a cracked joint was soldered anew[/]\n")
    after = _against(_probe("tour-guide-mended", _PLAN), sibling)
    print_board(after.board, after.info, _CLOCK)

    say("\n[bold]5. What may be said[/]\n")
    _conclude(arrival.board, after.board)

    for name, probed in (("arrival", arrival), ("after", after)):
        save(draw_board(probed.board, clock=_CLOCK), out / f"board-{name}.png")
        course = probed.board.looks[0].course
        if course is not None:
            picture = draw_course(
                course, board=probed.board, line=probed.board.result.lines[0], clock=_CLOCK
            )
            save(picture, out / f"course-{name}.png")
    say(f"\nPictures: {', '.join(sorted(path.name for path in out.glob('*.png')))} in {out}/")


def _ask_the_sibling() -> None:
    say = console().print
    carrier, lo = (_strongest("tour-guide-good", center_hz) for center_hz in (74.66e6, 85.36e6))
    for name, line in (("carrier", carrier), ("leakage", lo)):
        say(f"Strongest {name:8} {format_reading(line.frequency_hz, line.expanded_hz)}")
    answer = infer(
        [
            Seen(
                frequency_hz=line.frequency_hz,
                u_hz=line.u_indicated_hz,
                u_clock_ppm=_CLOCK.u_ppm,
            )
            for line in (carrier, lo)
        ],
        carriers_hz=[_SIBLING_CARRIER_HZ],
        tolerance=_PLAN.allowed,
    )
    best = answer.candidates[0]
    assert best.if_hz is not None
    assert best.side is not None
    say(
        f"That is an IF of {format_frequency(best.if_hz)} with the LO on the {best.side.value} "
        f"side, {format_span(abs(best.injection_error_hz or 0.0))} off; all other explanations "
        "fit worse."
    )


def _strongest(name: str, near_hz: float) -> SeenLine:
    source = open_source(str(shipped_recordings() / f"{name}.sigmf-meta"))
    try:
        center_hz = min(source.info.centers_hz, key=lambda center: abs(center - near_hz))
        source.tune(center_hz)
        found = look(source.take(seconds=None), source.info, _SETTINGS, _CLOCK)
        return next(line for line in found.result.peaks if not line.marks)
    finally:
        source.close()


def _probe(name: str, plan: Plan) -> _Probed:
    source = open_source(str(shipped_recordings() / f"{name}.sigmf-meta"))
    try:
        # The recordings hold the LO and the crystal; the demo asks for no more.
        lines = [line for line in expected_lines(plan) if line.role.value in ("lo", "crystal")]
        board = probe(source, lines, settings=_SETTINGS, correction=_CLOCK)
        return _Probed(board=board, info=source.info)
    finally:
        source.close()


def _against(probed: _Probed, sibling: _Probed) -> _Probed:
    return _Probed(board=compare_with_sibling(probed.board, sibling.board), info=probed.info)


def _conclude(arrival: Board, after: Board) -> None:
    say = console().print
    before, now = arrival.result.lines[0], after.result.lines[0]
    seconds = after.looks[0].result.seconds
    say(f"Before: the {before.name} was {before.state.value}: {before.why}.")
    say(f"Now: it is {now.state.value}: {now.why}.")
    if now.state is LineState.PRESENT:
        # No event in T: the rate is below −ln(0.05)/T with 95 % confidence (NIST/SEMATECH
        # e-Handbook of Statistical Methods, 8.3.1.2).
        limit_per_s = -log(0.05) / seconds
        say(
            f"Mended? {format_seconds(seconds)} without a drop-out tell, with 95 % confidence, no "
            f"more than this: on average it drops out less than once in "
            f"{format_seconds(1 / limit_per_s)}. Soak it for hours before saying more."
        )
