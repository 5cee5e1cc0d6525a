"""A track judged: what is said of it, and of holes, jumps and wander."""

import numpy as np
import pytest

from sniff.units import Tolerance
from tests.report.warming import NOMINAL_HZ, warmed


def codes(*settling: tuple[float, float], **changes: object) -> list[str]:
    return [each.code for each in warmed(*settling, **changes).cautions]  # type: ignore[arg-type]


def test_a_plain_warm_up_needs_no_caution() -> None:
    assert codes((5.0, 200.0)) == []
    assert codes((5.0, 200.0), noise_ppm=0.1) == []


def test_holes_are_counted_by_their_cause() -> None:
    judged = warmed((5.0, 200.0), away=range(20, 44), lost=range(100, 112))
    assert judged.unobserved_s == 36 * 5.0
    assert judged.followed_s == 1800.0
    lost, gone = judged.cautions
    assert (lost.code, gone.code) == ("gaps", "reference-gone")
    assert "60 s of samples" in lost.text
    assert "not heard for 2 min in all, first at 100 s" in gone.text


@pytest.mark.parametrize("jump_ppm", [0.3, -0.3])
def test_a_jump_is_cautioned_with_its_moment_and_size(jump_ppm: float) -> None:
    (caution,) = (
        each for each in warmed(jump_ppm=jump_ppm).cautions if each.code == "reference-jumped"
    )
    assert "at 15 min" in caution.text
    sign = "+" if jump_ppm > 0 else "−"
    assert f"jumped by {sign}0.3" in caution.text or f"jumped by {sign}0.29" in caution.text


def test_a_jump_across_a_hole_is_seen_too() -> None:
    assert "reference-jumped" in codes(jump_ppm=0.4, away=range(170, 185))


def test_the_point_at_the_end_carries_fit_scatter_and_the_references_own_doubt() -> None:
    judged = warmed((5.0, 200.0))
    assert judged.point.ppm == pytest.approx(-23.0, abs=0.005)
    own_ppm = 10.0 / 3**0.5 / NOMINAL_HZ * 1e6
    assert judged.point.u_ppm == pytest.approx(np.hypot(own_ppm, judged.fit.u_ppm), rel=1e-6)
    assert judged.fit.u_ppm >= judged.fit.scatter_ppm


def test_a_tolerance_in_hertz_counts_at_the_reference() -> None:
    assert warmed((5.0, 200.0), tolerance=Tolerance(hz=700.0)).tolerance_ppm == pytest.approx(7.0)
    assert warmed((5.0, 200.0)).tolerance_assumed


def test_stability_is_that_of_the_noise_alone_once_it_settled() -> None:
    """White noise of deviation s has an Allan deviation of s / sqrt(m) at m steps."""
    judged = warmed((5.0, 200.0), noise_ppm=0.004)
    assert judged.settled_s == judged.trust.after_s
    for number, found in enumerate(judged.stability[:4]):
        assert found.tau_s == 5.0 * 2**number
        assert found.value == pytest.approx(0.004e-6 / 2 ** (number / 2), rel=0.3)
    assert judged.stability[0].noise is not None


def test_a_clock_that_still_bends_has_no_settled_part() -> None:
    judged = warmed((5.0, 3000.0))
    assert judged.settled_s is None
    assert judged.stability == ()


def test_time_is_told_by_the_true_clock() -> None:
    """A clock 400 ppm fast has counted 5 s when 4.998 have passed."""
    judged = warmed(line_ppm=400.0, noise_ppm=0.0)
    assert np.diff(judged.times_s) == pytest.approx(5.0 / 1.0004, rel=1e-9)
