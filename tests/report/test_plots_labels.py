"""Where labels go: apart, in order, inside, and no further away than needed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from sniff.report.plots.axis import thin
from sniff.report.plots.labels import most_labels, spread, stagger
from sniff.report.plots.page import text_width_mm, unbroken, wrap

places = st.lists(st.floats(-50.0, 250.0), min_size=1, max_size=12).map(sorted)


@given(wanted=places, gap=st.floats(0.0, 17.0))
def test_spread_places_are_apart_in_order_and_inside(wanted: list[float], gap: float) -> None:
    found = spread(wanted, gap_mm=gap, low_mm=0.0, high_mm=190.0)
    assert np.all(np.diff(found) >= gap - 1e-9)
    assert found[0] >= -1e-9
    assert found[-1] <= 190.0 + 1e-9


def test_places_far_enough_apart_stay_where_they_are() -> None:
    assert spread([10.0, 40.0, 41.0], gap_mm=1.0, low_mm=0.0, high_mm=190.0) == pytest.approx(
        [10.0, 40.0, 41.0]
    )


@pytest.mark.parametrize(
    "wanted", [[10.0, 11.0, 12.0, 80.0], [1.0, 2.0, 3.0, 4.0], [20.0, 20.0, 95.0, 99.0]]
)
def test_no_other_places_are_nearer_in_the_sense_of_least_squares(wanted: list[float]) -> None:
    found = spread(wanted, gap_mm=8.0, low_mm=5.0, high_mm=98.0)
    target = np.asarray(wanted)
    best = minimize(
        lambda x: float(np.sum((x - target) ** 2)),
        np.linspace(10.0, 90.0, target.size),
        method="SLSQP",
        bounds=[(5.0, 98.0)] * target.size,
        constraints=[{"type": "ineq", "fun": lambda x: np.diff(x) - 8.0}],
    )
    assert best.success
    assert float(np.sum((found - target) ** 2)) <= best.fun + 1e-6


def test_more_places_than_fit_are_our_own_mistake() -> None:
    with pytest.raises(ValueError, match="11 places 10"):
        spread([0.0] * 11, gap_mm=10.0, low_mm=0.0, high_mm=90.0)


@given(width=st.floats(5.0, 60.0), at=st.floats(0.0, 190.0))
def test_two_rows_hold_as_many_labels_as_promised(width: float, at: float) -> None:
    count = most_labels(width_mm=width, low_mm=0.0, high_mm=190.0)
    band = stagger([at] * count, ["one\ntwo"] * count, width_mm=width, low_mm=0.0, high_mm=190.0)
    xs = [place.x_mm for place in band.places]
    assert min(xs) >= width / 2.0 - 1e-9
    assert max(xs) <= 190.0 - width / 2.0 + 1e-9
    for first, second in zip(band.places[:-2], band.places[2:], strict=True):
        assert second.x_mm - first.x_mm >= width - 1e-6


def test_labels_far_apart_share_one_row_and_crowded_ones_take_two() -> None:
    texts = ["a\nb"] * 3
    border = {"width_mm": 20.0, "low_mm": 0.0, "high_mm": 190.0}
    assert len(stagger([20.0, 90.0, 170.0], texts, **border).rows_mm) == 1
    assert len(stagger([90.0, 90.1, 90.2, 90.3], ["a\nb"] * 4, **border).rows_mm) == 2


def test_without_labels_the_band_is_a_little_air() -> None:
    assert 0.0 < stagger([], [], width_mm=2.0, low_mm=0.0, high_mm=190.0).height_mm < 3.0


@given(st.text(alphabet="abcde −±MHz .", max_size=200), st.floats(20.0, 180.0))
def test_wrapped_lines_fit_and_lose_no_word(text: str, width: float) -> None:
    lines = wrap(text, width)
    assert " ".join(lines).split() == text.split()
    for line in lines:
        assert text_width_mm(line) <= width or " " not in line


def test_a_quantity_is_not_torn_from_its_unit() -> None:
    lines = wrap(f"the strongest at {unbroken('−32.0 dBFS')}", 26.0)
    assert lines[-1] == "−32.0\N{NO-BREAK SPACE}dBFS"


@given(
    seed=st.integers(0, 2**32 - 1),
    size=st.integers(1, 5000),
    columns=st.integers(1, 400),
)
def test_a_thinned_trace_keeps_order_and_extremes(seed: int, size: int, columns: int) -> None:
    y = np.random.default_rng(seed).normal(size=size)
    x = np.arange(size, dtype=np.float64)
    thin_x, thin_y = thin(x, y, columns=columns)
    assert np.all(np.diff(thin_x) >= 0)
    assert thin_y == pytest.approx(y[thin_x.astype(int)])
    assert thin_y.max() == y.max()
    assert thin_y.min() == y.min()
    assert thin_x.size <= max(2 * (columns + 1) * 2, 3 * columns)
