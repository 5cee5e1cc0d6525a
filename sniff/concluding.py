"""The verdict over a whole line board, and where the fault may lie."""

from collections.abc import Sequence
from dataclasses import replace
from math import hypot, sqrt

from sniff.board import BoardLine, BoardResult, BoardVerdict, LineState
from sniff.units import format_ppm
from sniff.verdict import Outcome

_DRIFTS_PPM = 1.0
"""A crystal may move so much from the moment its own line is read to that of its multiple: common
practice, no source."""

_MISSED_STEPS = 2.0
"""An absence of so many steps holds a whole one wherever it begins."""

_FAULTS = frozenset({LineState.WEAK, LineState.OFF_FREQUENCY, LineState.UNSTEADY, LineState.ABSENT})
_NOT_SEEN = frozenset({LineState.HIDDEN, LineState.OUT_OF_VIEW})


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


def concluded_again(result: BoardResult, lines: Sequence[BoardLine]) -> BoardResult:
    """The same board with other lines, and the verdict over these."""
    again = conclude(lines)
    return replace(result, verdict=again.verdict, why=again.why, lines=again.lines)


def _left_behind(crystal: BoardLine, driven: BoardLine) -> str:
    """That a line is not off as the crystal is that it comes from: a multiplier keeps the ppm."""
    if crystal.error_ppm is None or driven.error_ppm is None:
        return ""
    (own, clock), (own_driven, clock_driven) = _u_ppm(crystal), _u_ppm(driven)
    # The clock's error is one and the same, behind a converter as far as both are heard alike.
    u_ppm = hypot(own, own_driven, clock - clock_driven)
    if not has_left(driven.error_ppm - crystal.error_ppm, u_ppm):
        return ""
    return (
        f". Its crystal is not off so ({format_ppm(crystal.error_ppm, 2.0 * hypot(own, clock))}), "
        f"and the {driven.name} cannot leave it: another line may stand there; see with a narrower "
        "--search"
    )


def has_left(apart_ppm: float, u_ppm: float) -> bool:
    """Whether a line and its crystal are off by so different amounts that they cannot belong
    together.

    Parameters
    ----------
    apart_ppm, u_ppm : float
        The difference, and its standard uncertainty (k = 1), ppm.
    """
    return abs(apart_ppm) > 2.0 * u_ppm + _DRIFTS_PPM


def _u_ppm(line: BoardLine) -> tuple[float, float]:
    """Standard uncertainties of a line's error by its own reading and by the clock, ppm."""
    u_hz = line.u_hz or 0.0
    own_hz = min(u_hz, u_hz if line.u_indicated_hz is None else line.u_indicated_hz)
    clock_hz = sqrt(u_hz**2 - own_hz**2)
    return own_hz / line.expected_hz * 1e6, clock_hz / line.expected_hz * 1e6


def stayed_beside(line: BoardLine, restless: BoardLine) -> bool:
    """Whether a line is known to have stayed while another one was gone: it was followed closely
    enough to miss none of the other's longest absences."""
    if line.state is LineState.UNSTEADY or line.followed_step_s is None:
        return False
    if restless.longest_absence_s is None:
        return False
    return _MISSED_STEPS * line.followed_step_s <= restless.longest_absence_s


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
    if driven.state is LineState.OFF_FREQUENCY:
        return _left_behind(crystal, driven)
    runs = crystal.state in (LineState.PRESENT, LineState.OFF_FREQUENCY)
    if driven.state is LineState.ABSENT and runs:
        return ". The crystal oscillates: look between it and the mixer, at the multiplier first"
    if driven.state is LineState.ABSENT and crystal.state is LineState.ABSENT:
        return ". Its crystal is not heard either: look at the oscillator and its supply first"
    if driven.state is LineState.UNSTEADY and crystal.state is LineState.UNSTEADY:
        return ". Its crystal comes and goes too: look at the oscillator and its supply first"
    if driven.state is LineState.UNSTEADY and runs and stayed_beside(crystal, driven):
        return ". The crystal stayed: look between it and the mixer, at the multiplier first"
    return ""
