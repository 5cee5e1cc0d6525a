"""What differs between two results of the same recording, beyond what their uncertainty explains.

Two readings of one frequency agree when they differ by no more than the old one's expanded
uncertainty (k = 2): recording and clock are the same, so that this is far more than chance alone
would give. Levels and ratios in dB agree within 0.1 dB, all other numbers within 1 % (common
practice, no source). Words and counts agree when they are equal.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

_DB = 0.1
_PART = 0.01
_LEAST = 1e-9
_OF_U = frozenset({"frequency_hz", "error_hz", "indicated_hz"})
_DOUBTS = frozenset({"u_hz", "expanded_hz", "u_indicated_hz", "u_ppm", "u_level_db"})
"""An uncertainty is itself an estimate: it may differ by half before that is news."""
_DOUBT_PART = 0.5
_SENTENCES = frozenset({"why", "says", "text"})
"""They tell in words, with rounded figures, what the other fields tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One field that is not what it was.

    Attributes
    ----------
    field : str
        Its place in the result, such as ``lines[LO].state``.
    old, new : str
    """

    field: str
    old: str
    new: str


def differences(old: Any, new: Any, *, field: str = "") -> list[Difference]:
    """Fields of a result that differ. One that the old result does not have is none: today's
    program may tell more than the one that filed it. One that the new does not have counts."""
    return list(_differ(old, new, field, {}))


def _differ(old: Any, new: Any, field: str, beside: Mapping[str, Any]) -> Iterator[Difference]:
    name = field.rpartition(".")[2]
    if isinstance(old, dict) and isinstance(new, dict):
        for key in old:
            if key not in _SENTENCES:
                inner = f"{field}.{key}" if field else str(key)
                yield from _differ(old.get(key), new.get(key), inner, old)
    elif isinstance(old, list) and isinstance(new, list):
        yield from _differ_in_lists(old, new, field)
    elif _is_number(old) and _is_number(new):
        if not _agree(name, float(old), float(new), beside):
            yield Difference(field=field, old=f"{old:.10g}", new=f"{new:.10g}")
    elif old != new:
        yield Difference(field=field, old=_words(old), new=_words(new))


def _differ_in_lists(old: Sequence[Any], new: Sequence[Any], field: str) -> Iterator[Difference]:
    if not any(isinstance(each, (dict, list)) for each in (*old, *new)):
        yield from _differ_in_course(old, new, field)
        return
    for label, mine, other in _matched(old, new):
        if mine is None or other is None:
            yield Difference(field=f"{field}[{label}]", old=_words(mine), new=_words(other))
        else:
            yield from _differ(mine, other, f"{field}[{label}]", {})


def _differ_in_course(old: Sequence[Any], new: Sequence[Any], field: str) -> Iterator[Difference]:
    """Plain values in a row, such as a level against time: told in one line, not in a thousand."""
    if len(old) != len(new):
        yield Difference(field=field, old=f"{len(old)} values", new=f"{len(new)} values")
        return
    off = sum(
        bool(list(_differ(mine, other, field, {}))) for mine, other in zip(old, new, strict=True)
    )
    if off:
        yield Difference(field=field, old=f"{len(old)} values", new=f"{off} of them otherwise")


def _matched(old: Sequence[Any], new: Sequence[Any]) -> Iterator[tuple[str, Any, Any]]:
    """Items that belong together: by name, by nearest frequency, or by their place."""
    if all(isinstance(each, dict) and isinstance(each.get("name"), str) for each in (*old, *new)):
        mine, other = ({each["name"]: each for each in side} for side in (old, new))
        for name in dict.fromkeys([*mine, *other]):
            yield name, mine.get(name), other.get(name)
        return
    if all(
        isinstance(each, dict) and _is_number(each.get("frequency_hz")) for each in (*old, *new)
    ):
        yield from _by_frequency(old, new)
        return
    for place in range(max(len(old), len(new))):
        yield (
            str(place),
            old[place] if place < len(old) else None,
            new[place] if place < len(new) else None,
        )


def _by_frequency(old: Sequence[Any], new: Sequence[Any]) -> Iterator[tuple[str, Any, Any]]:
    left = list(new)
    for each in old:
        hz, expanded_hz = each["frequency_hz"], 2.0 * float(each.get("u_hz") or 0.0)
        nearest = min(left, key=lambda one: abs(one["frequency_hz"] - hz), default=None)
        if nearest is not None and abs(nearest["frequency_hz"] - hz) <= max(expanded_hz, 1.0):
            left.remove(nearest)
            yield f"{hz:.0f} Hz", each, nearest
        else:
            yield f"{hz:.0f} Hz", each, None
    for each in left:
        yield f"{each['frequency_hz']:.0f} Hz", None, each


def _agree(name: str, old: float, new: float, beside: Mapping[str, Any]) -> bool:
    off = abs(new - old)
    if name in _OF_U and _is_number(beside.get("u_hz")):
        return off <= max(2.0 * float(beside["u_hz"]), _LEAST)
    if name == "error_ppm" and _is_number(beside.get("expected_hz")):
        u_ppm = float(beside.get("u_hz") or 0.0) / float(beside["expected_hz"]) * 1e6
        return off <= max(2.0 * u_ppm, _LEAST)
    if name in _DOUBTS:
        return off <= max(_DOUBT_PART * abs(old), _LEAST)
    if name.endswith(("_db", "_dbfs", "_dbm", "_dbfs_per_hz")):
        return off <= _DB
    if isinstance(beside.get(name), int):  # a count
        return off == 0
    return off <= max(_PART * abs(old), _LEAST)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and isfinite(value)


def _words(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, dict):
        return ", ".join(f"{key} {item}" for key, item in list(value.items())[:3])
    if isinstance(value, list):
        return f"{len(value)} entries"
    return str(value)
