"""Which part of which tuning shows which expected lines."""

from collections.abc import Sequence
from dataclasses import dataclass

from sniff.board import Board, BoardLine, LineState
from sniff.look import Look, SeenLine
from sniff.report.plots.axis import Scale
from sniff.report.plots.trace import span_hz

_MARGIN = 1.3
"""A panel reaches this many search windows to each side of its lines."""
_LEAST_BINS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A stretch of one tuning with the expected lines in it, lowest first."""

    look: Look
    lines: tuple[BoardLine, ...]
    low_hz: float
    high_hz: float


def panels_of(board: Board, scale: Scale) -> list[Panel]:
    """One panel for each line in view; lines whose stretches overlap share one.

    Returns
    -------
    list of Panel
        In the order in which the board names their first lines.
    """
    shown: list[Panel] = []
    for look in board.looks:
        mine = [line for line in board.result.lines if _look_of(line, board.looks, scale) is look]
        shown += _cut(look, sorted(mine, key=lambda line: line.expected_hz), scale)
    order = {id(line): number for number, line in enumerate(board.result.lines)}
    return sorted(shown, key=lambda panel: min(order[id(line)] for line in panel.lines))


def is_read_from(line: BoardLine, peak: SeenLine, look: Look) -> bool:
    """Whether a line's reading and a peak are one: closer than the spectrum can part two lines.

    They need not be equal, since an unsteady line is read from the time when it was there alone.
    """
    if line.frequency_hz is None:
        return False
    reach_hz = 2.0 * (look.spectrum.rbw_hz + peak.u_indicated_hz)
    return abs(peak.frequency_hz - line.frequency_hz) <= reach_hz


def _look_of(line: BoardLine, looks: Sequence[Look], scale: Scale) -> Look | None:
    """The tuning a line was judged in: where its reading was found, else the nearest."""
    if line.state is LineState.OUT_OF_VIEW:
        return None
    inside = [look for look in looks if _holds(look, line.expected_hz, scale)]
    return min(
        inside,
        key=lambda look: (
            not any(is_read_from(line, peak, look) for peak in look.result.peaks),
            abs(scale.true_hz(look.result.center_hz) - line.expected_hz),
        ),
        default=None,
    )


def _holds(look: Look, hz: float, scale: Scale) -> bool:
    low_hz, high_hz = span_hz(look, scale)
    return low_hz <= hz <= high_hz


def _cut(look: Look, lines: Sequence[BoardLine], scale: Scale) -> list[Panel]:
    low_hz, high_hz = span_hz(look, scale)
    least_hz = _LEAST_BINS * look.spectrum.rbw_hz
    panels: list[Panel] = []
    for line in lines:
        reach_hz = max(_MARGIN * line.window_hz, 1.5 * line.tolerance_hz, least_hz)
        left_hz = max(low_hz, line.expected_hz - reach_hz)
        right_hz = min(high_hz, line.expected_hz + reach_hz)
        if panels and left_hz < panels[-1].high_hz:
            before = panels.pop()
            panels.append(
                Panel(
                    look=look,
                    lines=(*before.lines, line),
                    low_hz=min(before.low_hz, left_hz),
                    high_hz=max(before.high_hz, right_hz),
                )
            )
        else:
            panels.append(Panel(look=look, lines=(line,), low_hz=left_hz, high_hz=right_hz))
    return panels
