"""Texts that people write: made storable and printable, and searched by their words."""

import unicodedata
from collections.abc import Iterator
from typing import Any


def clean(text: str) -> str:
    """A text without what is no text.

    Bytes that were no UTF-8 become the replacement character. Control characters go, as a
    terminal would obey them; line breaks and tabs stay.
    """
    # A lone surrogate is how Python carries a byte of the command line that is no UTF-8.
    whole = ("\ufffd" if unicodedata.category(c) == "Cs" else c for c in text)
    kept = (c for c in whole if c in "\n\t" or unicodedata.category(c) != "Cc")
    return "".join(kept).strip()


def texts_in(data: Any) -> Iterator[str]:
    """All texts among a result's values, in order."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from texts_in(value)
    elif isinstance(data, list):
        for value in data:
            yield from texts_in(value)


def tokens(text: str) -> list[str]:
    """Its words without case and accents: runs of letters and digits."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return "".join(c if c.isalnum() else " " for c in plain).split()


def holds(text: str, wanted: list[str]) -> bool:
    """Whether each wanted token begins one of the text's words."""
    there = tokens(text)
    return all(any(word.startswith(token) for word in there) for token in wanted)
