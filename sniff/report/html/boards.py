"""Line boards before and after the repair, line by line."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from sniff.board import BoardVerdict, LineState
from sniff.compare import ComparisonVerdict, Likeness
from sniff.job.entries import Reading
from sniff.placings import PlacingSpread
from sniff.report.html.fields import Fields, number, rows, words
from sniff.report.html.pairing import Sides, of_command
from sniff.report.html.ruler import Ruler, ruler_of
from sniff.report.placing_words import spread_in_words
from sniff.units import (
    format_db,
    format_dbfs,
    format_dbm,
    format_error,
    format_frequency,
    format_ppm,
    format_reading,
)

SIGNS = {
    LineState.PRESENT.value: "●",
    LineState.WEAK.value: "◐",
    LineState.OFF_FREQUENCY.value: "◆",
    LineState.UNSTEADY.value: "≈",
    LineState.ABSENT.value: "○",
    LineState.HIDDEN.value: "▒",
    LineState.OUT_OF_VIEW.value: "–",
}
_FINE, _FAULTY, _OPEN = "fine", "faulty", "open"
_TONES = {
    LineState.PRESENT.value: _FINE,
    LineState.WEAK.value: _FAULTY,
    LineState.OFF_FREQUENCY.value: _FAULTY,
    LineState.UNSTEADY.value: _FAULTY,
    LineState.ABSENT.value: _FAULTY,
    Likeness.IN_BOTH.value: _FINE,
    Likeness.STRONG.value: _FINE,
    Likeness.MOVED.value: _FAULTY,
    Likeness.ONLY_GOOD.value: _FAULTY,
    ComparisonVerdict.ALIKE.value: _FINE,
    ComparisonVerdict.DIFFERS.value: _FAULTY,
    BoardVerdict.AS_EXPECTED.value: _FINE,
    BoardVerdict.FAULT.value: _FAULTY,
    "steady": _FINE,
    "intermittent": _FAULTY,
    "pass": _FINE,
    "fail": _FAULTY,
}


def tone_of(state: str) -> str:
    """How a state or verdict is to be taken: fine, faulty or open."""
    return _TONES.get(state, _OPEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSide:
    """One line on one side of the repair, in words.

    Attributes
    ----------
    state, sign, tone : str
    reading : str
        Value with U; empty when it was not seen.
    error, level, plan, sibling : str
        Level with its scatter; what it is against the level of the plan, and of the sibling.
    why : str
    """

    state: str
    sign: str
    tone: str
    reading: str
    error: str
    level: str
    plan: str
    sibling: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePair:
    """One expected line before and after."""

    name: str
    wanted: bool
    expected: str
    formula: str
    before: LineSide | None
    after: LineSide | None
    ruler: Ruler | None


@dataclass(frozen=True, kw_only=True)
class BoardPair:
    """The boards of one place.

    Attributes
    ----------
    place : str
        Empty for the only one.
    before, after : Reading or None
        The latest of each side.
    lines : tuple of LinePair
    out_of_view : tuple of LinePair
        Those that neither side could show.
    spread : tuple of str
        How much placing the loop was found to move a level, before and after; none where it was
        not measured.
    """

    place: str
    before: Reading | None
    after: Reading | None
    lines: tuple[LinePair, ...]
    out_of_view: tuple[LinePair, ...]
    spread: tuple[str, ...] = ()


def board_pairs(sides: Sides, own_hz: Collection[float]) -> tuple[BoardPair, ...]:
    """Pair the boards, by place and set; those of the job's own set first.

    Parameters
    ----------
    sides : Sides
    own_hz : collection of float
        Where the first wanted line of the job's plan, and of each of its places, should be, Hz: a
        board of the sibling, or of another set, has another one. Empty without a plan.
    """
    before = _by_place(of_command(sides.before, "probe"))
    after = _by_place(of_command(sides.after, "probe"))
    keys = list(dict.fromkeys([*before, *after]))
    own = [key for key in keys if any(abs(key[1] - hz) <= 1.0 for hz in own_hz)]
    keys = own or keys
    return tuple(_pair(key[0], before.get(key), after.get(key)) for key in keys)


def _by_place(readings: Iterable[Reading]) -> dict[tuple[str, float], Reading]:
    latest: dict[tuple[str, float], Reading] = {}
    for reading in readings:
        lines = rows(reading.result, "lines")
        if lines:
            latest[reading.place or "", _first_expected_hz(lines)] = reading
    return latest


def _first_expected_hz(lines: Sequence[Fields]) -> float:
    wanted = [line for line in lines if line.get("wanted")] or lines
    return round(number(wanted[0], "expected_hz") or 0.0)


def _pair(place: str, before: Reading | None, after: Reading | None) -> BoardPair:
    both: dict[str, list[Fields | None]] = defaultdict(lambda: [None, None])
    for side, reading in enumerate((before, after)):
        for line in [] if reading is None else rows(reading.result, "lines"):
            both[words(line, "name")][side] = line
    lines = [_line_pair(name, *pair) for name, pair in both.items()]
    unseen = LineState.OUT_OF_VIEW.value
    hidden = [
        line
        for line in lines
        if all(side is None or side.state == unseen for side in (line.before, line.after))
    ]
    return BoardPair(
        place=place,
        before=before,
        after=after,
        lines=tuple(line for line in lines if line not in hidden),
        out_of_view=tuple(hidden),
        spread=tuple(
            f"{when} the repair: {said}"
            for when, reading in (("before", before), ("after", after))
            if reading is not None and (said := _spread(reading.result))
        ),
    )


def _line_pair(name: str, before: Fields | None, after: Fields | None) -> LinePair:
    stated = before if after is None else after
    assert stated is not None
    expected_hz = number(stated, "expected_hz")
    return LinePair(
        name=name,
        wanted=bool(stated.get("wanted")),
        expected="" if expected_hz is None else format_frequency(expected_hz),
        formula=words(stated, "formula"),
        before=None if before is None else _side(before),
        after=None if after is None else _side(after),
        ruler=ruler_of(before, after),
    )


def _side(line: Fields) -> LineSide:
    state = words(line, "state")
    return LineSide(
        state=state,
        sign=SIGNS.get(state, "?"),
        tone=tone_of(state),
        reading=_reading(line),
        error=_error(line),
        level=_level(line) + _scatter(line),
        plan=_against(line, "versus_stated_db", "the plan"),
        sibling=_against(line, "versus_sibling_db", "the sibling"),
        why=words(line, "why"),
    )


def _reading(line: Fields) -> str:
    hz, u_hz = number(line, "frequency_hz"), number(line, "u_hz")
    return "" if hz is None or u_hz is None else format_reading(hz, 2.0 * u_hz)


def _error(line: Fields) -> str:
    error_hz, ppm, u_hz = (number(line, key) for key in ("error_hz", "error_ppm", "u_hz"))
    expected_hz = number(line, "expected_hz")
    if error_hz is None or ppm is None or u_hz is None or not expected_hz:
        return ""
    expanded_hz = 2.0 * u_hz
    relative = format_ppm(ppm, expanded_hz / expected_hz * 1e6)
    return f"{format_error(error_hz, expanded_hz)} ({relative})"


def _level(line: Fields) -> str:
    dbm, u_db, dbfs = (number(line, key) for key in ("level_dbm", "u_level_db", "level_dbfs"))
    if dbm is not None and u_db is not None:
        return format_dbm(dbm, 2.0 * u_db)
    if dbfs is not None:
        return format_dbfs(dbfs)
    would_dbfs = number(line, "would_see_dbfs")
    return "" if would_dbfs is None else f"would be seen from {format_dbfs(would_dbfs)} on"


def _against(line: Fields, key: str, whose: str) -> str:
    versus_db = number(line, key)
    return "" if versus_db is None else f"{format_db(versus_db)} against {whose}"


def _scatter(line: Fields) -> str:
    sd_db, seen_in, placings = (number(line, key) for key in ("level_sd_db", "seen_in", "placings"))
    if sd_db is None or seen_in is None or placings is None:
        return ""
    of = "" if seen_in == placings else f" of {placings:.0f}"
    return f" (mean of {seen_in:.0f}{of} placings, scatter {sd_db:.1f} dB)"


def _spread(result: Fields) -> str:
    sd_db, degrees = number(result, "placing_sd_db"), number(result, "placing_degrees")
    if sd_db is None or degrees is None or degrees < 1:
        return ""
    sibling = number(result, "sibling_placings")
    said = spread_in_words(
        PlacingSpread(
            sd_db=sd_db, degrees=int(degrees), lines=int(number(result, "placing_lines") or 1)
        ),
        placings=int(number(result, "placings") or 1),
        sibling_placings=None if sibling is None else int(sibling),
    )
    return said.removeprefix("Placing spread: ")
