"""A place on the board where a loop can be held, and what a plan expects of it."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from math import isfinite
from typing import TypeVar

from sniff.errors import UsageError

_MOST_LETTERS = 60


class PlaceError(UsageError):
    """A place that cannot be.

    Attributes
    ----------
    path : tuple of str or int
        What of the plan is to blame, as a file has it: ``("places", 1, "lines", 0, "name")``.
    """

    def __init__(self, text: str, *path: str | int) -> None:
        super().__init__(text)
        self.path = path


@contextmanager
def told_at(*path: str | int) -> Iterator[None]:
    """Put this before the path of any `PlaceError` from within."""
    try:
        yield
    except PlaceError as error:
        raise PlaceError(str(error), *path, *error.path) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedLine:
    """A line that must be there at a place.

    Attributes
    ----------
    name : str
        As the plan's lines are called: ``LO``, ``crystal × 2``.
    level_dbfs : float or None
        What a good set shows there, dBFS; None where that is not known.
    within_db : float or None
        How much weaker it may be, dB; None: by what placing the loop explains.
    """

    name: str
    level_dbfs: float | None = None
    within_db: float | None = None

    def __post_init__(self) -> None:
        if self.level_dbfs is not None and not isfinite(self.level_dbfs):
            raise PlaceError(f"{self.level_dbfs} is no level in dBFS", "level")
        if self.within_db is None:
            return
        if not isfinite(self.within_db) or self.within_db < 0:
            raise PlaceError(f"within {self.within_db} dB must not be negative", "within")
        if self.level_dbfs is None:
            raise PlaceError(f"{self.name}: within says nothing without a level", "within")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPlace:
    """A place on the board, such as the feed to a channel.

    Attributes
    ----------
    name : str
    lines : tuple of PlacedLine
        What must be there; other lines are not looked for.
    carrier_hz : float or None
        Carrier of the channel that the place belongs to, in a set of several, Hz; None: the
        plan's own.
    """

    name: str
    lines: tuple[PlacedLine, ...]
    carrier_hz: float | None = None

    def __post_init__(self) -> None:
        try:
            tidy = checked_name(self.name)
        except UsageError as error:
            raise PlaceError(str(error), "name") from None
        object.__setattr__(self, "name", tidy)
        if not self.lines:
            raise PlaceError(f"place {self.name!r} expects no line; name one", "lines")
        if self.carrier_hz is not None and not (isfinite(self.carrier_hz) and self.carrier_hz > 0):
            raise PlaceError(f"carrier {self.carrier_hz:g} Hz is not above zero", "carrier")
        twice = _second([spelt(line.name) for line in self.lines])
        if twice is not None:
            name = self.lines[twice].name
            raise PlaceError(f"{name!r} stands twice at {self.name!r}", "lines", twice, "name")


def check_names(places: Sequence[PlannedPlace]) -> None:
    """Refuse two places of one name.

    Raises
    ------
    PlaceError
    """
    twice = _second([spelt(place.name) for place in places])
    if twice is not None:
        raise PlaceError(f"there is a place {places[twice].name!r} before", "places", twice, "name")


def checked_name(name: str) -> str:
    """A place's name, its blanks tidied.

    Raises
    ------
    UsageError
        When nothing is left of it, or it cannot be printed in one line.
    """
    tidy = " ".join(name.split())
    if not tidy or not tidy.isprintable() or len(tidy) > _MOST_LETTERS:
        raise UsageError(
            f"{tidy[:_MOST_LETTERS]!r} is no name of a place; write a few words, such as 'feed A'"
        )
    return tidy


def spelt(name: str) -> str:
    """A name as it is compared: blanks and capitals do not matter, nor how "times" is written."""
    words = name.casefold().replace("×", " x ").split()
    tidy = " ".join(words)
    head, x, multiple = tidy.rpartition("x")
    if x and multiple.strip().isdecimal():
        return f"{head.strip()} × {multiple.strip()}"
    return tidy


Keyed = TypeVar("Keyed")


def _second(keys: Sequence[Keyed]) -> int | None:
    """Number of the first that stood before."""
    return next((at for at, key in enumerate(keys) if key in keys[:at]), None)
