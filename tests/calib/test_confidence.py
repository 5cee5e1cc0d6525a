"""What an estimated variance is worth, by published tables, a reference library, and chance."""

import allantools
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.confidence import Noise, chi_square_bounds, degrees_of_freedom, identify
from calib.stability import allan, hadamard
from tests.values import stability as published


def power_law(alpha: int, count: int, rng: np.random.Generator) -> np.ndarray:
    """Phases of power-law noise by fractional integration of white noise (N. J. Kasdin, Proc. IEEE
    83 (1995) 802): density f**(alpha - 2)."""
    exponent = (2 - alpha) / 2.0
    k = np.arange(1, count)
    response = np.concatenate([[1.0], np.cumprod((k - 1 + exponent) / k)])
    return np.convolve(rng.standard_normal(count), response)[:count]


@pytest.mark.parametrize(
    ("kind", "alpha", "differences"),
    [
        (kind, alpha, differences)
        for kind, rows in published.FEW_DEGREES.items()
        for alpha, row in rows.items()
        for differences in row
    ],
)
@pytest.mark.parametrize("fit_side_by_side", [8, 30])
def test_degrees_of_freedom_follow_the_published_tables(
    kind: str, alpha: int, differences: int, fit_side_by_side: int
) -> None:
    steps, modified = 250, kind == "modified"
    terms = fit_side_by_side * steps
    count = terms - 1 + (steps if modified else 1) + differences * steps
    a0, a1 = published.FEW_DEGREES[kind][alpha][differences]
    expected = 1.0 / ((a0 - a1 / fit_side_by_side) / fit_side_by_side)
    found = degrees_of_freedom(
        alpha, differences=differences, steps=steps, count=count, modified=modified
    )
    assert found == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("differences", [2, 3])
def test_white_phase_noise_leaves_as_many_degrees_as_published(differences: int) -> None:
    steps, terms = 50, 1000
    a0, a1 = published.WHITE_PHASE_DEGREES[differences]
    found = degrees_of_freedom(
        2, differences=differences, steps=steps, count=terms + differences * steps
    )
    assert found == pytest.approx(terms / (a0 - a1 * steps / terms), rel=0.01)


@given(
    alpha=st.integers(-4, 2),
    differences=st.sampled_from([2, 3]),
    steps=st.integers(1, 24),
    count=st.integers(200, 800),
    modified=st.booleans(),
)
def test_degrees_of_freedom_agree_with_a_reference_library(
    alpha: int, differences: int, steps: int, count: int, modified: bool
) -> None:
    if alpha + 2 * differences <= 1 or (differences + 1) * steps > 100:
        return  # beyond 100 terms the library abridges the sum
    if alpha == 2 and not modified:
        return  # there it uses the table that the test above checks
    ours = degrees_of_freedom(
        alpha, differences=differences, steps=steps, count=count, modified=modified
    )
    theirs = allantools.ci.edf_greenhall(
        alpha, differences, steps, count, overlapping=True, modified=modified
    )
    assert ours == pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize(("degrees", "confidence"), [(3.0, 0.6827), (10.0, 0.95), (137.5, 0.9)])
def test_the_bounds_agree_with_a_reference_library(degrees: float, confidence: float) -> None:
    low, high = chi_square_bounds(degrees, confidence=confidence)
    assert (low, high) == pytest.approx(allantools.ci.confidence_interval(1.0, degrees, confidence))


def test_a_variance_that_does_not_converge_is_refused() -> None:
    with pytest.raises(ValueError, match="tame"):
        degrees_of_freedom(-3, differences=2, steps=1, count=100)
    with pytest.raises(ValueError, match="too few"):
        degrees_of_freedom(0, differences=2, steps=50, count=100)


@pytest.mark.parametrize("noise", list(Noise)[:5])
@pytest.mark.parametrize("steps", [1, 8])
def test_planted_noise_is_told(noise: Noise, steps: int) -> None:
    rng = np.random.default_rng(11)
    told = [
        identify(power_law(noise.alpha, 4096, rng), steps=steps, differences=2) for _ in range(20)
    ]
    if steps == 1:
        assert told.count(noise) >= 18
    # Averaged noise of one kind lies near the border of the next: neighbours may be taken for it.
    assert all(each is not None and abs(each.alpha - noise.alpha) <= 1 for each in told)


@given(seed=st.integers(0, 10**6), alpha=st.integers(-2, 2), steps=st.sampled_from([1, 3, 10]))
def test_noise_is_told_as_a_reference_library_tells_it(seed: int, alpha: int, steps: int) -> None:
    x = power_law(alpha, 700, np.random.default_rng(seed))
    told, _, _, _ = allantools.ci.autocorr_noise_id(x, steps, data_type="phase", dmin=0, dmax=2)
    ours = identify(x, steps=steps, differences=2)
    assert ours is not None
    assert ours.alpha == min(2, max(told, -2))


def test_an_offset_and_a_drift_are_no_noise() -> None:
    t = np.arange(300.0)
    x = power_law(0, 300, np.random.default_rng(3))
    assert identify(x + 40.0 * t - 0.3 * t**2, steps=1, differences=2) is Noise.WHITE_FREQUENCY


def test_too_little_tells_no_noise() -> None:
    assert identify(np.random.default_rng(1).standard_normal(29), steps=1, differences=2) is None
    assert identify(np.zeros(100), steps=1, differences=2) is None


@pytest.mark.parametrize("deviation", [allan, hadamard])
@pytest.mark.parametrize("steps", [1, 8, 40])
def test_the_interval_covers_white_frequency_noise_as_often_as_it_says(
    deviation: object, steps: int
) -> None:
    """White frequency noise of deviation s has Allan and Hadamard deviations of s / sqrt(m)."""
    rng = np.random.default_rng(steps)
    covered = 0
    for _ in range(400):
        found = deviation(  # type: ignore[operator]
            rng.standard_normal(360), step_s=5.0, steps=steps, confidence=0.9
        )
        covered += found.low <= steps**-0.5 <= found.high
    # Binomial: 0.9 +- 3 sqrt(0.9 * 0.1 / 400), and a little for noise that is told wrong: 360
    # frequencies hold 12 averages of 30, too few to tell the noise of 40 by.
    assert 0.82 <= covered / 400 <= 0.95


@pytest.mark.parametrize("steps", [4, 30])
def test_the_interval_covers_random_walk_noise_as_often_as_it_says(steps: int) -> None:
    """Frequency that walks by s each step: the second difference of its phase over m steps has
    the variance ``s² m (2 m² + 1) / 3``, half of which by m² is Allan's (sum of squares of the
    weights 1 .. m .. 1)."""
    rng = np.random.default_rng(5)
    expected = np.sqrt(steps * (2 * steps**2 + 1) / 3.0 / 2.0) / steps
    covered = 0
    for _ in range(400):
        walk = np.cumsum(rng.standard_normal(360))
        found = allan(walk, step_s=1.0, steps=steps, confidence=0.9)
        covered += found.low <= expected <= found.high
    assert 0.82 <= covered / 400 <= 0.95
