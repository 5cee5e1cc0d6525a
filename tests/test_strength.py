"""Is a line as strong as it should be: against the sibling, and against what a plan states."""

from dataclasses import replace

import pytest

from sniff.board import BoardLine, LineState
from sniff.placings import PlacingSpread
from sniff.strength import (
    LEAST_DB,
    PLACEMENT_DB,
    Placing,
    against_plan,
    against_sibling,
    at_gain,
)
from sniff.superhet.place import PlacedLine
from tests.test_placings import missed, seen

MEASURED = Placing(spread=PlacingSpread(sd_db=2.0, degrees=8))
"""U of a difference of two means of five: by JCGM 100:2008, table G.2 (from memory), k = 2.37 at 8
degrees, hence 2.37 · 2 · sqrt(2 / 5) = 3.00 dB; of a mean of five and one, 2.37 · 2 · sqrt(6 / 5)
= 5.19 dB."""


def placed(level_dbfs: float, *, seen_in: int = 5) -> BoardLine:
    return replace(seen(level_dbfs), placings=5, seen_in=seen_in)


def compared(line: BoardLine, other: BoardLine, placing: Placing) -> BoardLine:
    (judged,) = against_sibling([line], [other], placing=placing)
    return judged


def held(line: BoardLine, placing: Placing, **stated: float) -> BoardLine:
    named = {"LO": PlacedLine(name="LO", **stated)}
    (judged,) = against_plan([line], named, placing=placing)
    return judged


@pytest.mark.parametrize(
    ("placing", "difference_db", "state"),
    [
        (Placing(), -PLACEMENT_DB + 0.1, LineState.PRESENT),
        (Placing(), -PLACEMENT_DB - 0.1, LineState.WEAK),
        (Placing(stated_db=10.0), -9.9, LineState.PRESENT),
        (Placing(stated_db=1.0), -1.1, LineState.WEAK),
        (Placing(spread=PlacingSpread(sd_db=4.0, degrees=8)), -5.9, LineState.PRESENT),
        (Placing(spread=PlacingSpread(sd_db=4.0, degrees=8)), -6.1, LineState.WEAK),
        (Placing(spread=PlacingSpread(sd_db=4.0, degrees=1)), -20.0, LineState.PRESENT),
    ],
)
def test_a_line_is_weak_when_placing_does_not_explain_it(
    placing: Placing, difference_db: float, state: LineState
) -> None:
    """With s of 4 dB, twice `MEASURED`: 6.0 dB; with one degree of freedom 35 dB (k = 13.97)."""
    line = compared(placed(-40.0 + difference_db), placed(-40.0), placing)
    assert line.state is state
    assert line.versus_sibling_db == pytest.approx(difference_db)


def test_a_spread_of_nothing_does_not_make_good_sets_differ() -> None:
    """A loop in a jig: placing explains 0.03 dB, but no two sets are alike to that."""
    exact = Placing(spread=PlacingSpread(sd_db=0.02, degrees=8))
    assert compared(placed(-42.9), placed(-40.0), exact).state is LineState.PRESENT
    weak = compared(placed(-40.1 - LEAST_DB), placed(-40.0), exact)
    assert weak.state is LineState.WEAK
    assert "that good sets differ by" in weak.why


def test_fewer_placings_allow_more() -> None:
    """One placing each: 2.37 · 2 · sqrt(2) = 6.70 dB."""
    once = replace(seen(-46.5), placings=1, seen_in=1)
    assert compared(once, seen(-40.0), MEASURED).state is LineState.PRESENT
    assert compared(placed(-46.5), placed(-40.0), MEASURED).state is LineState.WEAK


def test_a_sibling_seen_only_now_and_then_weakens_nobody() -> None:
    """Its mean is of the placings that showed most of it."""
    line = compared(placed(-80.0), placed(-60.0, seen_in=3), MEASURED)
    assert line.state is LineState.PRESENT
    assert "seen in 3 of 5 placings only" in line.why
    assert line.versus_sibling_db == pytest.approx(-20.0)


def test_a_weak_line_seen_now_and_then_says_so() -> None:
    assert (
        "seen in 3 of 5 placings" in compared(placed(-60.0, seen_in=3), placed(-40.0), MEASURED).why
    )


