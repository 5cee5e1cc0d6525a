"""Warm-up: planted courses come back within their u, and trust comes late rather than early.

Truth is the closed form that was planted: a line and exponentials, each point its mean over a step.
"""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.settling import Curve
from calib.trust import HORIZON_S, settled_from_s, trusted
from calib.warmup import Shape, WarmUp, WarmUpError, fit_warm_up

STEP_S = 5.0
TIMES_S = STEP_S * (np.arange(360) + 0.5)
END_S = float(TIMES_S[-1])

Truth = Callable[[np.ndarray], np.ndarray]


def course(*settling: tuple[float, float], line: float = -23.0, per_hour: float = 0.0) -> Truth:
    """Error in ppm at a moment: amplitudes in ppm and time constants in s on top of a line."""

    def at(t: np.ndarray) -> np.ndarray:
        return sum(
            (a * np.exp(-t / tau) for a, tau in settling), line + per_hour * np.asarray(t) / 3600.0
        )

    return at


def means(truth: Truth, times_s: np.ndarray = TIMES_S, step_s: float = STEP_S) -> np.ndarray:
    """Means over each step, by adding up 200 moments of it."""
    inside = (np.arange(200) + 0.5) / 200.0 - 0.5
    return truth(times_s[:, None] + step_s * inside).mean(axis=1)


def fit(points: np.ndarray, u_ppm: float = 0.003, times_s: np.ndarray = TIMES_S) -> WarmUp:
    return fit_warm_up(times_s, points, np.full(points.size, u_ppm), mean_s=STEP_S)


ONCE = course((6.0, 240.0), per_hour=0.08)
TWICE = course((-4.0, 45.0), (1.5, 400.0), per_hour=-0.05)


def test_a_course_without_noise_comes_back_exactly() -> None:
    warm = fit(means(ONCE))
    assert warm.shape is Shape.SETTLING
    (only,) = warm.settling
    assert only.amplitude_ppm == pytest.approx(6.0, rel=1e-5)
    assert only.time_constant_s == pytest.approx(240.0, rel=1e-5)
    assert warm.ppm == pytest.approx(ONCE(np.array(END_S)), abs=1e-5)
    slope = 0.08 - 6.0 / 240.0 * np.exp(-END_S / 240.0) * 3600.0
    assert warm.drift_ppm_per_hour == pytest.approx(slope, abs=1e-4)


@pytest.mark.parametrize("seed", range(3))
def test_two_time_constants_are_told_apart(seed: int) -> None:
    rng = np.random.default_rng(seed)
    warm = fit(means(TWICE) + 0.005 * rng.standard_normal(TIMES_S.size))
    assert warm.shape is Shape.SETTLING_TWICE
    fast, slow = warm.settling
    for found, amplitude, tau in ((fast, -4.0, 45.0), (slow, 1.5, 400.0)):
        assert abs(found.time_constant_s - tau) < 4.0 * found.u_time_constant_s
        assert abs(found.amplitude_ppm - amplitude) < 4.0 * found.u_amplitude_ppm


def test_u_covers_the_truth_as_often_as_two_u_should() -> None:
    """80 tracks: each of what is told lies within 2 u of the truth in about 95 % (binomial: 88 %
    at the least)."""
    rng = np.random.default_rng(8)
    planted = means(ONCE)
    right = np.zeros(4)
    for _ in range(80):
        warm = fit(planted + 0.02 * rng.standard_normal(TIMES_S.size), 0.02)
        (only,) = warm.settling
        course_ppm, u_course = warm.at([END_S])
        slope = 0.08 - 6.0 / 240.0 * np.exp(-END_S / 240.0) * 3600.0
        right += (
            abs(only.time_constant_s - 240.0) <= 2.0 * only.u_time_constant_s,
            abs(only.amplitude_ppm - 6.0) <= 2.0 * only.u_amplitude_ppm,
            abs(course_ppm[0] - ONCE(np.array(END_S))) <= 2.0 * u_course[0],
            abs(warm.drift_ppm_per_hour - slope) <= 2.0 * warm.u_drift_ppm_per_hour,
        )
    assert (right >= 70).all(), right
    assert right.sum() < 4 * 80, right


def test_noise_alone_shows_no_settling() -> None:
    rng = np.random.default_rng(2)
    line = course(per_hour=0.3)
    shapes = [
        fit(means(line) + 0.02 * rng.standard_normal(TIMES_S.size), 0.02).shape for _ in range(60)
    ]
    assert shapes == [Shape.LINE] * 60


def test_a_wandering_clock_is_not_called_settling_and_its_drift_is_told_with_more_doubt() -> None:
    rng = np.random.default_rng(4)
    white = fit(0.02 * rng.standard_normal(TIMES_S.size), 0.02)
    settled = 0
    for _ in range(30):
        warm = fit(np.cumsum(0.003 * rng.standard_normal(TIMES_S.size)))
        settled += warm.shape is not Shape.LINE
        if warm.shape is Shape.LINE:
            by_scatter = warm.u_drift_ppm_per_hour / warm.scatter_ppm
            assert by_scatter > 2.0 * white.u_drift_ppm_per_hour / white.scatter_ppm
    assert settled <= 3


def test_a_bend_whose_end_was_not_seen_is_said_and_never_trusted() -> None:
    rng = np.random.default_rng(6)
    warm = fit(means(course((5.0, 2400.0))) + 0.003 * rng.standard_normal(TIMES_S.size))
    assert warm.shape is Shape.BENDING
    assert warm.settling == ()
    assert warm.ppm == pytest.approx(course((5.0, 2400.0))(np.array(END_S)), abs=0.01)
    assert trusted(warm, limit_ppm=100.0).after_s is None


