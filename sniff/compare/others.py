"""Lines that no plan lists: which of the one set's is which of the other's.

First by what explains them (``LO × 2`` here and there), then by how lines may move when the
carrier does. Were the suspect's n lines strewn at random over the span, a line of the good set
would meet one of them within ±w of one of its m possible places by chance in ``2 w m n / span`` of
all cases; above `sniff.naming.MOST_CHANCE` a meeting tells nothing, and none is claimed.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import hypot

from sniff.compare.moves import STAYS, Move, moves_of
from sniff.compare.nouns import ComparedLine, Likeness, Origin, Pair
from sniff.compare.planned import Doubts, frequency_outcome
from sniff.compare.sighted import extent_hz, other_lines, would_see_dbfs
from sniff.look import SeenLine
from sniff.naming import Explanation, Family, explain_lines
from sniff.naming.explain import MOST_CHANCE
from sniff.units import format_db, format_dbfs, format_frequency, format_ppm
from sniff.verdict import Outcome

_SEARCH_TIMES = 10.0
"""A line that moved is looked for within so many times what still agrees."""


def compare_others(
    pair: Pair, *, shift_hz: float | None, doubts: Doubts
) -> tuple[ComparedLine, ...]:
    """Compare what both sets show besides the plan's lines, strongest first."""
    good, suspect = other_lines(pair.good), other_lines(pair.suspect)
    work = _Work(pair, good, suspect, shift_hz=shift_hz, doubts=doubts)
    work.match_by_name()
    for move in work.moves:
        work.match_by(move)
    rows = [*work.rows, *work.left_over()]
    level = {id(row): max(row.good_dbfs or -999.0, row.suspect_dbfs or -999.0) for row in rows}
    return tuple(sorted(rows, key=lambda row: -level[id(row)]))


