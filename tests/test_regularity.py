"""Trend, bursts and time of day: the handbook's example, closed forms, SciPy, planted causes."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sniff.regularity import Trend, bursts, by_time_of_day, in_observed_time, laplace_trend
from tests.values import counts


@dataclass(frozen=True)
class Minute:
    hour: int
    day: int
    observed_s: float
    dropouts: int
    median_dbfs: float | None = None


def test_the_handbooks_system_has_the_statistic_worked_by_hand() -> None:
    found = laplace_trend(
        [3600.0 * h for h in counts.TREND_FAILURES_H], 3600.0 * counts.TREND_HOURS
    )
    assert found.z == pytest.approx(counts.TREND_Z, abs=1e-4)
    assert found.p == pytest.approx(2 * stats.norm.cdf(counts.TREND_Z), abs=1e-4)
    assert found.trend is Trend.UNDECIDED


def test_failures_that_crowd_at_the_end_get_worse_and_the_other_way_round() -> None:
    times = 1000.0 * np.sqrt(np.linspace(0.02, 0.98, 25))  # a rate that grows from nothing
    assert laplace_trend(times.tolist(), 1000.0).trend is Trend.WORSE
    assert laplace_trend((1000.0 - times).tolist(), 1000.0).trend is Trend.BETTER


def test_three_failures_show_no_trend_however_late() -> None:
    found = laplace_trend([99.0, 99.5, 99.9], 100.0)
    assert (found.trend, found.z) == (Trend.UNDECIDED, None)
    assert "4 are needed" in found.why


def test_a_steady_rate_is_called_a_trend_in_one_of_twenty() -> None:
    rng = np.random.default_rng(5)
    called = [
        laplace_trend(rng.random(count).tolist(), 1.0).trend is not Trend.UNDECIDED
        for count in (4, 7, 40)
        for _ in range(2000)
    ]
    # 6000 trials at 5 %: 3 sigma are 0.8 %.
    assert np.mean(called) == pytest.approx(0.05, abs=3 * sqrt(0.05 * 0.95 / 6000))


@given(st.lists(st.floats(0, 100), min_size=1, max_size=20))
def test_time_stands_still_while_nothing_is_observed(times: list[float]) -> None:
    stretches = [(10.0, 30.0), (50.0, 51.0), (60.0, 100.0)]
    fine = np.arange(0, 100, 0.01) + 0.005
    seen = np.zeros(fine.size, bool)
    for start, end in stretches:
        seen |= (fine >= start) & (fine < end)
    for at, found in zip(times, in_observed_time(times, stretches), strict=True):
        assert found == pytest.approx(0.01 * seen[fine < at].sum(), abs=0.011)


def test_no_observation_has_no_times() -> None:
    assert in_observed_time([3.0], []) == ()


def test_horse_kicks_come_by_chance() -> None:
    rng = np.random.default_rng(1898)
    years = rng.permutation(np.repeat(list(counts.HORSE_KICKS), list(counts.HORSE_KICKS.values())))
    times = [year + (n + 0.5) / count for year, count in enumerate(years) for n in range(count)]
    found = bursts(times, float(years.size))
    assert found is not None
    assert not found.in_bursts


def test_failures_in_clumps_are_called_bursts() -> None:
    rng = np.random.default_rng(3)
    clumps = rng.uniform(0, 1000.0, 12)
    times = (clumps[:, None] + rng.exponential(0.2, (12, 8))).ravel()
    found = bursts(times.tolist(), 1000.0)
    assert found is not None
    assert found.in_bursts
    # Clumps of eight: the variance of the counts is eight times the mean.
    assert 4.0 < found.dispersion < 16.0


def test_few_failures_are_not_judged_for_bursts() -> None:
    assert bursts([1.0, 1.1, 1.2], 100.0) is None


@given(st.lists(st.integers(0, 30), min_size=15, max_size=40))
def test_the_dispersions_p_is_that_of_chi_square(pieces: list[int]) -> None:
    times = [n + 0.5 for n, count in enumerate(pieces) for _ in range(count)]
    found = bursts(times, float(len(pieces)))
    if found is not None:
        bins = np.histogram(times, bins=len(times) // 5, range=(0, len(pieces)))[0]
        assert found.p == pytest.approx(stats.chisquare(bins).pvalue, abs=1e-9)


def a_week(by_hour: dict[int, float], seed: int = 2) -> list[Minute]:
    rng = np.random.default_rng(seed)
    return [
        Minute(
            hour=hour,
            day=day,
            observed_s=60.0,
            dropouts=int(rng.poisson(by_hour.get(hour, 1.0) / 60.0)),
            median_dbfs=-40.0 - (3.0 if hour == 14 else 0.0),
        )
        for day in range(7)
        for hour in range(24)
        for _ in range(60)
    ]


def test_hot_afternoons_are_found() -> None:
    found = by_time_of_day(a_week({13: 4.0, 14: 6.0, 15: 4.0}))
    assert found.depends
    rates = [hour.rate.value if hour.rate else 0.0 for hour in found.hours]
    assert int(np.argmax(rates)) == 14
    assert found.hours[14].level_dbfs == pytest.approx(-43.0)
    assert found.hours[3].level_dbfs == pytest.approx(-40.0)
    assert found.hours[14].rate is not None
    assert found.hours[14].rate.observed_s == 7 * 3600.0


def test_an_even_rate_depends_on_no_hour() -> None:
    assert by_time_of_day(a_week({})).depends is False


def test_evenness_is_judged_as_scipy_does() -> None:
    minutes = a_week({3: 3.0}, seed=9)
    minutes = [m for m in minutes if m.hour != 20 or m.day < 3]  # unequal times of observation
    found = by_time_of_day(minutes)
    events = np.array([sum(m.dropouts for m in minutes if m.hour == h) for h in range(24)])
    hours = np.array([3.0 if h == 20 else 7.0 for h in range(24)])
    expected = events.sum() * hours / hours.sum()
    assert found.p == pytest.approx(stats.chisquare(events, expected).pvalue, abs=1e-12)


def test_one_day_does_not_tell_the_time_of_day_from_passing_time() -> None:
    found = by_time_of_day([m for m in a_week({14: 50.0}) if m.day == 0])
    assert found.depends is None
    assert "second day" in found.why


def test_an_hour_that_was_not_observed_has_no_rate() -> None:
    found = by_time_of_day([Minute(hour=5, day=0, observed_s=60.0, dropouts=0)])
    assert [hour.hour for hour in found.hours if hour.rate is not None] == [5]
    assert found.hours[5].level_dbfs is None
