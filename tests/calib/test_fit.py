"""The fit of a clock: weighted mean, Birge ratio, outliers, and what may not shrink."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import BenchError
from calib.fit import ReferencePoint, fit_correction, settle
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
    fit = fit_correction([point(30.0, 0.1, name="a"), point(33.0, 0.1, name="b")], origin="test")
    assert fit.correction.u_ppm == pytest.approx(1.5, rel=1e-3)
    assert fit.at_odds == (("a", "b"),)


def test_limits_that_touch_are_not_at_odds() -> None:
    """Rectangles of half-width u sqrt(3): 3 ppm apart, they meet at u = 0.87 ppm."""
    fit = fit_correction([point(30.0, 0.9), point(33.0, 0.9)], origin="test")
    assert fit.at_odds == ()


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


def offset(clock_ppm: float, *, nominal_hz: float, by_hz: float) -> list[ReferencePoint]:
    """A pilot put higher by so much, read as plain and as offset by 22 697.4 or 19 403.07 Hz."""
    indicated_hz = (nominal_hz + by_hz) / (1 + clock_ppm * 1e-6)
    return [
        ReferencePoint(
            name=f"pilot {nominal_hz / 1e6:g} +{each_hz / 1e3:.1f}",
            nominal_hz=nominal_hz + each_hz,
            u_nominal_hz=1000.0 / 3**0.5,
            indicated_hz=indicated_hz,
            u_indicated_hz=0.1,
        )
        for each_hz in (0.0, *published.ATSC_OFFSETS_HZ)
    ]


PILOT_HZ = 57e6 + published.ATSC_PILOT_HZ


@pytest.mark.parametrize("number", [0, 1, 2])
def test_a_second_reference_settles_a_pilots_offset(number: int) -> None:
    by_hz = (0.0, *published.ATSC_OFFSETS_HZ)[number]
    ways = offset(20.0, nominal_hz=500e6 + PILOT_HZ, by_hz=by_hz)
    settled = settle([ways, [point(20.0, 0.1)]])
    assert settled.points[0] == ways[number]
    assert settled.others == ()
    assert fit_correction(settled.points, origin="t").correction.ppm == pytest.approx(20.0, abs=0.1)


def test_one_pilot_alone_is_read_as_plain_and_the_other_ways_are_told() -> None:
    ways = offset(20.0, nominal_hz=500e6 + PILOT_HZ, by_hz=0.0)
    settled = settle([ways])
    assert settled.points == (ways[0],)
    assert [points[0] for points in settled.others] == ways[1:]


def test_two_pilots_of_which_one_is_offset_are_not_read_in_two_ways() -> None:
    """At 557 MHz the two offsets lie 5.9 ppm apart, more than both limits together leave open; two
    pilots offset alike would agree as well, and are told."""
    plain = offset(-7.0, nominal_hz=500e6 + PILOT_HZ, by_hz=0.0)
    shifted = offset(-7.0, nominal_hz=530e6 + PILOT_HZ, by_hz=published.ATSC_OFFSETS_HZ[0])
    settled = settle([plain, shifted])
    assert settled.points == (plain[0], shifted[1])
    assert settled.others == ()


def test_where_several_ways_agree_and_the_plain_one_does_not_none_is_chosen() -> None:
    ways = offset(0.0, nominal_hz=500e6 + PILOT_HZ, by_hz=20e3)
    with pytest.raises(BenchError, match=r"more than one way, as a clock of .* or .* give another"):
        settle([ways, [point(0.0, 5.0)]])


def test_where_nothing_agrees_the_plain_way_is_taken_and_found_at_odds() -> None:
    ways = offset(20.0, nominal_hz=500e6 + PILOT_HZ, by_hz=0.0)
    settled = settle([ways, [point(150.0, 0.1, name="b")]])
    assert settled.points[0] == ways[0]
    assert fit_correction(settled.points, origin="t").at_odds == ((ways[0].name, "b"),)


def test_too_many_ways_are_refused() -> None:
    ways = [offset(0.0, nominal_hz=(60 + 6 * n) * 1e6, by_hz=0.0) for n in range(8)]
    with pytest.raises(BenchError, match="6561 ways"):
        settle(ways)
