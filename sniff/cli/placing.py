"""Placing the loop: the simulated bench does it by itself, a person is asked to."""

import sys
from typing import Any, Protocol, runtime_checkable

import click

from sniff.errors import UsageError
from sniff.model import Source
from sniff.sources.ahead import as_received
from sniff.sources.kept import KeptSource


class NotPlacedError(UsageError):
    """Nobody answers who could place the loop."""


@runtime_checkable
class PlacesItself(Protocol):
    """A source that can place its own loop."""

    def place_loop(self, place: str | None, number: int) -> None:
        """Place it, for the given time; None: where it is without a place."""
        ...


@runtime_checkable
class FindsGain(Protocol):
    """A source that finds the best gain for what it hears."""

    def find_gain(self) -> float | None:
        """Set it, and return what came of it, dB."""
        ...


def placed(source: Source, *, what: str, place: str | None, number: int, count: int) -> None:
    """Have the loop placed, and return when it is.

    Parameters
    ----------
    source : Source
        What hears through it.
    what : str
        The set at which it is to be placed, as in "the known-good set".
    place : str or None
        Where on the board.
    number, count : int
        For the how many-th time, from 1 on, and of how many.

    Raises
    ------
    NotPlacedError
        When nobody can be asked.
    UsageError
        When it is a recording, and not the first placing.
    SourceError
        When the bench has no such place.
    """
    receiver = _receiver(source)
    if isinstance(receiver, PlacesItself):
        receiver.place_loop(place, number)
    elif not is_recorded(source):
        _ask(_words(what, place, number, count))
    elif number > 1:
        raise UsageError(
            f"{receiver.info.name}: in a recording the loop cannot be placed again; give one "
            "recording for each placing"
        )


def is_recorded(source: Source) -> bool:
    """Whether it is a recording, in which the loop stays where it was."""
    return source.info.duration_s is not None


def find_gain_again(source: Source, gain: Any) -> None:
    """Find the best gain once the loop is in its place, if that is what was asked for."""
    receiver = _receiver(source)
    if gain in (None, "best") and isinstance(receiver, FindsGain):
        receiver.find_gain()


def _receiver(source: Source) -> Source:
    receiver, _ = as_received(source)
    while isinstance(receiver, KeptSource):
        receiver = receiver.inner
    return receiver


def _words(what: str, place: str | None, number: int, count: int) -> str:
    at = "" if place is None else f" at {place}"
    which = f", placing {number} of {count}" if count > 1 else ""
    return f"Place the loop on {what}{at}{which}; Enter when it is there"


def _ask(words: str) -> None:
    click.echo(f"{words}: ", nl=False, err=True)
    try:
        answer = sys.stdin.readline()
    except KeyboardInterrupt:
        click.echo(err=True)
        raise
    except (AttributeError, OSError, ValueError):  # none, or closed, or cannot be read
        answer = ""
    if not answer:
        click.echo(err=True)
        raise NotPlacedError(
            "nobody answers to place the loop: run it on a terminal, or let a line come on "
            "standard input for each placing"
        )
    if not sys.stdin.isatty():  # where no Enter was seen, the next words begin a line of their own
        click.echo(err=True)
