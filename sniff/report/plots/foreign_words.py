"""Words that we did not choose, such as names of files and lines, made fit for a picture."""

from functools import lru_cache

from matplotlib.font_manager import findfont, get_font

from sniff.report.plots.page import text_width_mm
from sniff.report.plots.style import FONT


def drawable(text: str) -> str:
    """A text with a box for each character that our font does not have."""
    known = _characters()
    return "".join(
        letter if letter.isprintable() and ord(letter) in known else "□" for letter in text
    )


def literal(text: str) -> str:
    """A drawable text whose dollar signs begin no formula."""
    return drawable(text).replace("$", r"\$")


@lru_cache(maxsize=1)
def _characters() -> frozenset[int]:
    return frozenset(get_font(findfont(FONT)).get_charmap())


def elided(name: str, width_mm: float) -> str:
    """A name with its middle left out, so that it fits; beginnings and ends tell most."""
    if text_width_mm(name) <= width_mm:
        return name
    fits, too_long = 0, len(name)
    while too_long - fits > 1:
        kept = (fits + too_long) // 2
        if text_width_mm(_without_middle(name, kept)) <= width_mm:
            fits = kept
        else:
            too_long = kept
    return _without_middle(name, fits)


def _without_middle(name: str, kept: int) -> str:
    return f"{name[: kept // 2]}…{name[len(name) - (kept + 1) // 2 :]}"
