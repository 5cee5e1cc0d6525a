"""Lines that no plan lists: which of the one set's is which of the other's.

First by what explains them (``LO × 2`` here and there), then by how lines may move when the
carrier does. Were the suspect's n lines strewn at random over the span, a line of the good set
would meet one of them within ±w of one of its m possible places by chance in ``2 w m n / span`` of
all cases; above `sniff.naming.MOST_CHANCE` a meeting tells nothing, and none is claimed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot

from sniff.compare.moves import STAYS, Move, moves_of
from sniff.compare.nouns import ComparedLine, Likeness, Origin, Pair, Sight
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
    work = _Work(pair, shift_hz=shift_hz, doubts=doubts)
    work.match_by_name()
    for move in work.moves:
        work.match_by(move)
    return tuple(sorted([*work.rows, *work.left_over()], key=_strongest_dbfs, reverse=True))


def _strongest_dbfs(row: ComparedLine) -> float:
    return max(level for level in (row.good_dbfs, row.suspect_dbfs) if level is not None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Line:
    """A line that was seen, and what explains it."""

    seen: SeenLine
    explanation: Explanation | None

    @property
    def hz(self) -> float:
        return self.seen.frequency_hz

    @property
    def name(self) -> str | None:
        return None if self.explanation is None else self.explanation.name

    @property
    def of_the_room(self) -> bool:
        return self.explanation is not None and self.explanation.family is Family.REFERENCE


class _Work:
    """The lines not matched yet, and the rows found so far."""

    def __init__(self, pair: Pair, *, shift_hz: float | None, doubts: Doubts) -> None:
        self._pair = pair
        self._shift_hz = shift_hz or 0.0
        self._doubts = doubts
        # Whatever the board comes from, what else was in view was read in one placing.
        self._level = doubts.levels.of(1, 1)
        low_hz, high_hz = extent_hz((pair.good, pair.suspect))
        self._good, self._suspect = (
            self._of_the_set(other_lines(sight), sight, low_hz=low_hz, high_hz=high_hz)
            for sight in (pair.good, pair.suspect)
        )
        self._per_hz = len(self._suspect) / max(high_hz - low_hz, 1.0)
        self.moves = moves_of(pair.suspect.plan, shift_hz)
        self.rows: list[ComparedLine] = []

    def match_by_name(self) -> None:
        """Pair lines that the same thing explains, a transmitter of the room excepted; of several
        of one name the strongest."""
        theirs = {line.name: line for line in reversed(self._suspect)}
        for line in list(self._good):
            other = None if line.name is None or line.of_the_room else theirs.pop(line.name, None)
            mine, yours = line.explanation, None if other is None else other.explanation
            if other is None or mine is None or yours is None:
                continue
            stays = abs(mine.expected_hz - yours.expected_hz) < 1.0
            shift = yours.error_hz / yours.expected_hz - mine.error_hz / mine.expected_hz
            self._pair_up(
                line,
                other,
                origin=Origin.FIXED if stays and self._shift_hz else Origin.CARRIER,
                shift_ppm=shift * 1e6,
                expected_good_hz=mine.expected_hz,
                expected_suspect_hz=yours.expected_hz,
                why="explained by the same in both",
            )

    def match_by(self, move: Move) -> None:
        """Pair lines whose places differ by this move; the widest search that tells anything."""
        for line in list(self._good):
            place_hz = line.hz + move.hz(self._shift_hz)
            near = min(self._suspect, key=lambda other: abs(other.hz - place_hz), default=None)
            if near is None:
                return
            away_hz = abs(near.hz - place_hz)
            u_hz = self._u_ppm(line, near) * 1e-6 * place_hz
            agree_hz = 0.0 if move is STAYS and self._shift_hz else self._agree_hz(place_hz)
            chance = 2.0 * max(away_hz, agree_hz + 2.0 * u_hz) * self._per_hz * len(self.moves)
            if away_hz > _SEARCH_TIMES * agree_hz + 2.0 * u_hz or chance > MOST_CHANCE:
                continue
            self._pair_up(
                line,
                near,
                origin=self._origin(line, move),
                shift_ppm=(near.hz - place_hz) / place_hz * 1e6,
                expected_suspect_hz=place_hz,
                why=move.words,
            )

    def left_over(self) -> list[ComparedLine]:
        """Rows of what has no partner."""
        rows = [self._alone(line, in_good=True) for line in self._good]
        return rows + [self._alone(line, in_good=False) for line in self._suspect]

    def _pair_up(
        self,
        line: _Line,
        other: _Line,
        *,
        origin: Origin,
        shift_ppm: float,
        expected_suspect_hz: float,
        expected_good_hz: float | None = None,
        why: str,
    ) -> None:
        self._good.remove(line)
        self._suspect.remove(other)
        mine, yours = line.seen, other.seen
        row = ComparedLine(
            name=line.name or other.name,
            place=self._pair.place,
            origin=origin,
            planned=False,
            wanted=False,
            good_hz=mine.frequency_hz,
            suspect_hz=yours.frequency_hz,
            u_good_hz=mine.u_hz,
            u_suspect_hz=yours.u_hz,
            expected_good_hz=expected_good_hz,
            expected_suspect_hz=expected_suspect_hz,
            shift_ppm=shift_ppm,
            u_shift_ppm=self._u_ppm(line, other),
            good_dbfs=mine.level_dbfs,
            suspect_dbfs=yours.level_dbfs,
            difference_db=yours.level_dbfs - mine.level_dbfs - self._doubts.gain_step_db,
            u_difference_db=self._level.u_db,
            expanded_difference_db=self._level.expanded_db,
            state=Likeness.IN_BOTH,
            why=why,
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
        difference_db, limit_db = row.difference_db or 0.0, self._level.limit_db
        if abs(difference_db) <= limit_db:
            return row
        state = Likeness.WEAK if difference_db < 0 else Likeness.STRONG
        return replace(row, state=state, why=f"{row.why}; {format_db(difference_db)}")

    def _alone(self, line: _Line, *, in_good: bool) -> ComparedLine:
        """A line that the other set lacks, if it would have shown it wherever it may lie."""
        other, who = (self._pair.suspect, "suspect") if in_good else (self._pair.good, "good set")
        turn = 1.0 if in_good else -1.0
        places_hz = [
            place_hz
            for move in self.moves
            if (place_hz := line.hz + turn * move.hz(self._shift_hz)) > 0.0
        ]
        levels = [would_see_dbfs(other, hz) for hz in places_hz]
        known = [level for level in levels if level is not None]
        worst_dbfs = max(known) if len(known) == len(levels) else None
        rivals = self._suspect if in_good else self._good
        state, bound_db = Likeness.HIDDEN, None
        if any(self._may_be(line, rival, hz) for rival in rivals for hz in places_hz):
            why = f"a line of the {who} may be it, but within U too many may"
        elif worst_dbfs is None:
            why = f"where it may lie in the {who} was not all in view"
        else:
            margin_db = line.seen.level_dbfs + turn * self._doubts.gain_step_db - worst_dbfs
            if margin_db < self._level.limit_db:
                why = f"too weak: in the {who} {format_dbfs(worst_dbfs)} would have been seen"
            else:
                state = Likeness.ONLY_GOOD if in_good else Likeness.ONLY_SUSPECT
                bound_db = -turn * (margin_db - self._level.expanded_db)
                why = f"no such line in the {who}, {_nowhere(places_hz)}"
        seen = line.seen
        row = ComparedLine(
            name=line.name,
            place=self._pair.place,
            origin=Origin.ROOM if line.of_the_room else Origin.UNKNOWN,
            planned=False,
            wanted=False,
            difference_bound_db=bound_db,
            state=state,
            why=why,
        )
        if in_good:
            return replace(
                row,
                good_hz=seen.frequency_hz,
                u_good_hz=seen.u_hz,
                good_dbfs=seen.level_dbfs,
                would_see_suspect_dbfs=worst_dbfs,
            )
        return replace(
            row,
            suspect_hz=seen.frequency_hz,
            u_suspect_hz=seen.u_hz,
            suspect_dbfs=seen.level_dbfs,
            would_see_good_dbfs=worst_dbfs,
        )

    def _may_be(self, line: _Line, rival: _Line, place_hz: float) -> bool:
        """Whether a line of the other set lies where this one may be."""
        u_hz = self._u_ppm(line, rival) * 1e-6 * place_hz
        return abs(rival.hz - place_hz) <= self._agree_hz(place_hz) + 2.0 * u_hz

    def _of_the_set(
        self, lines: Sequence[SeenLine], sight: Sight, *, low_hz: float, high_hz: float
    ) -> list[_Line]:
        """All but what the dongle makes itself, and what lies beside a line of the board, which
        has been judged there; with what explains the rest."""
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
        for seen, found in zip(lines, explained, strict=True):
            likely = next((one for one in found if one.likely), None)
            family = None if likely is None else likely.family
            on_board = likely is not None and likely.name in judged
            if family is Family.OWN_SPUR or (family is Family.OSCILLATOR and on_board):
                continue
            kept.append(_Line(seen=seen, explanation=likely))
        return kept

    def _origin(self, line: _Line, move: Move) -> Origin:
        if move is not STAYS:
            return Origin.CARRIER
        if line.of_the_room:
            return Origin.ROOM
        # On one and the same carrier nothing tells the set's lines from the room's.
        return Origin.STAYS if self._shift_hz else Origin.UNKNOWN

    def _agree_hz(self, hz: float) -> float:
        return self._doubts.agree_ppm * 1e-6 * hz

    def _u_ppm(self, line: _Line, other: _Line) -> float:
        each = [one.seen.u_indicated_hz / one.hz * 1e6 for one in (line, other)]
        return hypot(*each, self._doubts.clocks.u_ppm(line.hz, other.hz))


def _nowhere(places_hz: Sequence[float]) -> str:
    """``neither at 85.4 MHz nor at 6 other places``."""
    first = format_frequency(places_hz[0])
    if len(places_hz) == 1:
        return f"not at {first}"
    return f"neither at {first} nor at {len(places_hz) - 1} other places to which it may move"
