"""Placings: what placing the loop again and again tells, of each line and of the placing itself."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt
from statistics import fmean, stdev

import numpy as np

from sniff.board import Board, BoardLine, LineState
from sniff.concluding import conclude
from sniff.model import Doubles
from sniff.probe import in_its_place
from sniff.units import format_dbfs, format_span
from sniff.verdict import Outcome

CONFIDENCE = 0.9545
"""What k = 2 covers of a normal distribution: `expanded_factor` goes to 2 with many degrees."""

_LEAST_OWN_HZ = 1e-6
"""A scatter that chance makes more seldom is no chance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacingSpread:
    """By how much a level differs from one placing of the loop to the next, as it was measured.

    Attributes
    ----------
    sd_db : float
        Standard deviation of the level of one placing, dB, pooled over lines.
    degrees : int
        Its degrees of freedom. Fewer than the sum of n − 1 over the lines as far as these move
        together from placing to placing.
    lines : int
        From how many lines it comes.
    """

    sd_db: float
    degrees: int
    lines: int = 1

    @property
    def expanded_factor(self) -> float:
        """k for 95.45 % with these degrees of freedom (JCGM 100:2008, G.3.2 and table G.2)."""
        return expanded_factor(self.degrees)

    @property
    def expanded_db(self) -> float:
        """How far one placing may lie off, 95.45 %, dB."""
        return self.expanded_factor * self.sd_db

    def u_difference_db(self, good_n: int, suspect_n: int) -> float:
        """Standard uncertainty (k = 1) of a difference of two levels, each the mean of so many
        placings, dB: ``s sqrt(1/n + 1/m)``."""
        return self.sd_db * sqrt(1.0 / good_n + 1.0 / suspect_n)

    def expanded_difference_db(self, good_n: int, suspect_n: int) -> float:
        """The same, 95.45 %, dB."""
        return self.expanded_factor * self.u_difference_db(good_n, suspect_n)


