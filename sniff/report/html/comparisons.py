"""Comparisons with a known-good set before and after the repair, place by place, line by line."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sniff.compare import Likeness
from sniff.job.entries import Reading
from sniff.report.compare_words import SIGNS, without_home
from sniff.report.html.boards import LineSide, tone_of
from sniff.report.html.fields import Fields, number, rows, words
from sniff.report.html.pairing import Sides, of_command
from sniff.units import (
    format_db_reading,
    format_dbfs,
    format_frequency,
    format_ppm_reading,
)

_SIGNS = {state.value: sign for state, sign in SIGNS.items()}
_UNTOLD = (Likeness.IN_BOTH.value, Likeness.NEITHER.value, Likeness.HIDDEN.value)
_OUTSIDE = ("room", "stays")
_MOST_BESIDES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedPair:
    """One line of the plan before and after."""

    name: str
    wanted: bool
    expected: str
    before: LineSide | None
    after: LineSide | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceSide:
    """What a comparison said of one place.

    Attributes
    ----------
    verdict, tone, sentence : str
    besides : tuple of str
        What else differs, of lines that no plan lists.
    """

    verdict: str
    tone: str
    sentence: str
    besides: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacePair:
    """One place before and after; its name is empty for the only one."""

    place: str
    before: PlaceSide | None
    after: PlaceSide | None
    lines: tuple[ComparedPair, ...]


@dataclass(frozen=True, kw_only=True)
class ComparisonPair:
    """The latest comparison of each side.

    Attributes
    ----------
    against : str
        The good set, and both carriers.
    before, after : Reading or None
    places : tuple of PlacePair
    """

    against: str
    before: Reading | None
    after: Reading | None
    places: tuple[PlacePair, ...]


def comparison_pairs(sides: Sides) -> tuple[ComparisonPair, ...]:
    """Pair the comparisons of each carrier that the suspect was compared on."""
    before, after = (_latest(of_command(side, "compare")) for side in (sides.before, sides.after))
    return tuple(_pair(before.get(key), after.get(key)) for key in dict.fromkeys([*before, *after]))


def _latest(readings: Iterable[Reading]) -> dict[int, Reading]:
    return {
        round(number(reading.result, "suspect_carrier_hz") or 0.0): reading
        for reading in readings
        if rows(reading.result, "places")
    }


def _pair(before: Reading | None, after: Reading | None) -> ComparisonPair:
    both = (before, after)
    places = dict.fromkeys(
        words(place, "place")
        for reading in both
        if reading is not None
        for place in rows(reading.result, "places")
    )
    return ComparisonPair(
        against=_against(after or before),
        before=before,
        after=after,
        places=tuple(_place(name, both) for name in places),
    )


def _against(reading: Reading | None) -> str:
    """``the good set bench:good on 74.7 MHz; the suspect on 72.9 MHz``."""
    assert reading is not None
    result = reading.result
    good_hz, suspect_hz = (number(result, f"{who}_carrier_hz") for who in ("good", "suspect"))
    said = f"the good set {without_home(words(result, 'good'))}"
    if good_hz is None or suspect_hz is None:
        return said
    return f"{said} on {format_frequency(good_hz)}; this one on {format_frequency(suspect_hz)}"


def _place(name: str, both: Sequence[Reading | None]) -> PlacePair:
    before, after = (None if reading is None else _Told(reading, name) for reading in both)
    names = dict.fromkeys(
        line for told in (before, after) if told is not None for line in told.planned
    )
    return PlacePair(
        place=name,
        before=None if before is None else before.side,
        after=None if after is None else after.side,
        lines=tuple(_line_pair(line, before, after) for line in names),
    )


class _Told:
    """What one reading tells of one place."""

    def __init__(self, reading: Reading, place: str) -> None:
        self._lines = [
            line for line in rows(reading.result, "lines") if words(line, "place") == place
        ]
        self._place = next(
            (each for each in rows(reading.result, "places") if words(each, "place") == place), None
        )
        self.planned = {words(line, "name"): line for line in self._lines if line.get("planned")}

    @property
    def side(self) -> PlaceSide | None:
        """The verdict there; None when that place was not compared."""
        if self._place is None:
            return None
        besides = [self._beside(line) for line in self._lines if _tells(line)]
        more = len(besides) - _MOST_BESIDES
        return PlaceSide(
            verdict=words(self._place, "verdict"),
            tone=tone_of(words(self._place, "verdict")),
            sentence=words(self._place, "sentence"),
            besides=(*besides[:_MOST_BESIDES], *([f"and {more} more"] if more > 0 else [])),
        )

    def line(self, name: str) -> LineSide | None:
        """One line of the plan; None when it is not there."""
        line = self.planned.get(name)
        if line is None:
            return None
        state = words(line, "state")
        return LineSide(
            state=state,
            sign=_SIGNS.get(state, "?"),
            tone=tone_of(state),
            reading=_at(line, "suspect"),
            error=self._shift(line),
            level=_level(line),
            plan="",
            sibling=_difference(line),
            why=words(line, "why"),
        )

    def _beside(self, line: Fields) -> str:
        at = _at(line, "suspect") or _at(line, "good")
        name = words(line, "name")
        said = [f"{name} at {at}" if name else f"line at {at}", words(line, "state")]
        return ", ".join(filter(None, [*said, _difference(line)]))

    def _shift(self, line: Fields) -> str:
        at = _at(line, "good")
        if not at:
            return ""
        shift_ppm, u_ppm = number(line, "shift_ppm"), number(line, "u_shift_ppm")
        if shift_ppm is None or u_ppm is None:
            return f"the good set's at {at}"
        return f"{format_ppm_reading(shift_ppm, 2.0 * u_ppm)} against the good set's at {at}"


def _at(line: Fields, who: str) -> str:
    """Where one set has the line, to as many digits as its uncertainty allows; or empty."""
    hz, u_hz = number(line, f"{who}_hz"), number(line, f"u_{who}_hz")
    return "" if hz is None or u_hz is None else format_frequency(hz, 2.0 * u_hz)


def _tells(line: Fields) -> bool:
    """Whether a line that no plan lists tells of a difference of the sets."""
    differs = words(line, "state") not in _UNTOLD
    return not line.get("planned") and differs and words(line, "origin") not in _OUTSIDE


def _line_pair(name: str, before: _Told | None, after: _Told | None) -> ComparedPair:
    told = [each for each in (after, before) if each is not None and name in each.planned]
    stated = told[0].planned[name]
    suspect_hz, good_hz = (number(stated, f"expected_{who}_hz") for who in ("suspect", "good"))
    places = []
    if suspect_hz is not None:
        places.append(f"expected {format_frequency(suspect_hz)}")
    if good_hz is not None:
        places.append(f"in the good set {format_frequency(good_hz)}")
    return ComparedPair(
        name=name,
        wanted=bool(stated.get("wanted")),
        expected=", ".join(places),
        before=None if before is None else before.line(name),
        after=None if after is None else after.line(name),
    )


def _level(line: Fields) -> str:
    level_dbfs = number(line, "suspect_dbfs")
    if level_dbfs is not None:
        return format_dbfs(level_dbfs)
    would_dbfs = number(line, "would_see_suspect_dbfs")
    return "" if would_dbfs is None else f"would be seen from {format_dbfs(would_dbfs)} on"


def _difference(line: Fields) -> str:
    difference_db = number(line, "difference_db")
    expanded_db = number(line, "expanded_difference_db")
    if difference_db is None or expanded_db is None:
        return ""
    return f"{format_db_reading(difference_db, expanded_db)} against the good set's"