def test_gaps_are_left_out_and_nothing_is_made_of_them() -> None:
    rng = np.random.default_rng(7)
    points = means(ONCE) + 0.003 * rng.standard_normal(TIMES_S.size)
    points[40:90] = np.nan
    points[340:] = np.nan
    warm = fit(points)
    (only,) = warm.settling
    assert abs(only.time_constant_s - 240.0) < 4.0 * only.u_time_constant_s
    assert warm.end_s == TIMES_S[339]


def test_a_point_of_more_doubt_counts_for_less() -> None:
    rng = np.random.default_rng(9)
    points = means(ONCE) + 0.003 * rng.standard_normal(TIMES_S.size)
    u = np.full(points.size, 0.003)
    points[100:110] += 3.0
    u[100:110] = 3.0
    warm = fit_warm_up(TIMES_S, points, u, mean_s=STEP_S)
    (only,) = warm.settling
    assert only.time_constant_s == pytest.approx(240.0, abs=1.0)


def test_too_few_points_are_refused_in_one_line() -> None:
    with pytest.raises(WarmUpError, match="7 points") as refused:
        fit(np.array([1.0] * 7 + [np.nan] * 5), times_s=TIMES_S[:12])
    assert "\n" not in str(refused.value)


def _moves(truth: Truth, t: float) -> float:
    """How far the truth gets from where it is, within an hour."""
    later = truth(np.linspace(t, t + HORIZON_S, 2001))
    return float(np.abs(later - later[0]).max())


@pytest.mark.parametrize(
    "truth", [ONCE, TWICE, course((3.0, 120.0), (2.0, 500.0)), course((-0.8, 300.0))]
)
@pytest.mark.parametrize("limit_ppm", [0.3, 1.0])
def test_trust_begins_after_the_truth_has_come_to_rest_and_soon_after(
    truth: Truth, limit_ppm: float
) -> None:
    rng = np.random.default_rng(3)
    warm = fit(means(truth) + 0.005 * rng.standard_normal(TIMES_S.size), 0.005)
    trust = trusted(warm, limit_ppm=limit_ppm)
    moments = np.arange(0.0, END_S)
    rest_s = float(moments[[_moves(truth, t) > limit_ppm for t in moments]].max(initial=0.0))
    assert trust.after_s is not None
    assert rest_s <= trust.after_s <= 1.15 * rest_s + 10.0
    assert trust.why is None


def test_what_was_not_seen_is_foretold_but_not_called_trust() -> None:
    slow = course((6.0, 600.0))
    rng = np.random.default_rng(5)
    warm = fit(means(slow) + 0.002 * rng.standard_normal(TIMES_S.size))
    trust = trusted(warm, limit_ppm=0.1)
    assert trust.after_s is None
    assert trust.why is not None
    # exp(-t / 600) * 6 = 0.1 at 2457 s (closed form).
    assert trust.expected_s == pytest.approx(2457.0, rel=0.1)
    assert trust.expected_s > 2457.0


def test_a_lasting_drift_is_never_trusted_for_less_than_an_hour_of_it() -> None:
    rng = np.random.default_rng(5)
    warm = fit(means(course(per_hour=2.0)) + 0.01 * rng.standard_normal(TIMES_S.size), 0.01)
    assert trusted(warm, limit_ppm=1.5).after_s is None
    assert trusted(warm, limit_ppm=1.5).expected_s is None
    assert trusted(warm, limit_ppm=2.5).after_s == TIMES_S[0]


def test_a_clock_that_wanders_more_than_the_limit_is_not_trusted() -> None:
    rng = np.random.default_rng(5)
    warm = fit(0.3 * rng.standard_normal(TIMES_S.size), 0.3)
    trust = trusted(warm, limit_ppm=0.5)
    assert trust.after_s is None
    assert trust.why is not None
    assert "wanders" in trust.why


def test_stability_is_looked_at_from_trust_on_or_when_hardly_any_settling_is_left() -> None:
    rng = np.random.default_rng(5)
    noise = 0.003 * rng.standard_normal(TIMES_S.size)
    warm = fit(means(ONCE) + noise)
    trust = trusted(warm, limit_ppm=1.0)
    assert settled_from_s(warm, trust) == trust.after_s
    never = trusted(warm, limit_ppm=0.001)
    assert never.after_s is None
    assert settled_from_s(warm, never) == pytest.approx(5.0 * 240.0, rel=0.01)
    line = fit(means(course(per_hour=9.0)) + noise)
    assert settled_from_s(line, trusted(line, limit_ppm=1.0)) == TIMES_S[0]
    bend = fit(means(course((5.0, 2400.0))) + noise)
    assert settled_from_s(bend, trusted(bend, limit_ppm=1.0)) is None


@settings(max_examples=30)
@given(
    amplitude=st.floats(-20.0, 20.0),
    tau=st.floats(3.0, 5000.0),
    at=st.floats(0.0, 3000.0),
    mean_s=st.sampled_from([0.0, 0.001, 5.0, 60.0]),
)
def test_the_slopes_of_the_curve_are_those_of_its_differences(
    amplitude: float, tau: float, at: float, mean_s: float
) -> None:
    """Analytic derivatives against central differences."""
    values = np.array([1.0, 2e-4, amplitude, np.log(tau)])
    t = np.array([at])
    found = Curve(values=values, origin_s=900.0).jacobian(t, mean_s=mean_s)[0]
    for number in range(values.size):
        step = np.zeros(values.size)
        step[number] = 1e-6
        high = Curve(values=values + step, origin_s=900.0).at(t, mean_s=mean_s)
        low = Curve(values=values - step, origin_s=900.0).at(t, mean_s=mean_s)
        assert found[number] == pytest.approx((high - low)[0] / 2e-6, rel=1e-4, abs=1e-6)
