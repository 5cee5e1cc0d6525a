"""Fields of a filed result, read without trust: another version may have filed it."""

from collections.abc import Mapping
from math import isfinite
from typing import Any

Fields = Mapping[str, Any]


def number(data: Fields, key: str) -> float | None:
    """A finite number, None where there is none."""
    value = data.get(key)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    return float(value) if isfinite(value) else None


def words(data: Fields, key: str) -> str:
    """A text, empty where there is none."""
    value = data.get(key)
    return value if isinstance(value, str) else ""


def table(data: Fields, key: str) -> Fields:
    """An object, empty where there is none."""
    value = data.get(key)
    return value if isinstance(value, dict) else {}


def rows(data: Fields, key: str) -> list[Fields]:
    """The objects of a list."""
    value = data.get(key)
    return [each for each in value if isinstance(each, dict)] if isinstance(value, list) else []
