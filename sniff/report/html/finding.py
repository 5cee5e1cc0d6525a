"""The finding in two sentences: how it was, and how it is."""

from collections.abc import Sequence

from sniff.board import LineState
from sniff.job.entries import Reading
from sniff.report.html.boards import BoardPair, LinePair, LineSide, tone_of
from sniff.report.html.dropouts import Watched, WatchPair
from sniff.report.html.fields import words
from sniff.report.html.figures import FigurePair


def finding_of(
    boards: Sequence[BoardPair], watches: Sequence[WatchPair], carriers: Sequence[FigurePair]
) -> tuple[str, str]:
    """Two sentences, from the first board, the first line that was watched, and the transmitter."""
    carrier = carriers[0] if carriers else None
    board = boards[0] if boards else None
    watch = watches[0] if watches else None
    before = _side(
        "Before the repair",
        None if board is None else board.before,
        () if board is None else tuple((line, line.before) for line in board.lines),
        None if watch is None else watch.before,
        None if carrier is None else carrier.before,
        past=True,
    )
    after = _side(
        "After the repair",
        None if board is None else board.after,
        () if board is None else tuple((line, line.after) for line in board.lines),
        None if watch is None else watch.after,
        None if carrier is None else carrier.after,
        past=False,
    )
    return (
        before or "How it was before the repair was not measured.",
        after or "How it is after the repair was not measured yet.",
    )


def _side(
    when: str,
    reading: Reading | None,
    lines: tuple[tuple[LinePair, LineSide | None], ...],
    watched: Watched | None,
    carrier: Reading | None,
    *,
    past: bool,
) -> str:
    parts = []
    if reading is not None:
        parts.append(_board_words(reading, lines, past=past))
    if watched is not None and watched.rate is not None:
        parts.append(_watch_words(watched, past=past))
    if carrier is not None:
        parts.append(_carrier_words(carrier, past=past))
    return f"{when} {', and '.join(parts)}." if parts else ""


def _board_words(
    reading: Reading, lines: tuple[tuple[LinePair, LineSide | None], ...], *, past: bool
) -> str:
    was = "was" if past else "is"
    tone = tone_of(reading.verdict or "")
    if tone == "fine":
        return f"every line that must be there {was} there and within its tolerance"
    wrong = [
        (line, side)
        for line, side in lines
        if line.wanted and side is not None and side.state != LineState.PRESENT.value
    ]
    if wrong and tone == "faulty":
        line, side = wrong[0]
        because = f" ({side.why})" if side.why else ""
        return f"the {line.name} at {line.expected} {was} {side.state}{because}"
    why = words(reading.result, "why").split(". ")[0]
    return f"it could not be decided: {why}" if why else "it could not be decided"


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


def _watch_words(watched: Watched, *, past: bool) -> str:
    rate = watched.rate
    assert rate is not None
    if rate.events == 0:
        seen = "was" if past else "has been"
        return f"no drop-out {seen} seen in {watched.observed}"
    times = "once" if rate.events == 1 else f"{rate.events} times"
    return f"it dropped out {times} in {watched.observed}"
