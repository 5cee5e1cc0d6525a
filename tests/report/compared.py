"""Comparisons of planted sets: what text, picture and report must show is then known."""

from dataclasses import replace
from functools import cache

import numpy as np

from sniff.compare import (
    ComparedLine,
    CompareSettings,
    Comparison,
    Likeness,
    Origin,
    Pair,
    compare,
)
from tests.compare.planted import GOOD, SUSPECT, Line, healthy, pair

ONE_CLOCK = CompareSettings(one_clock=True)
GOOD_PPM, SUSPECT_PPM = 2.0, 4.0
"""How far either crystal is off."""
WEAKER_DB = 17.0
MOVED_PPM = 40.0


@cache
def pair_of(fault: str) -> Pair:
    """A good set, and a suspect with this fault: none, missing, weak or moved."""
    good, suspect = healthy(GOOD, off_ppm=GOOD_PPM), healthy(SUSPECT, off_ppm=SUSPECT_PPM)
    lo = suspect["LO"]
    if fault == "missing":
        del suspect["LO"]
    elif fault == "weak":
        suspect["LO"] = replace(lo, level_dbfs=lo.level_dbfs - WEAKER_DB)
    elif fault == "moved":
        suspect["LO"] = Line(hz=lo.hz * (1.0 + MOVED_PPM * 1e-6), level_dbfs=lo.level_dbfs)
    rng = np.random.default_rng(len(fault))
    return pair(tuple(good.values()), tuple(suspect.values()), rng)


def compared(fault: str) -> Comparison:
    """The comparison of one such pair."""
    return compare([pair_of(fault)], ONE_CLOCK)


def at_two_places() -> Comparison:
    """Feed A in good health, feed B without its LO."""
    return compare(
        [
            replace(pair_of("none"), place="feed A"),
            replace(pair_of("missing"), place="feed B"),
        ],
        ONE_CLOCK,
    )


def without_plan() -> Comparison:
    """The same sets when nothing is known of them but that their carriers are equal."""
    both = pair_of("none")
    bare = [
        replace(sight, plan=None, board=None, carrier_hz=None, looks=sight.looks[:1])
        for sight in (both.good, both.suspect)
    ]
    return compare([replace(both, good=bare[0], suspect=bare[1])], ONE_CLOCK)


def row(state: Likeness, origin: Origin = Origin.UNKNOWN, **more: object) -> ComparedLine:
    """A line besides the plan."""
    given = {"name": None, "planned": False, "wanted": False, "why": "so it is", **more}
    for who in ("good", "suspect"):
        if given.get(f"{who}_hz") is not None:
            given.setdefault(f"u_{who}_hz", 1_250.0)
    if isinstance(u_db := given.get("u_difference_db"), float):
        given.setdefault("expanded_difference_db", 2.0 * u_db)
    return ComparedLine(state=state, origin=origin, **given)  # type: ignore[arg-type]


def with_rows(comparison: Comparison, *rows: ComparedLine) -> Comparison:
    """The same with these lines more."""
    result = replace(comparison.result, lines=(*comparison.result.lines, *rows))
    return replace(comparison, result=result)
