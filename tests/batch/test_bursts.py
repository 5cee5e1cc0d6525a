"""Drop-outs in bursts: planted point processes in; who is named, and what is said, out."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import chi2

from sniff.batch.bursts import clumps_of
from sniff.batch.nouns import Answer
from sniff.batch.rates import rates, too_frequent
from sniff.batch.summary import Summary, summarised
from sniff.batch.table import flattened
from tests.batch.told import answer, watch

Times = npt.NDArray[np.float64]
HOUR_S = 3600.0


def _watched(starts_s: Sequence[Times], hours: float) -> list[Answer]:
    return [
        answer(n, watch(len(each), hours, starts_s=[float(start) for start in np.sort(each)]))
        for n, each in enumerate(starts_s)
    ]


def _summary(starts_s: Sequence[Times], hours: float) -> Summary:
    return summarised(flattened(_watched(starts_s, hours)), question="watch")


def _bursts(
    rng: np.random.Generator, per_hour: float, hours: float, *, mean: float, apart_s: float
) -> Times:
    """Bursts that come by chance, geometrically many drop-outs in each (a compound Poisson
    process)."""
    found: list[float] = []
    for start in rng.uniform(0, hours * HOUR_S, rng.poisson(per_hour * hours)):
        gaps = rng.exponential(apart_s, rng.geometric(1.0 / mean) - 1)
        found += list(start + np.concatenate([[0.0], np.cumsum(gaps)]))
    return np.array([start for start in found if start < hours * HOUR_S])


@pytest.mark.parametrize("sets", [2, 5, 20])
@pytest.mark.parametrize("apart_s", [2.0, 20.0])
def test_equal_sets_that_drop_out_in_bursts_seldom_have_a_bad_one(
    sets: int, apart_s: float
) -> None:
    """At most 5 % as stated, three standard errors allowed for; counted by drop-outs 23 to 98 %."""
    rng = np.random.default_rng(sets)
    fleets, named = 60, 0
    for _ in range(fleets):
        starts = [_bursts(rng, 0.5, 1.0, mean=5.0, apart_s=apart_s) for _ in range(sets)]
        found = rates(list(flattened(_watched(starts, 1.0)).as_rows()))
        named += bool(too_frequent(found, ["x"] * sets))
    assert named <= fleets * 0.05 + 3.0 * (fleets * 0.05 * 0.95) ** 0.5


def test_single_drop_outs_are_not_said_to_come_in_bursts() -> None:
    """In 1 % of fleets at most, though some sets have ten times the rate of others."""
    rng = np.random.default_rng(8)
    said = 0
    for _ in range(150):
        starts = [_bursts(rng, per_hour, 2.0, mean=1.0, apart_s=1.0) for per_hour in (20, 2, 2, 1)]
        said += any(caution.code == "bursts" for caution in _summary(starts, 2.0).cautions)
    assert said <= 150 * 0.01 + 3.0 * (150 * 0.01) ** 0.5


def test_a_set_with_more_bursts_is_named_by_them() -> None:
    burst = np.array([0.0, 1.0, 2.5, 3.0, 7.0])
    starts = [np.array([]) for _ in range(12)]
    starts[2] = 500.0 + burst
    starts[5] = np.concatenate([start + burst for start in (300, 1700, 2600, 4100, 5200, 6600)])
    summary = _summary(starts, 2.0)
    (named,) = summary.outliers
    assert named.file.endswith("set-005.sigmf-meta")
    assert named.sentence == (
        "gone 30 times in 2 h, in 6 bursts, 3.0 bursts per hour; the other 11 together 1.1 per day"
    )
    assert "bursts" in named.rule
    (caution,) = [each for each in summary.cautions if each.code == "bursts"]
    assert caution.text.startswith("the drop-outs come in bursts, 35 in 7 bursts: ")


def test_one_long_burst_names_nobody() -> None:
    starts = [np.array([]) for _ in range(20)]
    starts[4] = 900.0 + np.arange(25.0)
    assert _summary(starts, 1.0).outliers == ()


def test_where_bursts_run_into_each_other_nobody_is_named_and_it_is_said() -> None:
    rng = np.random.default_rng(2)
    starts = [_bursts(rng, 1.5, 8.0, mean=5.0, apart_s=300.0) for _ in range(10)]
    summary = _summary(starts, 8.0)
    assert summary.outliers == ()
    (caution,) = [each for each in summary.cautions if each.code == "bursts"]
    assert "run into each other: nobody is named" in caution.text


def test_a_very_bad_set_does_not_hide_the_next() -> None:
    evenly = [np.linspace(10, 3500, count) for count in (100, 30, 0, 0, 0)]
    first, second = _summary(evenly, 1.0).outliers
    assert (first.row, second.row) == (0, 1)
    assert second.sentence == (
        "gone 30 times in 60 min; the other 3 together, without those worse, never"
    )


def test_short_gaps_have_the_chance_of_strewn_points() -> None:
    """Fisher's sum over recordings of two drop-outs each, whose one gap is exact: chi² of two
    degrees each."""
    rng = np.random.default_rng(6)
    pairs = np.sort(rng.uniform(0, 100.0, (4000, 2)), axis=1)
    told = [clumps_of(list(p), [0.0, 0.0], count=2, observed_s=100.0) for p in pairs]
    assert {each.degrees for each in told} == {2}
    below = np.mean([each.chi2 < chi2.ppf(0.9, 2) for each in told])
    assert below == pytest.approx(0.9, abs=3.0 * (0.09 / 4000) ** 0.5)


def test_the_time_in_which_a_set_was_gone_counts_for_no_gap() -> None:
    """Gone for 99 of 100 s each time: what is left of a second, evenly, is no burst."""
    starts = [100.0 * n + 1.0 for n in range(30)]
    told = clumps_of(starts, [99.0] * 30, count=30, observed_s=3001.0)
    # Gaps of 1 s in 31 s, all alike.
    assert told.chi2 / told.degrees < 1.0
    assert told.count > 20


def test_drop_outs_that_are_not_listed_are_taken_to_lie_as_those_that_are() -> None:
    starts = [float(start + n) for start in range(0, 10_000, 1000) for n in range(5)]
    told = clumps_of(starts, [0.0] * 50, count=500, observed_s=100_000.0)
    assert told.count == 100
