"""One line of the plan in two sets: every state from what the boards say, and the verdict."""

from dataclasses import replace
from math import hypot, sqrt

import numpy as np
import pytest

from calib.correction import Correction
from sniff.board import BoardLine, BoardResult, BoardVerdict, LineState
from sniff.compare import (
    ComparedLine,
    CompareSettings,
    Comparison,
    ComparisonVerdict,
    Likeness,
    Origin,
    Pair,
    Sight,
    compare,
)
from sniff.superhet.plan import Plan, Side, carry

SUSPECT = Plan(carrier_hz=72.9e6, if_hz=10.7e6, side=Side.HIGH, multiplier=3)
GOOD = carry(SUSPECT, 74.7e6)
CLOCK = Correction(ppm=31.0, u_ppm=0.5, origin="test")
# A stated placement of 6 dB and three lines: limit 8.3 dB by the normal distribution at 0.5 %.
SETTINGS = CompareSettings(one_clock=True)


def row(
    name: str,
    expected_hz: float,
    *,
    level_dbfs: float | None = -40.0,
    error_ppm: float = 2.0,
    state: LineState = LineState.PRESENT,
    wanted: bool = True,
    role: str = "lo",
    would_see_dbfs: float | None = -80.0,
    u_indicated_hz: float = 1.0,
) -> BoardLine:
    seen = level_dbfs is not None
    return BoardLine(
        name=name,
        role=role,
        formula="test",
        wanted=wanted,
        expected_hz=expected_hz,
        tolerance_hz=5e-5 * expected_hz,
        window_hz=5e-4 * expected_hz,
        state=state,
        frequency_hz=expected_hz * (1 + error_ppm * 1e-6) if seen else None,
        u_hz=40.0 if seen else None,
        u_indicated_hz=u_indicated_hz if seen else None,
        error_hz=error_ppm * 1e-6 * expected_hz if seen else None,
        error_ppm=error_ppm if seen else None,
        level_dbfs=level_dbfs,
        would_see_dbfs=would_see_dbfs,
        why="as planted",
    )


def lo(*, good: bool = False, **facts: object) -> BoardLine:
    return row("LO", 85.4e6 if good else 83.6e6, **facts)  # type: ignore[arg-type]


def crystal(*, good: bool = False, **facts: object) -> BoardLine:
    return row(
        "crystal",
        (85.4e6 if good else 83.6e6) / 3,
        wanted=False,
        role="crystal",
        **facts,  # type: ignore[arg-type]
    )


def absent(line: BoardLine, *, would_see_dbfs: float = -80.0) -> BoardLine:
    return replace(
        row(line.name, line.expected_hz, level_dbfs=None, role=line.role, wanted=line.wanted),
        state=LineState.ABSENT,
        would_see_dbfs=would_see_dbfs,
    )


def sight(plan: Plan, *lines: BoardLine) -> Sight:
    return Sight(
        source="planted",
        plan=plan,
        carrier_hz=plan.carrier_hz,
        board=BoardResult(verdict=BoardVerdict.AS_EXPECTED, why="", lines=lines),
        looks=(),
        correction=CLOCK,
    )


def compared(
    good: tuple[BoardLine, ...], suspect: tuple[BoardLine, ...], *, place: str | None = None
) -> Comparison:
    pair = Pair(place=place, good=sight(GOOD, *good), suspect=sight(SUSPECT, *suspect))
    return compare([pair], SETTINGS)


def first(found: Comparison) -> ComparedLine:
    return found.result.lines[0]


HEALTHY = (lo(good=True), crystal(good=True, level_dbfs=-55.0))


def test_alike_within_spread_and_tolerance() -> None:
    found = compared(HEALTHY, (lo(error_ppm=-1.0, level_dbfs=-44.0), crystal(level_dbfs=-52.0)))
    assert found.result.verdict is ComparisonVerdict.ALIKE
    assert first(found).state is Likeness.IN_BOTH
    assert first(found).origin is Origin.CARRIER
    assert first(found).shift_ppm == pytest.approx(-3.0)
    assert first(found).difference_db == -4.0
    assert found.result.shift_hz == pytest.approx(-1.8e6)


