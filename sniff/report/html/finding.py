"""The finding in two sentences: how it was, and how it is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sniff.board import LineState
from sniff.job.entries import Reading
from sniff.report.html.boards import BoardPair, LinePair, LineSide, tone_of
from sniff.report.html.comparisons import ComparisonPair
from sniff.report.html.dropouts import Watched, WatchPair
from sniff.report.html.fields import words
from sniff.report.html.figures import FigurePair
from sniff.units import format_times


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One side of a board: its reading, its lines, and in words where the loop was."""

    reading: Reading
    lines: tuple[tuple[LinePair, LineSide | None], ...]
    at: str

    @property
    def tone(self) -> str:
        """How its verdict is to be taken."""
        return tone_of(self.reading.verdict or "")

    @classmethod
    def before(cls, board: BoardPair) -> "Seen | None":
        """How a board was before the repair."""
        return cls._of(board, board.before, tuple((line, line.before) for line in board.lines))

    @classmethod
    def after(cls, board: BoardPair) -> "Seen | None":
        """How it is after the repair."""
        return cls._of(board, board.after, tuple((line, line.after) for line in board.lines))

    @classmethod
    def _of(
        cls,
        board: BoardPair,
        reading: Reading | None,
        lines: tuple[tuple[LinePair, LineSide | None], ...],
    ) -> "Seen | None":
        if reading is None:
            return None
        return cls(reading=reading, lines=lines, at=f" at {board.place}" if board.place else "")


def _worst(boards: Sequence[Seen | None]) -> Seen | None:
    """The board that tells most: a faulty one, else one that is open, else all that are fine."""
    measured = [board for board in boards if board is not None]
    for tone in ("faulty", "open"):
        for board in measured:
            if board.tone == tone:
                return board
    if not measured:
        return None
    places = [board.at.removeprefix(" at ") for board in measured if board.at]
    at = f" at {', '.join(places)}" if len(places) == len(measured) else ""
    return replace(measured[0], at=at)


def finding_of(
    boards: Sequence[BoardPair],
    watches: Sequence[WatchPair],
    comparisons: Sequence[ComparisonPair],
    carriers: Sequence[FigurePair],
) -> tuple[str, str]:
    """What was found on each side of the repair: by the worst board, the first line that was
    watched, the transmitter, and the worst comparison with a good set."""
    carrier = carriers[0] if carriers else None
    watch = watches[0] if watches else None
    before = _side(
        "Before the repair",
        _worst([Seen.before(board) for board in boards]),
        None if watch is None else watch.before,
        None if carrier is None else carrier.before,
        _worst_reading([pair.before for pair in comparisons]),
        past=True,
    )
    after = _side(
        "After the repair",
        _worst([Seen.after(board) for board in boards]),
        None if watch is None else watch.after,
        None if carrier is None else carrier.after,
        _worst_reading([pair.after for pair in comparisons]),
        past=False,
    )
    open_places = [board.place or "the whole board" for board in boards if left_open(board)]
    if after and open_places:
        after += f" Not measured again, though it was at fault: {', '.join(open_places)}."
    return (
        before or "How it was before the repair was not measured.",
        after or "How it is after the repair was not measured yet.",
    )


def left_open(board: BoardPair) -> bool:
    """Whether a board was at fault before the repair and was not measured after it."""
    faulty = board.before is not None and tone_of(board.before.verdict or "") == "faulty"
    return faulty and board.after is None


def _side(
    when: str,
    board: Seen | None,
    watched: Watched | None,
    carrier: Reading | None,
    compared: Reading | None,
    *,
    past: bool,
) -> str:
    parts = []
    if board is not None:
        parts.append(_board_words(board, past=past))
    if watched is not None and watched.rate is not None:
        parts.append(_watch_words(watched, past=past))
    if carrier is not None:
        parts.append(_carrier_words(carrier, past=past))
    if compared is not None:
        parts.append(_compared_words(compared))
    return f"{when} {', and '.join(parts)}." if parts else ""


def _board_words(board: Seen, *, past: bool) -> str:
    was = "was" if past else "is"
    if board.tone == "fine":
        return f"every line that must be there {was} there and within its tolerance{board.at}"
    wrong = [
        (line, side)
        for line, side in board.lines
        if line.wanted and side is not None and side.state != LineState.PRESENT.value
    ]
    if wrong and board.tone == "faulty":
        line, side = wrong[0]
        because = f" ({side.why})" if side.why else ""
        return f"the {line.name} at {line.expected} {was} {side.state}{board.at}{because}"
    why = words(board.reading.result, "why").split(". ")[0]
    undecided = f"it could not be decided{board.at}"
    return f"{undecided}: {why}" if why else undecided


def _carrier_words(reading: Reading, *, past: bool) -> str:
    was = "was" if past else "is"
    how = {
        "fine": f"the carrier {was} within its tolerance",
        "faulty": f"the carrier {was} outside its tolerance",
        "open": f"whether the carrier {was} within its tolerance could not be decided",
    }[tone_of(reading.verdict or "")]
    if reading.verdict is None:
        how = "the carrier was measured"
    why = words(reading.result, "why")
    return f"{how} ({why})" if why else how


def _worst_reading(readings: Sequence[Reading | None]) -> Reading | None:
    """The one that tells most: a faulty one, else one that is open."""
    measured = [reading for reading in readings if reading is not None]
    order = ("faulty", "open", "fine")
    return min(measured, key=lambda each: order.index(tone_of(each.verdict or "")), default=None)


def _compared_words(reading: Reading) -> str:
    """In the words of the comparison, which are a technician's."""
    return f"a comparison with a good set said: {words(reading.result, 'sentence')}"


def _watch_words(watched: Watched, *, past: bool) -> str:
    rate = watched.rate
    assert rate is not None
    if rate.events == 0:
        seen = "was" if past else "has been"
        return f"no drop-out {seen} seen in {watched.observed}"
    return f"it dropped out {format_times(rate.events)} in {watched.observed}"
