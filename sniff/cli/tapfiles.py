"""Files of a tap test: lists of taps, and the counts of the control."""

import csv
import io
import json
from collections.abc import Iterable, Mapping
from math import isfinite
from pathlib import Path
from typing import Any

from pydantic import Field

from sniff.checked_toml import Seconds, Table, load
from sniff.errors import InputError, UsageError
from sniff.taps.judging import Spot
from sniff.taps.nouns import Provocation, Tally, Tap
from sniff.units import parse_duration

_COLUMNS = ("at_s", "spot", "by")
_LARGEST_BYTES = 10_000_000


class _TapEntry(Table):
    at_s: Seconds = Field(ge=0)
    spot: str = Field(min_length=1)
    by: Provocation


class _TapList(Table):
    taps: tuple[_TapEntry, ...] = Field(min_length=1)


class _Count(Table):
    spot: str = Field(min_length=1)
    by: Provocation
    taps: int = Field(ge=0)
    answered: int = Field(ge=0)


class _Counts(Table):
    spots: tuple[_Count, ...] = Field(min_length=1)


def read_taps(path: Path) -> tuple[Tap, ...]:
    """Read a list of taps, TOML or CSV.

    Raises
    ------
    UsageError
        When its name is not that of a list.
    InputError
        When it is none, with the line.
    """
    if path.suffix.lower() not in (".csv", ".toml"):
        raise UsageError(
            f"--taps {path}: write keys, annotations, or a list that ends in .toml or .csv"
        )
    text = _text(path)
    if path.suffix.lower() == ".csv":
        return tuple(_csv_taps(text, path))
    entries = load(text, _TapList, name=str(path)).taps
    return tuple(Tap(at_s=entry.at_s, spot=entry.spot, by=entry.by) for entry in entries)


def read_control(path: Path) -> dict[Spot, Tally]:
    """Read what the sibling answered: the JSON of its own tap test, or counts in TOML.

    Raises
    ------
    InputError
        When it is neither.
    """
    text = _text(path)
    if path.suffix.lower() == ".toml":
        counts = load(text, _Counts, name=str(path)).spots
        return _tallies(
            ((each.spot, each.by.value, each.taps, each.answered) for each in counts), path
        )
    try:
        spots = json.loads(text)["result"]["taps"]["spots"]
        return _tallies(((s["spot"], s["by"], s["taps"], s["answered"]) for s in spots), path)
    except (ValueError, KeyError, TypeError, RecursionError):
        raise InputError(
            f"{path}: is no answer of 'sniff watch --taps ... --json', and no .toml with counts"
        ) from None


def _tallies(counts: Iterable[tuple[Any, ...]], path: Path) -> dict[Spot, Tally]:
    found: dict[Spot, Tally] = {}
    for spot, by, taps, answered in counts:
        if not isinstance(taps, int) or not isinstance(answered, int):
            raise TypeError("counts are whole numbers")
        if not 0 <= answered <= taps:
            raise InputError(f"{path}: {spot!r} answered {answered} of {taps} taps")
        key = (str(spot), Provocation(by))
        before = found.get(key, Tally(answered=0, taps=0))
        found[key] = Tally(answered=before.answered + answered, taps=before.taps + taps)
    return found


def _csv_taps(text: str, path: Path) -> Iterable[Tap]:
    lines = csv.DictReader(io.StringIO(text), skipinitialspace=True)
    try:
        if tuple(name.strip() for name in lines.fieldnames or ()) != _COLUMNS:
            raise InputError(f"{path}: its first line must be {','.join(_COLUMNS)}")
        lines.fieldnames = list(_COLUMNS)
        taps = [_csv_tap(fields, path, lines.line_num) for fields in lines]
    except csv.Error as error:
        raise InputError(f"{path}: is no CSV: {error}") from None
    if not taps:
        raise InputError(f"{path}: lists no tap")
    return taps


def _csv_tap(fields: Mapping[str, Any], path: Path, line: int) -> Tap:
    at, spot, by = (str(fields.get(name) or "").strip() for name in _COLUMNS)
    try:
        at_s = parse_duration(at)
        if not isfinite(at_s) or not spot or None in fields:
            raise ValueError
        return Tap(at_s=at_s, spot=spot, by=Provocation(by))
    except (ValueError, UsageError):
        known = ", ".join(each.value for each in Provocation)
        raise InputError(
            f"{path}, line {line}: is no tap; write 12.3,C14,stick (a time, a spot, one of {known})"
        ) from None


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise InputError(f"{path}: is too long for a list")
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: is no text in UTF-8") from None