def test_a_second_lo_stays_where_it_is() -> None:
    second = [row("second LO", 10.245e6, role="second-lo") for _ in range(2)]
    found = compared((*HEALTHY, second[0]), (lo(), crystal(level_dbfs=-55.0), second[1]))
    assert [line.origin for line in found.result.lines] == [
        Origin.CARRIER,
        Origin.CARRIER,
        Origin.FIXED,
    ]


def test_what_the_suspect_would_have_shown_and_does_not_it_lacks() -> None:
    found = compared(HEALTHY, (absent(lo()), crystal(level_dbfs=-55.0)))
    assert first(found).state is Likeness.ONLY_GOOD
    assert found.result.verdict is ComparisonVerdict.DIFFERS
    assert "look between it and the mixer" in found.result.sentence


def test_a_lost_lo_with_a_lost_crystal_points_at_the_oscillator() -> None:
    found = compared(HEALTHY, (absent(lo()), absent(crystal())))
    assert "lacks the LO and the crystal" in found.result.sentence
    assert "Its crystal is not heard either: look at the oscillator" in found.result.sentence
    assert "nothing else could be compared" in found.result.sentence


def test_what_the_placing_alone_may_hide_is_not_missing() -> None:
    found = compared(HEALTHY, (absent(lo(), would_see_dbfs=-45.0), crystal(level_dbfs=-55.0)))
    assert first(found).state is Likeness.HIDDEN
    assert found.result.verdict is ComparisonVerdict.UNDECIDED


@pytest.mark.parametrize(
    ("weaker_db", "state"), [(8.0, Likeness.IN_BOTH), (9.0, Likeness.WEAK), (-9.0, Likeness.STRONG)]
)
def test_weak_is_more_than_the_placing_explains(weaker_db: float, state: Likeness) -> None:
    found = compared(HEALTHY, (lo(level_dbfs=-40.0 - weaker_db), crystal(level_dbfs=-55.0)))
    assert first(found).state is state
    fault = state is Likeness.WEAK
    assert (found.result.verdict is ComparisonVerdict.DIFFERS) == fault


@pytest.mark.parametrize(
    ("shift_ppm", "state"),
    [(20.0, Likeness.MOVED), (-20.0, Likeness.MOVED), (6.0, Likeness.IN_BOTH)],
)
def test_moved_is_by_more_than_two_healthy_sets_differ(shift_ppm: float, state: Likeness) -> None:
    suspect = lo(error_ppm=2.0 + shift_ppm)
    found = compared(HEALTHY, (suspect, crystal(level_dbfs=-55.0)))
    assert first(found).state is state


def test_a_frequency_too_uncertain_to_judge_leaves_it_undecided() -> None:
    restless = lo(error_ppm=10.0, u_indicated_hz=500.0)
    found = compared(HEALTHY, (restless, crystal(level_dbfs=-55.0)))
    assert found.result.verdict is ComparisonVerdict.UNDECIDED
    assert "within 10 ppm cannot be said" in found.result.sentence


def test_a_line_that_comes_and_goes_is_told_so() -> None:
    found = compared(HEALTHY, (lo(state=LineState.UNSTEADY), crystal(level_dbfs=-55.0)))
    assert first(found).state is Likeness.UNSTEADY
    assert "has the LO coming and going" in found.result.sentence