class _Work:
    """The lines not matched yet, and the rows found so far."""

    def __init__(
        self,
        pair: Pair,
        good: Sequence[SeenLine],
        suspect: Sequence[SeenLine],
        *,
        shift_hz: float | None,
        doubts: Doubts,
    ) -> None:
        self._pair = pair
        self._shift_hz = shift_hz or 0.0
        self._doubts = doubts
        low_hz, high_hz = extent_hz((pair.good, pair.suspect))
        self._span_hz = max(high_hz - low_hz, 1.0)
        self._names: dict[int, Explanation | None] = {}
        self._good = self._of_the_set(good, good=True, low_hz=low_hz, high_hz=high_hz)
        self._suspect = self._of_the_set(suspect, good=False, low_hz=low_hz, high_hz=high_hz)
        self._per_hz = len(self._suspect) / self._span_hz
        self.moves = moves_of(pair.suspect.plan, shift_hz)
        self.rows: list[ComparedLine] = []

    def match_by_name(self) -> None:
        """Pair lines that the same thing explains, a transmitter of the room excepted."""
        theirs = {self._name(line): line for line in reversed(self._suspect)}
        for line in list(self._good):
            name = self._name(line)
            other = None if name is None else theirs.get(name)
            explanation = self._names[id(line)]
            if other is None or explanation is None or explanation.family is Family.REFERENCE:
                continue
            mine, yours = explanation.expected_hz, self._names[id(other)]
            assert yours is not None
            stays = abs(mine - yours.expected_hz) < 1.0
            origin = Origin.FIXED if stays and self._shift_hz else Origin.CARRIER
            self._pair_up(line, other, origin, expected_hz=line.frequency_hz, name=name, move=None)

    def match_by(self, move: Move) -> None:
        """Pair lines whose places differ by this move; the widest search that tells anything."""
        for line in list(self._good):
            place_hz = line.frequency_hz + move.hz(self._shift_hz)
            near = min(
                self._suspect, key=lambda other: abs(other.frequency_hz - place_hz), default=None
            )
            if near is None:
                return
            away_hz = abs(near.frequency_hz - place_hz)
            u_hz = self._u_ppm(line, near) * 1e-6 * place_hz
            agree_hz = 0.0 if move is STAYS and self._shift_hz else self._agree_hz(place_hz)
            chance = 2.0 * max(away_hz, agree_hz + 2.0 * u_hz) * self._per_hz * len(self.moves)
            if away_hz > _SEARCH_TIMES * agree_hz + 2.0 * u_hz or chance > MOST_CHANCE:
                continue
            origin = self._origin(line, move)
            name = self._name(line) or self._name(near)
            self._pair_up(line, near, origin, expected_hz=place_hz, name=name, move=move)

    def left_over(self) -> list[ComparedLine]:
        """Rows of what has no partner."""
        rows = [self._alone(line, in_good=True) for line in self._good]
        return rows + [self._alone(line, in_good=False) for line in self._suspect]

    def _pair_up(
        self,
        line: SeenLine,
        other: SeenLine,
        origin: Origin,
        *,
        expected_hz: float,
        name: str | None,
        move: Move | None,
    ) -> None:
        self._good.remove(line)
        self._suspect.remove(other)
        mine, yours = self._names[id(line)], self._names[id(other)]
        row = ComparedLine(
            name=name,
            place=self._pair.place,
            origin=origin,
            planned=False,
            wanted=False,
            good_hz=line.frequency_hz,
            suspect_hz=other.frequency_hz,
            u_good_hz=line.u_hz,
            u_suspect_hz=other.u_hz,
            good_dbfs=line.level_dbfs,
            suspect_dbfs=other.level_dbfs,
            difference_db=other.level_dbfs - line.level_dbfs - self._doubts.gain_step_db,
            u_difference_db=self._doubts.level.u_db,
            expanded_difference_db=self._doubts.level.expanded_db,
            u_shift_ppm=self._u_ppm(line, other),
            state=Likeness.IN_BOTH,
            why="explained by the same in both" if move is None else move.words,
        )
        if move is not None:
            shift_ppm = (other.frequency_hz - expected_hz) / expected_hz * 1e6
            row = replace(row, expected_suspect_hz=expected_hz, shift_ppm=shift_ppm)
        elif mine is not None and yours is not None:
            row = replace(
                row,
                expected_good_hz=mine.expected_hz,
                expected_suspect_hz=yours.expected_hz,
                shift_ppm=(yours.error_hz / yours.expected_hz - mine.error_hz / mine.expected_hz)
                * 1e6,
            )
        self.rows.append(self._judged(row))

    def _judged(self, row: ComparedLine) -> ComparedLine:
        if row.origin in (Origin.ROOM, Origin.STAYS):
            return row  # how strong the room is heard says nothing of the sets
        if frequency_outcome(row, self._doubts.agree_ppm) is Outcome.FAIL:
            assert row.shift_ppm is not None
            assert row.u_shift_ppm is not None
            size = format_ppm(row.shift_ppm, 2.0 * row.u_shift_ppm)
            why = f"{row.why}, but {size} from where it should"
            return replace(row, state=Likeness.MOVED, why=why)
        difference_db, limit_db = row.difference_db or 0.0, self._doubts.level.limit_db
        if abs(difference_db) <= limit_db:
            return row
        state = Likeness.WEAK if difference_db < 0 else Likeness.STRONG
        return replace(row, state=state, why=f"{row.why}; {format_db(difference_db)}")

    def _alone(self, line: SeenLine, *, in_good: bool) -> ComparedLine:
        """A line that the other set lacks, if it would have shown it wherever it may lie."""
        other = self._pair.suspect if in_good else self._pair.good
        turn = 1.0 if in_good else -1.0
        places_hz = [
            line.frequency_hz + turn * move.hz(self._shift_hz)
            for move in self.moves
            if line.frequency_hz + turn * move.hz(self._shift_hz) > 0.0
        ]
        levels = [would_see_dbfs(other, hz) for hz in places_hz]
        known = [level for level in levels if level is not None]
        who = "suspect" if in_good else "good set"
        worst_dbfs = max(known) if len(known) == len(levels) else None
        rivals = self._suspect if in_good else self._good
        if any(self._may_be(line, rival, hz) for rival in rivals for hz in places_hz):
            state = Likeness.HIDDEN
            why = f"a line of the {who} may be it, but within U too many may"
        elif worst_dbfs is None:
            state = Likeness.HIDDEN
            why = f"where it may lie in the {who} was not all in view"
        elif (
            line.level_dbfs + turn * self._doubts.gain_step_db - worst_dbfs
            < self._doubts.level.limit_db
        ):
            state = Likeness.HIDDEN
            why = f"too weak: in the {who} {format_dbfs(worst_dbfs)} would have been seen"
        else:
            state = Likeness.ONLY_GOOD if in_good else Likeness.ONLY_SUSPECT
            where = " nor ".join(format_frequency(hz) for hz in places_hz[:2])
            why = (
                f"no such line in the {who}, neither at {where}"
                if len(places_hz) > 1
                else (f"no line there in the {who}")
            )
        explanation = self._names[id(line)]
        reference = explanation is not None and explanation.family is Family.REFERENCE
        return ComparedLine(
            name=self._name(line),
            place=self._pair.place,
            origin=Origin.ROOM if reference else Origin.UNKNOWN,
            planned=False,
            wanted=False,
            good_hz=line.frequency_hz if in_good else None,
            suspect_hz=None if in_good else line.frequency_hz,
            u_good_hz=line.u_hz if in_good else None,
            u_suspect_hz=None if in_good else line.u_hz,
            good_dbfs=line.level_dbfs if in_good else None,
            suspect_dbfs=None if in_good else line.level_dbfs,
            would_see_good_dbfs=None if in_good else worst_dbfs,
            would_see_suspect_dbfs=worst_dbfs if in_good else None,
            state=state,
            why=why,
        )

    def _may_be(self, line: SeenLine, rival: SeenLine, place_hz: float) -> bool:
        """Whether a line of the other set lies where this one may be."""
        u_hz = self._u_ppm(line, rival) * 1e-6 * place_hz
        return abs(rival.frequency_hz - place_hz) <= self._agree_hz(place_hz) + 2.0 * u_hz

    def _of_the_set(
        self, lines: Sequence[SeenLine], *, good: bool, low_hz: float, high_hz: float
    ) -> list[SeenLine]:
        """All but what the dongle makes itself, and what lies beside a line of the board, which
        has been judged there; what explains the rest is kept."""
        sight = self._pair.good if good else self._pair.suspect
        explained = explain_lines(
            lines,
            low_hz=low_hz,
            high_hz=high_hz,
            correction=sight.correction,
            plan=sight.plan,
            clock_hz=sight.clock_hz,
        )
        judged = () if sight.board is None else [line.name for line in sight.board.lines]
        kept = []
        for line, found in zip(lines, explained, strict=True):
            likely = next((one for one in found if one.likely), None)
            if likely is not None and (
                likely.family is Family.OWN_SPUR
                or (likely.family is Family.OSCILLATOR and likely.name in judged)
            ):
                continue
            self._names[id(line)] = likely
            kept.append(line)
        return kept

    def _name(self, line: SeenLine) -> str | None:
        explanation = self._names[id(line)]
        return None if explanation is None else explanation.name

    def _origin(self, line: SeenLine, move: Move) -> Origin:
        explanation = self._names[id(line)]
        if move is not STAYS:
            return Origin.CARRIER
        if explanation is not None and explanation.family is Family.REFERENCE:
            return Origin.ROOM
        # On one and the same carrier nothing tells the set's lines from the room's.
        return Origin.STAYS if self._shift_hz else Origin.UNKNOWN

    def _agree_hz(self, hz: float) -> float:
        return self._doubts.agree_ppm * 1e-6 * hz

    def _u_ppm(self, line: SeenLine, other: SeenLine) -> float:
        each = [one.u_indicated_hz / one.frequency_hz * 1e6 for one in (line, other)]
        return hypot(*each, self._doubts.u_clocks_ppm)
