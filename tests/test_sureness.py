"""Rates of failures: the handbook's factors, published intervals, SciPy, and closed forms."""

from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sniff.sureness import (
    Change,
    RatePerHour,
    clopper_pearson,
    improvement,
    poisson_at_most,
    poisson_interval,
    rate_per_hour,
)
from tests.values import counts

EVENTS = st.integers(0, 300)
SECONDS = st.floats(1.0, 1e7)
CONFIDENCES = st.floats(0.5, 0.999)


def rate(events: int, hours: float) -> RatePerHour:
    found = rate_per_hour(events, 3600.0 * hours)
    assert found is not None
    return found


@pytest.mark.parametrize("confidence", counts.AT_MOST)
def test_the_bound_has_the_handbooks_factors(confidence: float) -> None:
    for events, factor in enumerate(counts.AT_MOST[confidence]):
        assert poisson_at_most(events, confidence) == pytest.approx(factor, abs=6e-5)
    assert poisson_at_most(10, confidence) == pytest.approx(
        counts.AT_MOST_OF_TEN[confidence], abs=6e-5
    )


@pytest.mark.parametrize("events", counts.TWO_SIDED_95)
def test_the_two_sided_interval_is_the_published_one(events: int) -> None:
    assert poisson_interval(events, 0.95) == pytest.approx(counts.TWO_SIDED_95[events], abs=6e-5)


@pytest.mark.parametrize("events", counts.MTBF_TEST_HOURS)
def test_the_handbooks_test_of_a_200_h_mtbf_shows_it(events: int) -> None:
    found = rate_per_hour(
        events, 3600.0 * counts.MTBF_TEST_HOURS[events], confidence=counts.MTBF_CONFIDENCE
    )
    assert found is not None
    assert 1.0 / found.at_most == pytest.approx(counts.MTBF_HOURS, rel=1e-5)


def test_eight_quiet_hours_bound_the_rate_by_the_rule_of_three() -> None:
    found = rate(0, 8.0)
    assert found.value == found.low == 0.0
    assert found.at_most == pytest.approx(-log(0.05) / 8.0)
    assert found.high == pytest.approx(-log(0.025) / 8.0)


def test_nothing_observed_gives_no_rate() -> None:
    assert rate_per_hour(0, 0.0) is None


@pytest.mark.parametrize(
    ("events", "observed_s", "confidence"),
    [(-1, 1.0, 0.95), (0, -1.0, 0.95), (0, np.nan, 0.95), (0, np.inf, 0.95), (0, 1.0, 1.0)],
)
def test_what_is_no_count_or_time_is_refused(
    events: int, observed_s: float, confidence: float
) -> None:
    with pytest.raises(ValueError, match="must"):
        rate_per_hour(events, observed_s, confidence=confidence)


@given(EVENTS, CONFIDENCES)
def test_the_bounds_are_those_of_chi_square(events: int, confidence: float) -> None:
    assert poisson_at_most(events, confidence) == pytest.approx(
        stats.chi2.ppf(confidence, 2 * events + 2) / 2, rel=1e-9
    )
    low, high = poisson_interval(events, confidence)
    doubt = (1 - confidence) / 2
    assert low == pytest.approx(stats.chi2.ppf(doubt, 2 * events) / 2 if events else 0, rel=1e-9)
    assert high == pytest.approx(stats.chi2.ppf(1 - doubt, 2 * events + 2) / 2, rel=1e-9)


@pytest.mark.parametrize(("successes", "trials", "confidence", "low", "high"), counts.PROPORTIONS)
def test_a_proportion_has_the_published_interval(
    successes: int, trials: int, confidence: float, low: float, high: float
) -> None:
    assert clopper_pearson(successes, trials, confidence) == pytest.approx((low, high), abs=1.5e-6)


@given(st.integers(0, 60), st.integers(0, 60), CONFIDENCES)
def test_a_proportions_interval_is_scipys(hits: int, misses: int, confidence: float) -> None:
    if hits + misses == 0:
        assert clopper_pearson(0, 0, confidence) == (0.0, 1.0)
        return
    exact = stats.binomtest(hits, hits + misses).proportion_ci(confidence, method="exact")
    found = clopper_pearson(hits, hits + misses, confidence)
    assert found == pytest.approx((exact.low, exact.high), abs=1e-9)


def test_more_successes_than_trials_are_refused() -> None:
    with pytest.raises(ValueError, match="successes=3 of trials=2"):
        clopper_pearson(3, 2, 0.95)


def test_the_ratio_of_two_rates_has_the_published_interval() -> None:
    (cases, persons), (others, many) = counts.FREDERICIA, counts.OTHER_CITIES
    found = improvement(rate(cases, persons), rate(others, many), confidence=0.975)
    assert found.times_better == pytest.approx(counts.FREDERICIA_RATIO, rel=1e-6)
    # Two one-sided bounds of 97.5 % are the two-sided interval of 95 %.
    bounds = (found.at_least_times, found.at_most_times)
    assert bounds == pytest.approx(counts.FREDERICIA_95, rel=1e-6)
    assert found.change is Change.UNDECIDED


def test_without_a_failure_after_the_bound_is_in_closed_form() -> None:
    # All n failures fell before: p >= 0.05**(1/n).
    found = improvement(rate(6, 2.0), rate(0, 5.0))
    p = 0.05 ** (1 / 6)
    assert found.at_least_times == pytest.approx(p / (1 - p) * 5.0 / 2.0)
    assert found.times_better is None
    assert found.at_most_times is None
    assert found.change is Change.BETTER


def test_a_repair_that_made_it_worse_is_told() -> None:
    assert improvement(rate(2, 10.0), rate(30, 10.0)).change is Change.WORSE
    assert improvement(rate(30, 10.0), rate(2, 10.0)).change is Change.BETTER


def test_nothing_can_be_improved_on_where_nothing_failed() -> None:
    found = improvement(rate(0, 10.0), rate(0, 1000.0))
    assert found.change is Change.UNDECIDED
    assert found.at_least_times == 0.0
    assert found.needs == ()


@given(st.integers(1, 40), st.floats(0.1, 100), st.integers(0, 40), st.floats(0.01, 100))
def test_the_time_that_is_needed_shows_it_and_a_little_less_does_not(
    before: int, before_h: float, after: int, after_h: float
) -> None:
    found = improvement(rate(before, before_h), rate(after, after_h))
    for need in found.needs:
        hours = after_h + need.more_s / 3600.0
        shown = improvement(rate(before, before_h), rate(after, 1.001 * hours))
        not_yet = improvement(rate(before, before_h), rate(after, 0.999 * hours))
        assert not_yet.at_least_times < need.times < shown.at_least_times


@given(st.integers(0, 40), st.integers(0, 40), st.floats(0.1, 10))
def test_the_ratios_bounds_agree_with_the_conditional_test(
    before: int, after: int, hours: float
) -> None:
    found = improvement(rate(before, 1.0), rate(after, hours))
    if found.at_least_times > 0:
        p = found.at_least_times / (found.at_least_times + hours)
        tail = stats.binomtest(before, before + after, p, alternative="greater").pvalue
        assert tail == pytest.approx(0.05, rel=1e-6)


def test_the_bound_holds_in_as_many_trials_as_it_says() -> None:
    # Over all counts of a known rate, summed exactly: never below what is stated.
    for mean in (0.3, 1.0, 4.5, 20.0):
        events = np.arange(0, 120)
        weights = stats.poisson.pmf(events, mean)
        covered = [poisson_at_most(int(n), 0.95) >= mean for n in events]
        assert float(weights[covered].sum()) >= 0.95
