"""Stability against NIST SP 1065's published data, and what the variances are blind to."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.stability import allan, hadamard, modified_allan, time_deviation
from tests.values import stability as published


def thousand() -> np.ndarray:
    numbers = [published.THOUSAND_SEED]
    while len(numbers) < 1000:
        numbers.append(published.THOUSAND_FACTOR * numbers[-1] % published.THOUSAND_MODULUS)
    assert numbers[-1] == published.THOUSAND_LAST
    return np.array(numbers) / published.THOUSAND_MODULUS


CASES = [
    *((published.NINE, m, values) for m, values in published.NINE_DEVIATIONS.items()),
    *((tuple(thousand()), m, values) for m, values in published.THOUSAND_DEVIATIONS.items()),
]


@pytest.mark.parametrize(("data", "steps", "values"), CASES)
def test_the_published_deviations(
    data: tuple[float, ...], steps: int, values: tuple[float, ...]
) -> None:
    ours = (
        allan(data, step_s=1.0, steps=steps).value,
        modified_allan(data, step_s=1.0, steps=steps).value,
        time_deviation(data, step_s=1.0, steps=steps),
        hadamard(data, step_s=1.0, steps=steps).value,
    )
    assert ours == pytest.approx(values, rel=1e-6)


@given(st.floats(-1e9, 1e9), st.sampled_from([1, 7]))
def test_a_constant_offset_changes_nothing(offset: float, steps: int) -> None:
    plain = allan(thousand(), step_s=1.0, steps=steps).value
    assert allan(thousand() + offset, step_s=1.0, steps=steps).value == pytest.approx(
        plain, rel=1e-5
    )


def test_a_steady_drift_shows_in_allan_and_not_in_hadamard() -> None:
    """A drift d gives an Allan deviation of d tau / sqrt(2) (closed form)."""
    ramp = 3.0 * np.arange(200)
    assert allan(ramp, step_s=1.0, steps=4).value == pytest.approx(3.0 * 4 / np.sqrt(2), rel=1e-9)
    assert hadamard(ramp, step_s=1.0, steps=4).value == pytest.approx(0.0, abs=1e-9)


def test_the_interval_covers_the_truth_of_white_noise_about_as_often_as_it_says() -> None:
    """White frequency noise of deviation s has an Allan deviation of s / sqrt(tau)."""
    rng = np.random.default_rng(1)
    covered = 0
    for _ in range(300):
        found = allan(rng.standard_normal(200), step_s=1.0, steps=5)
        covered += found.low <= 5**-0.5 <= found.high
    assert 0.55 < covered / 300 < 0.85


def test_a_gap_is_refused_not_spliced() -> None:
    data = thousand()
    data[500] = np.nan
    with pytest.raises(ValueError, match="gap"):
        allan(data, step_s=1.0)


@pytest.mark.parametrize("steps", [0, 5, 100])
def test_too_few_frequencies_are_refused(steps: int) -> None:
    with pytest.raises(ValueError, match="too few"):
        allan(published.NINE, step_s=1.0, steps=steps)
