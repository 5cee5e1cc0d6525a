"""TOML with a schema: a text in, a checked object out, a mistake named by its line."""

import re
import sys
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError

from sniff.errors import InputError, UsageError
from sniff.units import (
    Tolerance,
    parse_dbfs,
    parse_decibels,
    parse_duration,
    parse_frequency,
    parse_tolerance,
)

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

Model = TypeVar("Model", bound=BaseModel)


class Table(BaseModel):
    """A TOML table that refuses keys it does not know and cannot be changed later."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True
    )


def _refuse_truth(value: Any) -> None:
    if isinstance(value, bool):  # which would pass for 0 or 1
        raise ValueError("true and false are no numbers")


def _frequency(value: Any) -> Any:
    _refuse_truth(value)
    if isinstance(value, str):
        try:
            return parse_frequency(value)
        except UsageError as error:
            raise ValueError(str(error)) from None
    return value


def _duration(value: Any) -> Any:
    _refuse_truth(value)
    if isinstance(value, str):
        try:
            return parse_duration(value)
        except UsageError as error:
            raise ValueError(str(error)) from None
    return value


def _decibels(value: Any) -> Any:
    _refuse_truth(value)
    if isinstance(value, str):
        try:
            return parse_decibels(value)
        except UsageError as error:
            raise ValueError(str(error)) from None
    return value


def _level(value: Any) -> Any:
    if isinstance(value, str):
        try:
            return parse_dbfs(value)
        except UsageError as error:
            raise ValueError(str(error)) from None
    raise ValueError('a level is a text with its unit, such as "-41dBFS"')


def _tolerance(value: Any) -> Any:
    if isinstance(value, str):
        try:
            return parse_tolerance(value)
        except UsageError as error:
            raise ValueError(str(error)) from None
    if isinstance(value, Tolerance):
        return value
    raise ValueError('a tolerance is a text with a unit, such as "50ppm" or "5kHz"')


Hertz = Annotated[float, BeforeValidator(_frequency)]
"""A number of hertz, or a text such as ``"83.6M"``."""

Seconds = Annotated[float, BeforeValidator(_duration)]
"""A number of seconds, or a text such as ``"30min"``."""

Decibels = Annotated[float, BeforeValidator(_decibels)]
"""A number of decibels, or a text such as ``"20dB"``."""

Level = Annotated[float, BeforeValidator(_level)]
"""A text such as ``"-41dBFS"``."""

Allowed = Annotated[Tolerance, BeforeValidator(_tolerance)]
"""A text such as ``"50ppm"`` or ``"5kHz"``."""


_WANTED = {
    "extra_forbidden": "this key is not known here; check its spelling",
    "missing": "this key is missing",
    "tuple_type": 'a list is wanted, such as ["this", "that"]',
    "list_type": 'a list is wanted, such as ["this", "that"]',
    "string_type": "a text in quotes is wanted",
    "int_type": "a whole number is wanted",
    "int_from_float": "a whole number is wanted",
    "float_type": "a number is wanted",
    "bool_type": "true or false is wanted, without quotes",
    "model_type": "a table is wanted, under a heading in square brackets",
}
"""What a TOML file should hold instead, by the kind of mistake; the schema's library speaks of
Python's types."""


def load(text: str, model: type[Model], *, name: str) -> Model:
    """Read a TOML text into a checked model.

    Parameters
    ----------
    text : str
        The TOML.
    model : type
        A `Table`.
    name : str
        What to call the text in an error, usually its path.

    Raises
    ------
    InputError
        On bad TOML, an unknown key, a wrong type or unit; the message names the line.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{name}: not valid TOML: {error}") from None
    try:
        return model.model_validate(data)
    except ValidationError as error:
        mistakes = error.errors(include_url=False)
        # A misspelt key is also missing under its right name: the spelling is what to mend.
        misspelt = (mistake for mistake in mistakes if mistake["type"] == "extra_forbidden")
        first = next(misspelt, mistakes[0])
        path = [part for part in first["loc"] if not isinstance(part, str) or "[" not in part]
        keys = ".".join(str(part) for part in path) or "the file"
        message = _WANTED.get(first["type"], first["msg"].removeprefix("Value error, "))
        raise InputError(f"{place_in(text, path, name=name)}: {keys}: {message}") from None


def place_in(text: str, path: list[Any], *, name: str) -> str:
    """Where a key is written: ``set.toml, line 7``, or the name alone when no line is to blame.

    Parameters
    ----------
    text : str
        The TOML.
    path : list
        Names of tables and of the key, and after an array of tables the number of the table.
    name : str
        What to call the text.
    """
    line = _line_of(text, path)
    return f"{name}, line {line}" if line else name


def _line_of(text: str, path: list[Any]) -> int | None:
    """Line of a key, by following table headers; None when it is not written out in one place."""
    names = [part for part in path if isinstance(part, str)]
    if not names:
        return None
    counts = {
        tuple(p for p in path[:at] if isinstance(p, str)): part
        for at, part in enumerate(path)
        if isinstance(part, int)
    }
    table: tuple[str, ...] = ()
    seen: dict[tuple[str, ...], int] = {}
    best: int | None = None

    def inside() -> bool:
        heads = [table[:depth] for depth in range(1, len(table) + 1)]
        return all(seen.get(head, 0) == counts.get(head, 0) for head in heads)

    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[(\[?)\s*([^\[\]]+?)\s*\]", line)
        if header:
            table = tuple(part.strip().strip("\"'") for part in header[2].split("."))
            if header[1]:
                seen[table] = seen.get(table, -1) + 1
                # The arrays within it begin anew.
                for other in [each for each in seen if each[: len(table)] == table != each]:
                    del seen[other]
            if list(table) == names[: len(table)] and inside():
                best = number
            continue
        key = re.match(r"\s*([A-Za-z0-9_.\"'-]+)\s*=", line)
        if key and inside():
            full = [*table, *(part.strip("\"'") for part in key[1].split("."))]
            if full == names[: len(full)]:
                return number
    return best
