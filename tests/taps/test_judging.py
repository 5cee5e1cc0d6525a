"""A spot against its control: Fisher's own tables, SciPy, Holm's method, planted causes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sniff.taps.judging import fisher_greater, holm, judge
from sniff.taps.nouns import Control, Provocation, SpotVerdict, Stroke, Tally, Tap
from tests.values import counts

STICK, HAND = Provocation.STICK, Provocation.HAND


def tally(answered: int, rest: int) -> Tally:
    return Tally(answered=answered, taps=answered + rest)


def strokes(
    spot: str, answered: int, taps: int, by: Provocation = STICK, pulls: int = 0
) -> list[Stroke]:
    return [
        Stroke(
            tap=Tap(at_s=10.0 * number, spot=spot, by=by),
            from_s=10.0 * number - 0.3,
            to_s=10.0 * number + 1.0,
            answered=number < answered,
            why_not_counted=None,
            dropouts=int(number < answered),
            pulls=int(number < pulls),
            after_s=0.1 if number < answered else None,
            drift_hz=None,
            drift_db=None,
        )
        for number in range(taps)
    ]


@pytest.mark.parametrize(("table", "p"), [counts.TEA, counts.TEA_ALL_RIGHT, counts.TWINS])
def test_fishers_own_tables_have_his_chances(
    table: tuple[tuple[int, int], tuple[int, int]], p: float
) -> None:
    assert fisher_greater(tally(*table[0]), tally(*table[1])) == pytest.approx(p, rel=1e-7)


COUNT = st.integers(0, 60)


@given(COUNT, COUNT, COUNT, COUNT)
def test_fishers_test_is_scipys(a: int, b: int, c: int, d: int) -> None:
    expected = stats.fisher_exact([[a, b], [c, d]], alternative="greater").pvalue
    assert fisher_greater(tally(a, b), tally(c, d)) == pytest.approx(expected, rel=1e-9, abs=1e-14)


def test_holms_worked_example() -> None:
    assert holm(counts.HOLM[0]) == pytest.approx(counts.HOLM[1])


@given(st.lists(st.floats(0, 1), min_size=1, max_size=8), st.floats(0.001, 0.5))
def test_holm_rejects_what_stepping_down_rejects(chances: list[float], level: float) -> None:
    # The method as its author states it: from the smallest on, until one fails.
    rejected: set[int] = set()
    for place, number in enumerate(sorted(range(len(chances)), key=chances.__getitem__)):
        limit = level / (len(chances) - place)
        if abs(chances[number] - limit) < 1e-12:
            return
        if chances[number] > limit:
            break
        rejected.add(number)
    assert {n for n, p in enumerate(holm(chances)) if p <= level} == rejected


def test_the_cracked_spot_reacts_and_leads_the_ranking() -> None:
    found = judge(
        [*strokes("L3", 1, 10), *strokes("C14", 9, 10), *strokes("Q2", 0, 10)],
        sibling={(s, STICK): Tally(answered=0, taps=10) for s in ("L3", "C14", "Q2")},
        untouched={},
    )
    first = found.spots[0]
    assert (first.spot, first.verdict, first.control) == (
        "C14",
        SpotVerdict.REACTS,
        Control.SIBLING,
    )
    # 9 of 10 against 0 of 10: (C(10,9) + 0) / C(20,9), times three for Holm.
    assert first.p == pytest.approx(10 / 167960)
    assert first.p_adjusted == pytest.approx(30 / 167960)
    # Clopper-Pearson of 9 in 10 is the mirror of the published 1 in 10.
    assert (first.fraction_low, first.fraction_high) == pytest.approx(
        (1 - 0.445016, 1 - 0.002529), abs=1e-6
    )
    assert [spot.verdict for spot in found.spots[1:]] == [SpotVerdict.NOT_SHOWN] * 2
    assert "'C14' reacts (insulated stick): 9 of 10 taps" in found.says


def test_a_spot_at_which_the_sibling_drops_out_too_is_not_shown() -> None:
    found = judge(
        strokes("C14", 9, 10), sibling={("C14", STICK): Tally(answered=8, taps=10)}, untouched={}
    )
    assert found.spots[0].verdict is SpotVerdict.NOT_SHOWN
    assert "8 of 10" in found.spots[0].why


def test_a_hand_is_no_evidence_however_often_it_answers() -> None:
    found = judge(
        strokes("C14", 20, 20, HAND, pulls=3),
        sibling={("C14", HAND): Tally(answered=0, taps=20)},
        untouched={HAND: Tally(answered=0, taps=500)},
    )
    (spot,) = found.spots
    assert (spot.verdict, spot.p, spot.pulls) == (SpotVerdict.NO_EVIDENCE, None, 3)
    assert "healthy oscillator" in spot.why
    assert found.tested == 0
    assert "Only a hand was used" in found.says


def test_a_hand_does_not_make_the_others_tests_harder() -> None:
    sibling = {("C14", STICK): Tally(answered=0, taps=5)}
    alone = judge(strokes("C14", 5, 5), sibling=sibling, untouched={})
    with_hands = judge(
        [*strokes("C14", 5, 5), *strokes("Q1", 5, 5, HAND), *strokes("Q2", 5, 5, HAND)],
        sibling=sibling,
        untouched={},
    )
    assert alone.spots[0].p_adjusted == with_hands.spots[0].p_adjusted
    assert with_hands.spots[0].by is STICK


def test_three_taps_are_too_few_and_it_says_how_many_it_takes() -> None:
    # All of n against 0 of 3: 1 / C(n + 3, 3) <= 0.05 at n = 3; for two spots 0.025 at n = 5.
    sibling = {(s, STICK): Tally(answered=0, taps=3) for s in ("C14", "L3")}
    found = judge([*strokes("C14", 3, 3), *strokes("L3", 0, 3)], sibling=sibling, untouched={})
    assert {spot.verdict for spot in found.spots} == {SpotVerdict.TOO_FEW}
    assert "it takes 5, all answered" in found.spots[0].why


def test_without_a_sibling_untouched_time_is_the_control_and_its_limit_is_told() -> None:
    found = judge(strokes("C14", 6, 8), sibling={}, untouched={STICK: Tally(answered=20, taps=400)})
    (spot,) = found.spots
    assert (spot.verdict, spot.control) == (SpotVerdict.REACTS, Control.UNTOUCHED)
    assert "only the sibling shows" in spot.why


def test_too_little_untouched_time_is_told_with_how_much_would_do() -> None:
    # All of 4 against none of n: 1 / C(n + 4, 4) <= 0.05 first at n = 3, with 1 / 35.
    found = judge(strokes("C14", 4, 4), sibling={}, untouched={STICK: Tally(answered=0, taps=1)})
    (spot,) = found.spots
    assert spot.verdict is SpotVerdict.TOO_FEW
    assert "leave the set alone for 2 more windows" in spot.why


def test_without_any_control_nothing_is_said() -> None:
    (spot,) = judge(strokes("C14", 8, 8), sibling={}, untouched={}).spots
    assert (spot.verdict, spot.p) == (SpotVerdict.NO_CONTROL, None)


def test_pulls_under_a_stick_are_told_from_breaks() -> None:
    found = judge(
        strokes("C14", 0, 10, pulls=9),
        sibling={("C14", STICK): Tally(answered=0, taps=10)},
        untouched={},
    )
    assert found.spots[0].verdict is SpotVerdict.NOT_SHOWN
    assert "pulled rather than broken" in found.spots[0].why


def test_six_good_spots_raise_a_false_alarm_in_fewer_than_one_of_twenty_tests() -> None:
    rng = np.random.default_rng(11)
    alarms = 0
    for _ in range(1000):
        found = judge(
            [s for n in range(6) for s in strokes(f"X{n}", int(rng.binomial(10, 0.3)), 10)],
            sibling={
                (f"X{n}", STICK): Tally(answered=int(rng.binomial(10, 0.3)), taps=10)
                for n in range(6)
            },
            untouched={},
        )
        alarms += any(spot.verdict is SpotVerdict.REACTS for spot in found.spots)
    assert alarms <= 50


def test_a_tally_cannot_answer_more_often_than_it_was_tapped() -> None:
    with pytest.raises(ValueError, match="of"):
        Tally(answered=3, taps=2)
