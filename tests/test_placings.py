"""Placings of the loop: their spread against closed forms, and one board of several."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.board import Board, BoardLine, BoardResult, BoardVerdict, LineState
from sniff.model import Caution
from sniff.placings import PlacingSpread, combined, expanded_factor, measured_spread
from sniff.probe import in_its_place
from sniff.verdict import Outcome

PLACE_HZ = 83.6e6
ALLOWED_HZ = 500.0
NOTHING = BoardLine(
    name="LO",
    role="lo",
    formula="test",
    wanted=True,
    expected_hz=PLACE_HZ,
    tolerance_hz=ALLOWED_HZ,
    window_hz=5_000.0,
    state=LineState.OUT_OF_VIEW,
    why="nothing is known of it",
)


def seen(
    level_dbfs: float,
    *,
    name: str = "LO",
    error_hz: float = 0.0,
    own_hz: float = 1.0,
    clock_hz: float = 3.0,
    would_see_dbfs: float = -95.0,
) -> BoardLine:
    """A line that is there, as a probe judges it."""
    return in_its_place(
        replace(
            NOTHING,
            name=name,
            frequency_hz=PLACE_HZ + error_hz,
            u_hz=float(np.hypot(own_hz, clock_hz)),
            u_indicated_hz=own_hz,
            error_hz=error_hz,
            level_dbfs=level_dbfs,
            snr_db=level_dbfs + 110.0,
            present_fraction=1.0,
            would_see_dbfs=would_see_dbfs,
            seen_in=1,
        )
    )


def missed(state: LineState, *, name: str = "LO", would_see_dbfs: float | None = None) -> BoardLine:
    return replace(NOTHING, name=name, state=state, would_see_dbfs=would_see_dbfs, why="not seen")


def board(*lines: BoardLine, cautions: tuple[Caution, ...] = ()) -> Board:
    result = BoardResult(verdict=BoardVerdict.UNDECIDED, why="", lines=lines)
    return Board(result=result, looks=(), cautions=cautions)


def boards(**levels_dbfs: object) -> list[Board]:
    """Placings by the levels of each line, such as ``LO=(-40, -42)``."""
    columns = [np.atleast_1d(np.asarray(each, float)) for each in levels_dbfs.values()]
    return [
        board(*(seen(level, name=name) for name, level in zip(levels_dbfs, row, strict=True)))
        for row in zip(*columns, strict=True)
    ]


def only(found: Board) -> BoardLine:
    (line,) = found.result.lines
    return line


def spread_of(*sets: list[Board]) -> PlacingSpread:
    spread = measured_spread(*sets)
    assert spread is not None
    return spread


def test_the_spread_of_one_line_is_its_standard_deviation() -> None:
    """By hand: deviations 2, 0, −2, hence s² = 8 / 2."""
    assert spread_of(boards(LO=(-40, -42, -44))) == PlacingSpread(sd_db=2.0, degrees=2)


def test_the_spread_of_two_lines_is_pooled() -> None:
    """NIST/SEMATECH e-Handbook 7.3.1.1: (8 + 6) / (2 + 2). The two move together in part: S is
    ((8, 6), (6, 6)), tr(S)² / (2 tr(S²)) = 196 / 344, which leaves 2.28 of 4 degrees (Box 1954)."""
    spread = spread_of(boards(LO=(-40, -42, -44), crystal=(-60, -60, -63)))
    assert spread.sd_db == pytest.approx(sqrt(14 / 4))
    assert spread.degrees == 2
    assert spread.lines == 2


def test_lines_that_move_as_one_count_as_one() -> None:
    moved = np.array([0.0, 1.5, -2.0, 0.7, 3.1])
    spread = spread_of(boards(LO=-40 + moved, crystal=-60 + moved, third=-70 + moved))
    assert spread.degrees == 4
    assert spread.sd_db == pytest.approx(float(np.std(moved, ddof=1)))


def test_lines_that_move_apart_count_each() -> None:
    """Deviations at right angles to each other, of equal size: 2 lines of 4 degrees each."""
    spread = spread_of(boards(LO=(-39, -41, -40, -40, -40), crystal=(-60, -60, -59, -61, -60)))
    assert spread.degrees == 8


def test_two_sets_are_pooled_each_about_its_own_mean() -> None:
    """A weak set is no spread of placing: deviations ±1 in both, s² = 4 / 2."""
    spread = spread_of(boards(LO=(-40, -42)), boards(LO=(-60, -62)))
    assert spread.sd_db == pytest.approx(sqrt(2.0))
    assert spread.degrees == 2


def test_fewer_than_two_placings_measure_nothing() -> None:
    assert measured_spread([]) is None
    assert measured_spread(boards(LO=-40)) is None
    assert measured_spread([board(seen(-40)), board(missed(LineState.HIDDEN))]) is None


def test_a_line_that_sank_out_of_sight_does_not_count() -> None:
    """What is left of it lies close together, and would make the spread too small."""
    placings = [
        board(seen(-40, name="LO"), seen(-80.1, name="crystal")),
        board(seen(-44, name="LO"), missed(LineState.ABSENT, name="crystal")),
        board(seen(-42, name="LO"), seen(-80.2, name="crystal")),
    ]
    assert spread_of(placings) == PlacingSpread(sd_db=2.0, degrees=2)


def test_a_line_that_was_not_looked_at_counts_in_the_others() -> None:
    """By hand: LO 8 / 2; crystal ±1, 2 / 1."""
    placings = [
        board(seen(-40, name="LO"), seen(-81, name="crystal")),
        board(seen(-44, name="LO"), missed(LineState.OUT_OF_VIEW, name="crystal")),
        board(seen(-42, name="LO"), seen(-79, name="crystal")),
    ]
    assert spread_of(placings).sd_db == pytest.approx(sqrt((8 + 2) / 3))


def test_an_unsteady_line_does_not_count() -> None:
    comes_and_goes = replace(seen(-70, name="crystal"), state=LineState.UNSTEADY)
    placings = [
        board(seen(level), crystal)
        for level, crystal in ((-40, seen(-50, name="crystal")), (-42, comes_and_goes))
    ]
    assert spread_of(placings) == PlacingSpread(sd_db=sqrt(2.0), degrees=1)


@pytest.mark.parametrize(
    ("degrees", "k"),
    [(1, 13.97), (2, 4.53), (3, 3.31), (4, 2.87), (5, 2.65), (10, 2.28), (20, 2.13)],
)
def test_k_is_that_of_the_guide(degrees: int, k: float) -> None:
    """JCGM 100:2008, table G.2, 95.45 % (values from memory)."""
    assert expanded_factor(degrees) == pytest.approx(k, abs=0.005)


def test_the_doubt_about_a_difference_of_means_is_the_textbooks() -> None:
    """JCGM 100:2008, 4.2.3 and 5.1.2: s²/n and s²/m add; 2 · sqrt(1/5 + 1/3) = 1.4606."""
    spread = PlacingSpread(sd_db=2.0, degrees=20)
    assert spread.u_difference_db(5, 3) == pytest.approx(1.4606, abs=1e-4)
    assert spread.expanded_difference_db(5, 3) == pytest.approx(2.13 * 1.4606, rel=3e-3)


@pytest.mark.parametrize("together", [0.0, 0.7, 1.0])
@pytest.mark.parametrize("count", [2, 5])
def test_u_of_a_difference_covers_it(together: float, count: int) -> None:
    """Monte Carlo of two alike sets: the difference of two means lies within U in 95.45 % of
    trials, also where lines move together. To count all degrees of four lines that move as one
    would cover 84 % with two placings; where they move apart, two placings cannot tell."""
    rng = np.random.default_rng(17)
    trials, lines, s_db = 400, 4, 1.8
    names, model, inside = [f"line {number}" for number in range(lines)], seen(-50.0), 0

    def named(name: str, level_dbfs: float) -> BoardLine:
        return replace(model, name=name, level_dbfs=level_dbfs)

    for _ in range(trials):
        common = rng.normal(size=(2, count, 1)) * sqrt(together)
        own = rng.normal(size=(2, count, lines)) * sqrt(1.0 - together)
        good, suspect = -50.0 + s_db * (common + own)
        sets = [[board(*map(named, names, row)) for row in each] for each in (good, suspect)]
        allowed_db = spread_of(*sets).expanded_difference_db(count, count)
        inside += abs(good[:, 0].mean() - suspect[:, 0].mean()) <= allowed_db
    assert 0.93 <= inside / trials <= (0.975 if together == 1.0 or count == 5 else 1.0)


def test_a_line_that_is_always_there_has_the_mean_of_its_levels() -> None:
    """In dB, as the spread is; by hand −42 and 2."""
    line = only(combined(boards(LO=(-40, -42, -44))))
    assert line.state is LineState.PRESENT
    assert line.level_dbfs == pytest.approx(-42.0)
    assert line.level_sd_db == pytest.approx(2.0)
    assert (line.placings, line.seen_in) == (3, 3)


def test_what_is_the_lines_own_averages_down_and_the_clocks_does_not() -> None:
    """JCGM 100:2008, 4.2.3 and F.1.2.3: sqrt(4² / 4 + 3²), from four of sqrt(4² + 3²)."""
    placings = [board(seen(-40, error_hz=10.0, own_hz=4.0, clock_hz=3.0)) for _ in range(4)]
    line = only(combined(placings))
    assert line.frequency_hz == pytest.approx(PLACE_HZ + 10.0)
    assert line.error_hz == pytest.approx(10.0)
    assert line.u_indicated_hz == pytest.approx(2.0)
    assert line.u_hz == pytest.approx(sqrt(4 + 9))


def test_the_tuners_doubt_does_not_average_down_either() -> None:
    placings = [board(seen(-40, own_hz=5.0, clock_hz=0.0)) for _ in range(4)]
    line = only(combined(placings, u_center_hz=3.0))
    assert line.u_hz == pytest.approx(sqrt(4.0**2 / 4 + 3.0**2))


def test_a_sure_reading_weighs_more() -> None:
    """Weights 1/u², 1 and 1/100: (0 + 5.05 / 100) / 1.01 Hz."""
    placings = [
        board(seen(-40, error_hz=0.0, own_hz=1.0)),
        board(seen(-40, error_hz=5.05, own_hz=10.0)),
    ]
    assert only(combined(placings)).error_hz == pytest.approx(0.05)


@pytest.mark.parametrize("wander_hz", [0.0, 30.0])
def test_u_of_the_mean_covers_the_truth(wander_hz: float) -> None:
    """Monte Carlo: noise alone, and a crystal that wanders from placing to placing."""
    rng = np.random.default_rng(5)
    model, own_hz, trials, inside = seen(-40.0, own_hz=2.0, clock_hz=0.0), 2.0, 500, 0
    for _ in range(trials):
        errors_hz = rng.normal(scale=np.hypot(own_hz, wander_hz), size=4)
        line = only(
            combined(
                [board(replace(model, frequency_hz=PLACE_HZ + error)) for error in errors_hz],
            )
        )
        assert line.frequency_hz is not None
        assert line.u_hz is not None
        inside += abs(line.frequency_hz - PLACE_HZ) <= 2.0 * line.u_hz
    assert 0.93 <= inside / trials <= 0.985


def test_a_line_seen_in_some_counts_as_seen_and_says_so() -> None:
    placings = [*boards(LO=(-80, -82)), board(missed(LineState.ABSENT, would_see_dbfs=-83.0))]
    line = only(combined(placings))
    assert line.state is LineState.PRESENT
    assert (line.placings, line.seen_in) == (3, 2)
    assert "seen in 2 of 3 placings" in line.why


def test_a_line_absent_in_all_is_absent_at_the_best_level() -> None:
    levels = (-83.0, -91.0, -88.0)
    found = combined([board(missed(LineState.ABSENT, would_see_dbfs=level)) for level in levels])
    line = only(found)
    assert line.state is LineState.ABSENT
    assert line.would_see_dbfs == -91.0
    assert "any of 3 placings; one of −91.0 dBFS" in line.why
    assert found.result.verdict is BoardVerdict.FAULT


def test_a_line_absent_in_some_and_hidden_in_others_is_not_called_absent() -> None:
    placings = [
        board(missed(LineState.ABSENT, would_see_dbfs=-90.0)),
        board(missed(LineState.HIDDEN)),
    ]
    found = combined(placings)
    assert only(found).state is LineState.HIDDEN
    assert "in 1 of 2 placings" in only(found).why
    assert found.result.verdict is BoardVerdict.UNDECIDED


def test_a_line_unsteady_in_one_placing_is_unsteady() -> None:
    shaky = replace(
        seen(-41), state=LineState.UNSTEADY, present_fraction=0.6, why="there 60 % of the time"
    )
    found = combined([*boards(LO=(-40, -42)), board(shaky)])
    assert only(found).state is LineState.UNSTEADY
    assert only(found).why == "in 1 of 3 placings; the worst: there 60 % of the time"
    assert found.result.verdict is BoardVerdict.FAULT


def test_another_line_is_not_averaged_with_this_one() -> None:
    """Where the loop heard little of it, a stray 3 kHz off was the strongest in the window."""
    stray = board(seen(-85, error_hz=3_000.0))
    line = only(combined([*boards(LO=(-80, -82)), stray]))
    assert line.state is LineState.PRESENT
    assert line.error_hz == pytest.approx(0.0)
    assert line.level_dbfs == pytest.approx(-81.0)
    assert line.seen_in == 2


def test_a_line_about_its_limit_is_averaged_whole() -> None:
    """499 and 503 Hz with U of 2 Hz: one fails by itself, but both are the same line."""
    placings = [
        board(seen(-40, error_hz=error_hz, own_hz=1.0, clock_hz=0.0)) for error_hz in (499, 503)
    ]
    line = only(combined(placings))
    assert line.error_hz == pytest.approx(501.0)
    assert line.frequency_verdict is Outcome.UNDECIDED


def test_cautions_of_all_placings_are_told_once() -> None:
    one, other = Caution(code="a", text="one"), Caution(code="b", text="other")
    found = combined([board(seen(-40), cautions=(one,)), board(seen(-40), cautions=(one, other))])
    assert found.cautions == (one, other)


def test_one_placing_is_the_board_itself() -> None:
    (single,) = boards(LO=-40)
    assert combined([single]) is single
    with pytest.raises(ValueError, match="no board"):
        combined([])


KINDS = st.sampled_from(["seen", "absent", "hidden", "out-of-view", "unsteady"])


@given(st.lists(st.tuples(KINDS, st.floats(-120, 0)), min_size=2, max_size=6))
@settings(max_examples=60)
def test_any_mixture_keeps_what_was_seen(placings: list[tuple[str, float]]) -> None:
    rows = []
    for kind, level_dbfs in placings:
        if kind in ("seen", "unsteady"):
            row = seen(level_dbfs)
            rows.append(replace(row, state=LineState.UNSTEADY) if kind == "unsteady" else row)
        else:
            rows.append(missed(LineState(kind), would_see_dbfs=level_dbfs))
    line = only(combined([board(row) for row in rows]))
    levels = [row.level_dbfs for row in rows if row.level_dbfs is not None]
    assert line.seen_in == len(levels)
    assert line.placings == len(rows)
    kinds = {kind for kind, _ in placings}
    assert (line.state is LineState.ABSENT) == (kinds == {"absent"})
    assert (line.state is LineState.UNSTEADY) == ("unsteady" in kinds)
    if levels:
        assert line.level_dbfs is not None
        assert min(levels) - 1e-9 <= line.level_dbfs <= max(levels) + 1e-9
    else:
        assert line.level_dbfs is None
