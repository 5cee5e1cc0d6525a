"""Checked TOML: a mistake is named by its line, in words a person can use."""

import pytest

from sniff.checked_toml import Allowed, Decibels, Hertz, Seconds, Table, load
from sniff.errors import InputError
from sniff.units import Tolerance


class Part(Table):
    name: str
    hz: Hertz = 0.0


class Whole(Table):
    title: str
    at: Hertz
    within: Allowed | None = None
    lasts: Seconds = 1.0
    pad: Decibels = 0.0
    parts: tuple[Part, ...] = ()
    inner: Part | None = None


class Outer(Table):
    name: str = ""
    parts: tuple[Part, ...] = ()


class Nested(Table):
    outer: tuple[Outer, ...]


GOOD = """title = "all"
at = "83.6M"
within = "50ppm"
lasts = "30min"
pad = "20dB"
[inner]
name = "x"
hz = 5
[[parts]]
name = "a"
[[parts]]
name = "b"
hz = "455k"
"""


def test_what_is_right_is_read_with_its_units() -> None:
    found = load(GOOD, Whole, name="good.toml")
    assert (found.at, found.within, found.lasts, found.pad) == (
        83.6e6,
        Tolerance(ppm=50.0),
        1800.0,
        20.0,
    )
    assert [part.hz for part in found.parts] == [0.0, 455e3]


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('at = "83.6M"', 'at = "83.6 megs"', 2, "83.6 megs"),
        ('within = "50ppm"', 'within = "50"', 3, "no unit"),
        ('within = "50ppm"', "within = 50", 3, "with a unit"),
        ('lasts = "30min"', 'lasts = "30 days"', 4, "duration"),
        ('pad = "20dB"', 'pad = "20 dBm"', 5, "decibels"),
        ('lasts = "30min"', 'last = "30min"', 4, "not known"),
        ("hz = 5", "hertz = 5", 8, "not known"),
        ('hz = "455k"', 'hz = "455 q"', 13, "455 q"),
        ('[[parts]]\nname = "b"', '[[parts]]\nnome = "b"', 12, "not known"),
        ("hz = 5", "hz = true", 8, "hz"),
        ("hz = 5", "hz = [5]", 8, "a number is wanted"),
        ('name = "b"', "name = 5", 12, "a text in quotes is wanted"),
    ],
)
def test_a_mistake_is_named_by_its_line(old: str, new: str, line: int, words: str) -> None:
    with pytest.raises(InputError) as refused:
        load(GOOD.replace(old, new), Whole, name="bad.toml")
    message = str(refused.value)
    assert f"line {line}:" in message
    assert words in message
    assert message.startswith("bad.toml")
    assert "\n" not in message
    assert "http" not in message


def test_a_missing_key_is_named() -> None:
    with pytest.raises(InputError, match=r"bad\.toml.*at: this key is missing"):
        load(GOOD.replace('at = "83.6M"\n', ""), Whole, name="bad.toml")


def test_a_misspelt_needed_key_is_called_misspelt_rather_than_missing() -> None:
    with pytest.raises(InputError, match=r"line 2: att: this key is not known"):
        load(GOOD.replace("at =", "att ="), Whole, name="bad.toml")


def test_broken_toml_has_its_line_from_the_parser() -> None:
    with pytest.raises(InputError, match=r"not valid TOML.*line 2"):
        load('title = "x"\nat = = 5\n', Whole, name="bad.toml")


def test_numbers_that_are_none_are_refused() -> None:
    with pytest.raises(InputError):
        load(GOOD.replace('at = "83.6M"', "at = nan"), Whole, name="bad.toml")


NESTED = """[[outer]]
name = "one"
[[outer.parts]]
name = "a"
[[outer.parts]]
name = "b"
[[outer]]
name = "two"
[[outer.parts]]
name = "c"
[[outer.parts]]
name = "d"
hz = 5
"""


@pytest.mark.parametrize(
    ("old", "new", "line", "keys"),
    [
        ('name = "b"', "name = 3", 6, "outer.0.parts.1.name"),
        ('name = "two"', "name = 3", 8, "outer.1.name"),
        ('name = "c"', "name = 3", 10, "outer.1.parts.0.name"),
        ("hz = 5", 'hz = "5 ppm"', 13, "outer.1.parts.1.hz"),
        ('name = "d"\n', "", 11, "outer.1.parts.1.name"),
    ],
)
def test_a_mistake_in_an_array_within_an_array_names_its_own_line(
    old: str, new: str, line: int, keys: str
) -> None:
    with pytest.raises(InputError, match=rf"x\.toml, line {line}: {keys}: "):
        load(NESTED.replace(old, new), Nested, name="x.toml")