def expanded_factor(degrees: int) -> float:
    """Student's t, two-sided, 95.45 % (JCGM 100:2008, G.3.2)."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees, (1.0 + CONFIDENCE) / 2.0))


def measured_spread(*sets: Sequence[Board]) -> PlacingSpread | None:
    """The spread of placing the loop, pooled over all lines of one or several sets.

    The pooled variance is the sum of all squared deviations from the line's own mean over the sum
    of n − 1 (NIST/SEMATECH e-Handbook, 7.3.1.1; ISO 5725-2:2019, 7.4.5.1). Lines near each other
    on the board move together when the loop is moved, and then count as fewer: of S, the matrix of
    their sums of squares and products, ``tr(S)² / (m tr(S²))`` is left of the degrees of freedom
    of m lines (Satterthwaite, Biometrics Bulletin 2, 1946; for correlated lines Box, Annals of
    Mathematical Statistics 25, 1954, estimated after Geisser and Greenhouse, ibid. 29, 1958).

    Parameters
    ----------
    *sets : sequence of Board
        The placings at one set each.

    Returns
    -------
    PlacingSpread or None
        None when no line was seen in two placings. Unsteady lines do not count, nor does a line
        that was absent in some placing: what is left of it is a cut sample, whose spread is small.
    """
    by_set = [_levels(boards) for boards in sets]
    names = list(dict.fromkeys(name for levels in by_set for name in levels))
    degrees = sum(len(row) - 1 for levels in by_set for row in levels.values())
    if not degrees:
        return None
    sums = sum((_sums(levels, names) for levels in by_set), np.zeros((len(names), len(names))))
    total = float(np.trace(sums))
    squared = float(np.sum(sums**2))
    share = total**2 / (len(names) * squared) if squared > 0 else 1.0 / len(names)
    return PlacingSpread(
        sd_db=sqrt(total / degrees),
        # A tenth of a thousandth is for rounding: lines that move as one have 4 degrees, not 3.
        degrees=max(1, int(degrees * share + 1e-4)),
        lines=len(names),
    )


def combined(boards: Sequence[Board], *, u_center_hz: float = 0.0) -> Board:
    """One board of several placings of the loop at the same place.

    Parameters
    ----------
    boards : sequence of Board
        At least one, all of the same lines.
    u_center_hz : float
        As in `SourceInfo`: like the clock's, this doubt is common to all and does not average down.

    Returns
    -------
    Board
        Levels are means in dB. A line counts as seen when it was in any placing, as unsteady when
        it was in any, as absent when it was in all; `would_see_dbfs` is the best of them. The
        looks are those of the placing that showed most lines.

    Raises
    ------
    ValueError
        Without a board.
    """
    if not boards:
        raise ValueError("there is no board to combine")
    if len(boards) == 1:
        return boards[0]
    lines = [_combined_line(rows, u_center_hz) for rows in _by_name(boards).values()]
    best = max(boards, key=lambda board: sum(line.seen_in for line in board.result.lines))
    return Board(
        result=replace(conclude(lines), placings=len(boards)),
        looks=best.looks,
        cautions=tuple(dict.fromkeys(each for board in boards for each in board.cautions)),
    )


def _by_name(boards: Sequence[Board]) -> dict[str, list[BoardLine]]:
    rows: dict[str, list[BoardLine]] = {}
    for board in boards:
        for line in board.result.lines:
            rows.setdefault(line.name, []).append(line)
    return rows


def _levels(boards: Sequence[Board]) -> dict[str, dict[int, float]]:
    """Levels that tell of the placing: by line, then by number of the placing."""
    levels: dict[str, dict[int, float]] = {}
    for name, rows in _by_name(boards).items():
        seen = _seen(rows)
        missed = [row for row in rows if row not in seen]
        steady = not any(row.state is LineState.UNSTEADY for row in seen)
        cut = any(row.state is LineState.ABSENT or row.level_dbfs is not None for row in missed)
        if len(seen) > 1 and steady and not cut:
            levels[name] = {
                number: row.level_dbfs
                for number, row in enumerate(rows)
                if row in seen and row.level_dbfs is not None
            }
    return levels


def _sums(levels: Mapping[str, Mapping[int, float]], names: Sequence[str]) -> Doubles:
    """Sums of squares and products of the deviations of these lines; 0 where one was not seen."""
    width = 1 + max((number for row in levels.values() for number in row), default=0)
    deviations = np.zeros((len(names), width))
    for at, name in enumerate(names):
        row = levels.get(name, {})
        for number, level_dbfs in row.items():
            deviations[at, number] = level_dbfs - fmean(row.values())
    return np.asarray(deviations @ deviations.T)


def _seen(rows: Sequence[BoardLine]) -> list[BoardLine]:
    """The placings that show this line. Where some have it in its place, one that has a line
    farther from theirs than the tolerance shows another."""
    seen = [row for row in rows if row.frequency_hz is not None and row.level_dbfs is not None]
    near = [row.frequency_hz for row in seen if row.frequency_verdict is not Outcome.FAIL]
    if not near:
        return seen
    return [
        row
        for row in seen
        if min(abs((row.frequency_hz or 0.0) - (hz or 0.0)) for hz in near) <= row.tolerance_hz
    ]


def _combined_line(rows: Sequence[BoardLine], u_center_hz: float) -> BoardLine:
    seen = _seen(rows)
    row = replace(
        rows[0],
        placings=len(rows),
        seen_in=len(seen),
        would_see_dbfs=min(
            (row.would_see_dbfs for row in rows if row.would_see_dbfs is not None), default=None
        ),
    )
    if not seen:
        return _combined_unseen(row, rows)
    frequency_hz, u_indicated_hz, u_hz = _mean_frequency(seen, u_center_hz)
    error_hz = frequency_hz - row.expected_hz
    levels = [each.level_dbfs for each in seen if each.level_dbfs is not None]
    row = in_its_place(
        replace(
            row,
            frequency_hz=frequency_hz,
            u_hz=u_hz,
            u_indicated_hz=u_indicated_hz,
            error_hz=error_hz,
            error_ppm=error_hz / row.expected_hz * 1e6,
            level_dbfs=fmean(levels),
            level_sd_db=stdev(levels) if len(levels) > 1 else None,
            snr_db=_mean([each.snr_db for each in seen]),
            present_fraction=_mean([each.present_fraction for each in seen]),
            followed_step_s=_coarsest([each.followed_step_s for each in seen]),
            longest_absence_s=max(
                (each.longest_absence_s for each in seen if each.longest_absence_s is not None),
                default=None,
            ),
        )
    )
    unsteady = [each for each in seen if each.state is LineState.UNSTEADY]
    if unsteady:
        worst = min(unsteady, key=lambda each: each.present_fraction or 0.0)
        often = f"in {len(unsteady)} of {len(rows)} placings"
        row = replace(row, state=LineState.UNSTEADY, why=f"{often}; the worst: {worst.why}")
    if len(seen) < len(rows):
        why = (
            f"{row.why}; seen in {len(seen)} of {len(rows)} placings, its mean level there "
            f"{format_dbfs(fmean(levels))}"
        )
        row = replace(row, why=why)
    return row


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return fmean(known) if known else None


def _coarsest(steps_s: Sequence[float | None]) -> float | None:
    """None when one of them is not known."""
    known = [step_s for step_s in steps_s if step_s is not None]
    return max(known) if len(known) == len(steps_s) else None


def _mean_frequency(rows: Sequence[BoardLine], u_center_hz: float) -> tuple[float, float, float]:
    """Mean frequency, its u without the clock's part, and with it, Hz.

    What scatters more than the readings' own u explain is a variance that each placing has
    (DerSimonian and Laird, Controlled Clinical Trials 7, 1986): a crystal wanders, and a loop
    pulls. What clock and tuner are off by is the same in all, and stays whole.
    """
    hz = np.array([row.frequency_hz for row in rows], np.float64)
    u_hz = np.array([row.u_hz for row in rows], np.float64)
    shown = np.array([row.u_indicated_hz or 0.0 for row in rows], np.float64)
    clock_hz = float(np.sqrt(np.maximum(u_hz**2 - shown**2, 0.0).max()))
    own_hz = np.maximum(np.sqrt(np.maximum(shown**2 - u_center_hz**2, 0.0)), _LEAST_OWN_HZ)
    weights = own_hz**-2.0
    degrees = len(rows) - 1
    q = float(weights @ (hz - weights @ hz / weights.sum()) ** 2)
    widened = 1.0
    if q > degrees > 0:
        between = (q - degrees) / float(weights.sum() - weights @ weights / weights.sum())
        weights = 1.0 / (own_hz**2 + between)
        widened = expanded_factor(degrees) / 2.0  # a scatter of few is itself not well known
    mean_hz = float(weights @ hz / weights.sum())
    u_shown_hz = hypot(widened / sqrt(float(weights.sum())), u_center_hz)
    return mean_hz, u_shown_hz, hypot(u_shown_hz, clock_hz)


def _combined_unseen(row: BoardLine, rows: Sequence[BoardLine]) -> BoardLine:
    states = [each.state for each in rows]
    if all(state is LineState.ABSENT for state in states) and row.would_see_dbfs is not None:
        why = (
            f"no line within ±{format_span(row.window_hz)} in any of {len(rows)} placings; one of "
            f"{format_dbfs(row.would_see_dbfs)} would have been seen"
        )
        return replace(row, state=LineState.ABSENT, why=why)
    for state in (LineState.HIDDEN, LineState.OUT_OF_VIEW):
        of_these = [each for each in rows if each.state is state]
        if of_these:
            often = f" in {len(of_these)} of {len(rows)} placings" if len(set(states)) > 1 else ""
            return replace(row, state=state, why=f"{of_these[0].why}{often}")
    return row