@pytest.mark.parametrize(("step_s", "said"), [(0.01, True), (0.03, False), (None, False)])
def test_the_crystal_points_past_itself_only_where_its_going_would_have_been_seen(
    step_s: float | None, said: bool
) -> None:
    """The LO was gone for 40 ms at the longest, which holds two steps of 10 ms and not of 30."""
    suspect = (
        replace(lo(state=LineState.UNSTEADY), longest_absence_s=0.04),
        replace(crystal(level_dbfs=-55.0), followed_step_s=step_s),
    )
    found = compared(HEALTHY, suspect)
    assert ("look between it and the mixer" in found.result.sentence) is said


def test_a_good_set_that_lacks_the_line_is_no_measure() -> None:
    found = compared((absent(lo(good=True)), HEALTHY[1]), (lo(), crystal(level_dbfs=-55.0)))
    assert first(found).state is Likeness.ONLY_SUSPECT
    assert found.result.verdict is ComparisonVerdict.UNDECIDED
    found = compared((absent(lo(good=True)), HEALTHY[1]), (absent(lo()), crystal(level_dbfs=-55.0)))
    assert first(found).state is Likeness.NEITHER
    assert "the good set itself shows no LO" in found.result.sentence


def test_a_good_set_whose_line_comes_and_goes_is_no_measure() -> None:
    good = (lo(good=True, state=LineState.UNSTEADY), HEALTHY[1])
    found = compared(good, (lo(), crystal(level_dbfs=-55.0)))
    assert found.result.verdict is ComparisonVerdict.UNDECIDED
    assert "comes and goes in the good set itself" in found.result.sentence


def test_a_far_and_faint_line_in_the_window_may_be_another() -> None:
    stray = lo(error_ppm=300.0, level_dbfs=-75.0, state=LineState.OFF_FREQUENCY)
    found = compared(HEALTHY, (stray, crystal(level_dbfs=-55.0)))
    assert first(found).state is Likeness.ONLY_GOOD
    assert "may be another line" in first(found).why


def test_a_second_lo_below_the_tuner_is_heard_by_its_multiple() -> None:
    hidden = row(
        "second LO", 10.245e6, role="second-lo", level_dbfs=None, state=LineState.OUT_OF_VIEW
    )
    third = row("second LO × 3", 30.735e6, role="second-lo-harmonic", wanted=False)
    both = (hidden, third)
    found = compared((*HEALTHY, *both), (lo(), crystal(level_dbfs=-55.0), *both))
    assert found.result.verdict is ComparisonVerdict.ALIKE
    found = compared((*HEALTHY, *both), (lo(), crystal(level_dbfs=-55.0), hidden, absent(third)))
    assert "lacks the second LO × 3" in found.result.sentence


def test_two_unknown_clocks_cannot_judge_twenty_ppm() -> None:
    unknown = Correction.unknown_dongle()
    both = [
        replace(sight(plan, *lines), correction=unknown)
        for plan, lines in (
            (GOOD, HEALTHY),
            (SUSPECT, (lo(error_ppm=22.0), crystal(level_dbfs=-55.0))),
        )
    ]
    pair = Pair(place=None, good=both[0], suspect=both[1])
    apart = compare([pair], CompareSettings(one_clock=False))
    assert apart.result.verdict is ComparisonVerdict.UNDECIDED
    assert "two-clocks" in [caution.code for caution in apart.cautions]
    assert compare([pair], SETTINGS).result.verdict is ComparisonVerdict.DIFFERS


def test_places_are_told_one_by_one_what_differs_first() -> None:
    alike = (lo(), crystal(level_dbfs=-55.0))
    weak = (lo(level_dbfs=-57.0), crystal(level_dbfs=-55.0))
    pairs = [
        Pair(place=place, good=sight(GOOD, *HEALTHY), suspect=sight(SUSPECT, *lines))
        for place, lines in (("feed A", alike), ("feed B", weak), ("mixer", alike))
    ]
    found = compare(pairs, SETTINGS).result
    assert found.verdict is ComparisonVerdict.DIFFERS
    assert found.sentence.startswith("at feed B, the suspect has the LO weaker by 17 dB")
    assert found.sentence.endswith("; at feed A and mixer the two agree")
    assert [place.verdict.value for place in found.places] == ["alike", "differs", "alike"]
    assert {line.place for line in found.lines} == {"feed A", "feed B", "mixer"}


