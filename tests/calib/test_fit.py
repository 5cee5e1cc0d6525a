"""The fit of a clock: weighted mean, Birge ratio, outliers, and what may not shrink."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import BenchError
from calib.fit import ReferencePoint, fit_correction
from calib.references import (
    ATSC_PILOT_HZ,
    KINDS,
    Reference,
    is_good_enough,
    reference_of,
)
from tests.values import references as published


def point(
    ppm: float, u_ppm: float, *, nominal_hz: float = 100e6, name: str = "r"
) -> ReferencePoint:
    return ReferencePoint(
        name=name,
        nominal_hz=nominal_hz,
        u_nominal_hz=nominal_hz * u_ppm * 1e-6,
        indicated_hz=nominal_hz / (1 + ppm * 1e-6),
        u_indicated_hz=0.0,
    )


def test_the_weighted_mean_and_birge_ratio_of_the_worked_case() -> None:
    case = published.WEIGHTED
    points = [
        point(x, u, name=str(n)) for n, (x, u) in enumerate(zip(case["x"], case["u"], strict=True))
    ]
    fit = fit_correction(points, origin="test")
    assert fit.correction.ppm == pytest.approx(case["mean"], abs=2e-6)
    assert fit.birge_ratio == pytest.approx(case["birge"], abs=1e-4)
    assert fit.correction.u_ppm == pytest.approx(case["u_outer"], abs=1e-6)


def test_agreeing_references_do_not_narrow_below_the_best_of_them() -> None:
    fit = fit_correction([point(30.0, 0.5, name=str(n)) for n in range(20)], origin="test")
    assert fit.birge_ratio == pytest.approx(0.0, abs=1e-6)
    assert fit.correction.u_ppm == pytest.approx(0.5)


def test_two_that_disagree_widen_the_answer() -> None:
    fit = fit_correction([point(30.0, 0.1), point(33.0, 0.1)], origin="test")
    assert fit.correction.u_ppm == pytest.approx(1.5, rel=1e-3)


def test_an_outlier_among_three_is_named_and_not_averaged_in() -> None:
    points = [point(30.0, 0.2, name="a"), point(30.1, 0.2, name="b"), point(75.0, 0.2, name="c")]
    fit = fit_correction(points, origin="test")
    assert fit.correction.ppm == pytest.approx(30.05, abs=0.01)
    assert [(r.name, r.used) for r in fit.references] == [("a", True), ("b", True), ("c", False)]


def test_a_clock_more_than_200_ppm_off_is_probably_another_station() -> None:
    with pytest.raises(BenchError, match="probably another station"):
        fit_correction([point(210.0, 1.0)], origin="test")


@given(st.floats(-199, 199), st.floats(0.01, 30), st.floats(1e6, 1.7e9))
def test_one_reference_gives_its_own_error_and_doubt(
    ppm: float, u_ppm: float, nominal_hz: float
) -> None:
    fit = fit_correction([point(ppm, u_ppm, nominal_hz=nominal_hz)], origin="test")
    assert fit.correction.ppm == pytest.approx(ppm, abs=1e-6)
    assert fit.correction.u_ppm == pytest.approx(u_ppm)
    # And with it the reference reads its own nominal.
    reading = fit.correction.apply(nominal_hz / (1 + ppm * 1e-6), 0.0)
    assert reading.value_hz == pytest.approx(nominal_hz, abs=1e-3)


def test_broadcast_limits_are_the_published_ones() -> None:
    fm = reference_of(KINDS["fm"], 98e6)
    assert fm.limit_hz == published.FM_LIMIT_HZ
    assert fm.u_ppm == pytest.approx(2000 / 3**0.5 / 98)
    ours_hz = ATSC_PILOT_HZ
    assert ours_hz == pytest.approx(published.ATSC_PILOT_HZ, abs=1e-3)


def test_a_reference_serves_only_where_its_u_is_small_enough() -> None:
    assert not is_good_enough(reference_of(KINDS["fm"], 98e6), 20.0)
    assert is_good_enough(reference_of(KINDS["fm"], 98e6), 50.0)
    assert is_good_enough(Reference(name="lab", nominal_hz=1e7, limit_hz=1.0), 1.0)


def test_every_kind_says_where_it_holds_and_by_whom() -> None:
    for kind in KINDS.values():
        assert kind.where
        assert kind.source
        assert kind.limit(100e6) > 0
