"""Stability against NIST SP 1065's published data, and what the variances are blind to."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.confidence import degrees_of_freedom
from calib.stability import Deviation, allan, hadamard, ladder, modified_allan, time_deviation
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
        time_deviation(data, step_s=1.0, steps=steps).value,
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


@pytest.mark.parametrize("deviation", [allan, modified_allan, hadamard])
def test_a_gap_is_never_spliced(deviation: Callable[..., Deviation]) -> None:
    """Two stretches at frequencies far apart: each is flat, so there is no wander at all."""
    broken = np.concatenate([np.full(40, 3.0), [np.nan], np.full(60, 900.0)])
    found = deviation(broken, step_s=1.0, steps=3)
    assert found.value == pytest.approx(0.0, abs=1e-9)
    whole = deviation(np.delete(broken, 40), step_s=1.0, steps=3)
    assert whole.value > 10.0


def test_stretches_between_gaps_add_their_differences_and_degrees() -> None:
    data = thousand()
    data[700] = np.nan
    both = allan(data, step_s=1.0, steps=4)
    one, two = (allan(part, step_s=1.0, steps=4) for part in (data[:700], data[701:]))
    assert both.count == one.count + two.count
    assert both.degrees == pytest.approx(one.degrees + two.degrees)
    pooled = (one.count * one.value**2 + two.count * two.value**2) / both.count
    assert both.value == pytest.approx(pooled**0.5)


def test_a_ladder_ends_where_four_averaging_times_no_longer_fit() -> None:
    data = thousand()[:100]
    assert [each.tau_s for each in ladder(data, step_s=5.0)] == [5.0, 10.0, 20.0, 40.0, 80.0]
    data[30] = np.nan
    assert [each.tau_s for each in ladder(data, step_s=5.0)] == [5.0, 10.0, 20.0, 40.0, 80.0]
    assert ladder([1.0, 2.0, 3.0, np.nan, 4.0], step_s=1.0) == ()
    assert [each.tau_s for each in ladder([1.0, 2.0, 4.0, 3.0], step_s=1.0)] == [1.0]


def test_too_few_to_tell_the_noise_count_as_the_noise_that_leaves_fewest_degrees() -> None:
    found = allan(thousand()[:20], step_s=1.0)
    assert found.noise is None
    assert found.degrees == pytest.approx(degrees_of_freedom(-2, differences=2, steps=1, count=21))


@pytest.mark.parametrize("steps", [0, 5, 100])
def test_too_few_frequencies_are_refused(steps: int) -> None:
    with pytest.raises(ValueError, match=r"too few|at least 1"):
        allan(published.NINE, step_s=1.0, steps=steps)