def test_another_gain_is_taken_out_of_levels_and_told() -> None:
    """The suspect heard with 10 dB less gain: 9 dB less is then 1 dB more, and 24 dB is weak."""
    for heard_dbfs, state in ((-49.0, Likeness.IN_BOTH), (-64.0, Likeness.WEAK)):
        suspect = (lo(level_dbfs=heard_dbfs), crystal(level_dbfs=-65.0))
        pair = Pair(
            place=None,
            good=replace(sight(GOOD, *HEALTHY), gain_db=40.2),
            suspect=replace(sight(SUSPECT, *suspect), gain_db=30.2),
        )
        found = compare([pair], SETTINGS)
        assert first(found).state is state
        assert first(found).difference_db == pytest.approx(heard_dbfs + 40.0 + 10.0)
        assert first(found).u_difference_db == pytest.approx((3.0**2 + 1.0) ** 0.5)
        assert [caution.code for caution in found.cautions] == ["other-gain"]


def test_what_one_set_lacks_has_a_bound_at_one_gain() -> None:
    """−40 dBFS in the good set, −80 would be seen in the suspect at 10 dB less gain: −30 dB, and
    less sure by U: 3 dB (k = 1) of the placing and 1 dB of the gain's steps."""
    pair = Pair(
        place=None,
        good=replace(sight(GOOD, *HEALTHY), gain_db=40.2),
        suspect=replace(sight(SUSPECT, absent(lo()), crystal(level_dbfs=-65.0)), gain_db=30.2),
    )
    line = first(compare([pair], SETTINGS))
    assert line.state is Likeness.ONLY_GOOD
    assert line.difference_bound_db == pytest.approx(-30.0 + 2.0 * hypot(3.0, 1.0))


def test_the_bound_of_a_missing_line_holds_as_often_as_stated() -> None:
    """A suspect's LO 45 dB weaker, which its −80 dBFS do not show; both levels scatter by 3 / √2 dB
    (k = 1) from placing to placing, so that the bound holds in 97.7 % of all, by the normal law."""
    rng = np.random.default_rng(8)
    held, trials = 0, 1000
    for placed_db in rng.normal(0.0, 3.0 / sqrt(2.0), (trials, 2)):
        # What would have been seen moves with the loop as the line would have.
        seen_dbfs = -80.0 - float(placed_db[1])
        good = lo(good=True, level_dbfs=-40.0 + float(placed_db[0]))
        line = first(compared((good,), (absent(lo(), would_see_dbfs=seen_dbfs),)))
        assert line.difference_bound_db is not None
        held += line.difference_bound_db >= -40.0
    # 977 expected, ± 4.7 by the binomial law.
    assert 963 <= held <= 991


@pytest.mark.parametrize(
    ("crystal_dbfs", "told"),
    [
        (-55.0, "; one weaker by 13."),
        (-75.0, "; the LO weaker by 13.4 dB would have been told, not so the crystal: near the"),
    ],
)
def test_that_a_weak_line_would_have_been_told_is_said_of_those_far_over_the_noise(
    crystal_dbfs: float, told: str
) -> None:
    """At −80 dBFS a line would be seen: one of −75 would vanish if it were weaker by 13.4 dB, and
    nobody could say so. 13.4 dB are 2.81 + 1.645 standard deviations of 3 dB, the normal
    quantiles of 0.5 % over two lines (Šidák) and of 95 %."""
    lines = [(lo(good=good), crystal(good=good, level_dbfs=crystal_dbfs)) for good in (True, False)]
    found = compared(*lines)
    assert found.result.verdict is ComparisonVerdict.ALIKE
    assert told in found.result.sentence