@pytest.mark.parametrize(
    ("placing", "level_dbfs", "within_db", "state"),
    [
        (Placing(), -45.9, None, LineState.PRESENT),
        (Placing(), -46.1, None, LineState.WEAK),
        (Placing(), -49.9, 10.0, LineState.PRESENT),
        (Placing(), -50.1, 10.0, LineState.WEAK),
        (MEASURED, -45.1, None, LineState.PRESENT),
        (MEASURED, -45.3, None, LineState.WEAK),
        (MEASURED, -45.1, 1.0, LineState.PRESENT),
        (MEASURED, -45.3, 1.0, LineState.WEAK),
        (Placing(), -20.0, None, LineState.PRESENT),
    ],
)
def test_a_line_is_weak_by_the_plan_when_it_is_weaker_than_allowed(
    placing: Placing, level_dbfs: float, within_db: float | None, state: LineState
) -> None:
    """What placing explains, 5.19 dB for `MEASURED`, is allowed whatever the plan says."""
    allowed = {} if within_db is None else {"within_db": within_db}
    line = held(placed(level_dbfs), placing, level_dbfs=-40.0, **allowed)
    assert line.state is state
    assert line.stated_dbfs == -40.0
    assert line.versus_stated_db == pytest.approx(level_dbfs + 40.0)


def test_what_the_plan_does_not_allow_but_placing_may_explain_is_told() -> None:
    line = held(placed(-44.0), MEASURED, level_dbfs=-40.0, within_db=3.0)
    assert line.state is LineState.PRESENT
    assert "−4.0 dB against the −40.0 dBFS that the plan states: placing the loop may" in line.why
    assert "placing" not in held(placed(-42.0), MEASURED, level_dbfs=-40.0, within_db=3.0).why


def test_a_plan_without_a_level_judges_none() -> None:
    line = placed(-90.0)
    assert against_plan([line], {"LO": PlacedLine(name="LO")}, placing=MEASURED) == (line,)
    assert against_plan([line], {}, placing=MEASURED) == (line,)


def test_an_absent_line_stays_absent_where_the_stated_level_would_have_been_seen() -> None:
    absent = missed(LineState.ABSENT, would_see_dbfs=-60.0)
    clear = held(absent, Placing(), level_dbfs=-53.9)
    assert clear.state is LineState.ABSENT
    assert "the plan states −53.9 dBFS" in clear.why
    assert held(absent, Placing(), level_dbfs=-54.1).state is LineState.HIDDEN


def test_a_weak_line_is_told_by_plan_and_sibling() -> None:
    line = held(placed(-60.0), Placing(), level_dbfs=-40.0)
    line = compared(line, placed(-41.0), Placing())
    assert line.state is LineState.WEAK
    assert line.why.endswith("; −19.0 dB against the sibling")


@pytest.mark.parametrize("state", [LineState.UNSTEADY, LineState.OFF_FREQUENCY])
def test_what_is_worse_than_weak_stays_what_it_is(state: LineState) -> None:
    line = replace(placed(-60.0), state=state, why="as it was")
    assert held(line, Placing(), level_dbfs=-40.0).state is state
    assert compared(line, placed(-40.0), Placing()).state is state


def test_another_gain_is_taken_out_of_the_siblings_levels_and_adds_its_own_doubt() -> None:
    """At 20 dB more gain each level is 20 dB higher; two steps of the gain differ by ±2 dB (k = 2;
    common practice, no source), hence hypot(6, 2) = 6.3 dB."""
    (moved,) = at_gain([replace(placed(-60.0), would_see_dbfs=-90.0)], 20.0)
    assert (moved.level_dbfs, moved.would_see_dbfs) == (-40.0, -70.0)
    (unseen,) = at_gain([missed(LineState.ABSENT)], 20.0)
    assert unseen.level_dbfs is None
    other = Placing(other_gain=True)
    assert compared(placed(-46.2), moved, other).state is LineState.PRESENT
    weak = compared(placed(-46.5), moved, other)
    assert weak.state is LineState.WEAK
    assert "the ±6.3 dB of placing the loop and of another gain" in weak.why