@pytest.mark.parametrize(("crystal_ppm", "doubted"), [(2.0, True), (40.0, False)])
def test_an_lo_that_left_its_crystal_may_be_another_line(crystal_ppm: float, doubted: bool) -> None:
    """Three times a crystal is off by the crystal's own ppm."""
    suspect = (lo(error_ppm=40.0), crystal(level_dbfs=-55.0, error_ppm=crystal_ppm))
    found = compared(HEALTHY, suspect)
    assert first(found).state is Likeness.MOVED
    assert ("another line may stand there" in found.result.sentence) is doubted


def test_while_the_lo_comes_and_goes_a_weak_crystal_is_no_fault_of_its_own() -> None:
    suspect = (lo(state=LineState.UNSTEADY), crystal(level_dbfs=-70.0))
    found = compared(HEALTHY, suspect)
    assert found.result.sentence.startswith("the suspect has the LO coming and going;")


def test_what_must_be_there_is_told_before_what_need_not_be_seen() -> None:
    found = compared(HEALTHY, (lo(level_dbfs=-60.0), absent(crystal())))
    assert found.result.sentence.startswith(
        "the suspect has the LO weaker by 20 dB than in the good one, and lacks the crystal"
    )


def test_few_placings_make_the_expanded_uncertainty_wider_than_two() -> None:
    """JCGM 100:2008, table G.2: k = 2.65 for 95.45 % and 5 degrees of freedom."""
    from sniff.placings import PlacingSpread

    pair = Pair(
        place=None,
        good=sight(GOOD, *HEALTHY),
        suspect=sight(SUSPECT, lo(), crystal(level_dbfs=-55.0)),
        spread=PlacingSpread(sd_db=1.0, degrees=5),
    )
    line = first(compare([pair], SETTINGS))
    assert line.u_difference_db == pytest.approx(2.0**0.5)
    assert line.expanded_difference_db == pytest.approx(2.65 * 2.0**0.5, rel=2e-3)


def placed(line: BoardLine, *, seen_in: int, of: int = 5) -> BoardLine:
    return replace(line, placings=of, seen_in=seen_in)


def test_a_level_is_worth_what_the_placings_that_showed_it_make_it_worth() -> None:
    """s sqrt(1/n + 1/m) (JCGM 100:2008, 4.2.3), n and m those in which the line was seen; a stated
    spread of 6 dB (k = 2) is 3 dB for one placing at each, hence s = 3 / sqrt(2)."""
    good = placed(lo(good=True, level_dbfs=-40.0), seen_in=5)
    suspect = placed(lo(level_dbfs=-55.0), seen_in=2)
    found = first(compared((good,), (suspect,)))
    assert found.state is Likeness.WEAK  # its mean is an upper bound
    assert found.difference_db is None
    u_db = 3.0 / sqrt(2.0) * sqrt(1 / 5 + 1 / 2)
    assert found.difference_bound_db == pytest.approx(-15.0 + 2.0 * u_db)
    assert "weaker by at least 11 dB" in compared((good,), (suspect,)).result.sentence


@pytest.mark.parametrize("suspect_dbfs", [-55.0, -40.0, -25.0, None])
def test_a_good_line_that_sank_out_of_sight_is_no_measure_of_levels(
    suspect_dbfs: float | None,
) -> None:
    good = placed(lo(good=True, level_dbfs=-40.0), seen_in=2)
    suspect = lo(level_dbfs=-30.0) if suspect_dbfs is None else lo(level_dbfs=suspect_dbfs)
    suspect = placed(suspect, seen_in=5) if suspect_dbfs is not None else absent(suspect)
    found = compared((good,), (suspect,))
    assert first(found).state is Likeness.HIDDEN
    assert first(found).difference_db is None
    assert found.result.verdict is ComparisonVerdict.UNDECIDED
    assert "seen in 2 of 5 placings at the good set only" in found.result.sentence


def test_a_suspects_line_that_sank_out_of_sight_is_not_as_strong_as_it_looks() -> None:
    good = placed(lo(good=True, level_dbfs=-40.0), seen_in=5)
    found = compared((good,), (placed(lo(level_dbfs=-41.0), seen_in=3),))
    assert found.result.verdict is ComparisonVerdict.UNDECIDED
    assert "seen in 3 of 5 placings at the suspect only" in found.result.sentence


def test_what_is_out_of_view_in_both_is_told_of_the_good_set_by_name() -> None:
    away = {"state": LineState.OUT_OF_VIEW, "level_dbfs": None}
    found = compared((lo(good=True, **away),), (lo(**away),))
    assert first(found).why == "out-of-view in both; in the good set: as planted"


@pytest.mark.parametrize(
    ("difference_db", "said"),
    [
        (-4.0, "and the loop's spread of ±6.0 dB; one weaker"),
        (-7.0, "and the 7.7 dB that two healthy sets may differ by; one weaker"),
        (7.0, "and the 7.7 dB that two healthy sets may differ by; one weaker"),
        (20.0, "; the LO stronger by 20 dB; one weaker"),
    ],
)
def test_the_sentence_claims_no_closer_agreement_than_there_is(
    difference_db: float, said: str
) -> None:
    """One line, ±6 dB stated: the limit is 2.576 standard deviations of 3 dB (one-sided 0.5 % of a
    normal distribution, any table of it)."""
    found = compared((lo(good=True),), (lo(level_dbfs=-40.0 + difference_db),))
    assert found.result.verdict is ComparisonVerdict.ALIKE
    assert said in found.result.sentence


@pytest.mark.parametrize(
    ("lo_ppm", "crystal_ppm", "said"),
    [
        (42.0, 2.0, "has the LO too high by 40 ppm (3.3 kHz) against the good one's"),
        (42.0, 62.0, "has the LO and the crystal too high by 40 ppm to 60 ppm (the LO by 3.3 kHz)"),
        (-38.0, 62.0, "has the LO and the crystal off by 40 ppm to 60 ppm (the LO by 3.3 kHz)"),
    ],
)
def test_several_lines_that_moved_are_told_each_as_far_as_it_did(
    lo_ppm: float, crystal_ppm: float, said: str
) -> None:
    """The good set's stand 2 ppm high; 40 ppm of 83.6 MHz are 3.3 kHz (arithmetic)."""
    suspect = (lo(error_ppm=lo_ppm), crystal(error_ppm=crystal_ppm, level_dbfs=-55.0))
    assert said in compared(HEALTHY, suspect).result.sentence


@pytest.mark.parametrize("side", ["good", "suspect"])
@pytest.mark.parametrize("suspect_lo", ["there", "weak", "absent", "moved"])
def test_an_overloaded_front_end_tells_frequencies_and_no_levels(
    side: str, suspect_lo: str
) -> None:
    """A converter at its rails: full scale is all it can show (a clipped line is as strong as
    another twice as strong), so neither what is weak nor what is missing can be told."""
    line = {
        "there": lo(),
        "weak": lo(level_dbfs=-55.0),
        "absent": absent(lo()),
        "moved": lo(error_ppm=40.0),
    }[suspect_lo]
    sights = {"good": sight(GOOD, *HEALTHY), "suspect": sight(SUSPECT, line, crystal())}
    sights[side] = replace(sights[side], overloaded=True)
    found = compare([Pair(place=None, **sights)], SETTINGS)
    assert all(line.difference_db is None for line in found.result.lines)
    assert all(line.difference_bound_db is None for line in found.result.lines)
    if suspect_lo == "moved":
        assert found.result.verdict is ComparisonVerdict.DIFFERS
    else:
        assert found.result.verdict is ComparisonVerdict.UNDECIDED
        assert "overloaded" in found.result.sentence
        assert "less gain" in found.result.sentence
