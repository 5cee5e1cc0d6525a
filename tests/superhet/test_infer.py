"""Superhet arithmetic, backward: the true set is found, the ambiguous stays ambiguous."""

from dataclasses import replace
from math import erfc, exp, hypot, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.errors import UsageError
from sniff.superhet.candidate import Candidate, Origin, plan_of
from sniff.superhet.crystal import MULTIPLIERS
from sniff.superhet.hypotheses import lo_place
from sniff.superhet.infer import COMMON_IFS_HZ, infer
from sniff.superhet.misfit import Carrier, Place, covariance, score, u_misfit_hz
from sniff.superhet.plan import Plan, Role, Side, carry
from sniff.superhet.seen import Seen, parse_seen, seen_cautions
from sniff.units import Tolerance
from tests.values.superhet import CRYSTAL_CHAINS, SECOND_LO, SINGLE_CONVERSION

EXACT = Tolerance(ppm=0.0)
TIGHT = Tolerance(ppm=1.0)


def seen(mhz: float, role: Role | None = None, *, u_hz: float = 100.0, ppm: float = 0.0) -> Seen:
    return Seen(frequency_hz=mhz * 1e6, u_hz=u_hz, u_clock_ppm=ppm, role=role)


def schemes(candidates: tuple[Candidate, ...]) -> list[tuple[float | None, str | None]]:
    return [
        (each.if_hz and round(each.if_hz / 1e6, 4), each.side and each.side.value)
        for each in candidates
    ]


@pytest.mark.parametrize(("carrier", "if_", "side", "lo", "image", "half_if"), SINGLE_CONVERSION)
def test_carrier_and_lo_of_a_worked_example_tell_its_if_and_side(
    carrier: float, if_: float, side: str, lo: float, image: float, half_if: float
) -> None:
    found = infer([seen(carrier, Role.CARRIER), seen(lo, Role.LO)], tolerance=TIGHT)
    best = found.candidates[0]
    assert schemes((best,)) == [(if_, side)]
    assert best.injection_error_hz == pytest.approx(0.0, abs=0.01)
    assert best.u_hz == pytest.approx(hypot(100.0, 100.0))
    assert best.score == pytest.approx(1.0, abs=1e-6)
    assert best.origin is Origin.COMMON


def test_two_lines_without_a_role_may_each_be_the_carrier() -> None:
    found = infer([seen(72.9), seen(83.6)], tolerance=TIGHT)
    assert schemes(found.candidates) == [(10.7, "high"), (10.7, "low")]
    assert [each.carrier_hz for each in found.candidates] == [72.9e6, 83.6e6]
    assert [caution.code for caution in found.cautions] == ["ambiguous"]


def test_one_leakage_line_of_a_known_carrier_never_tells_the_if_alone() -> None:
    # The LO of 162.55 MHz with 21.4 MHz lies on the image of the same carrier with 10.7 MHz.
    found = infer([seen(141.15)], carriers_hz=[162.55e6], tolerance=TIGHT)
    assert schemes(found.candidates) == [(21.4, "low"), (10.7, "low")]
    lines = [each.lines[0].role for each in found.candidates]
    assert lines == [Role.LO, Role.IMAGE]
    assert found.candidates[0].score == pytest.approx(found.candidates[1].score or 0.0, abs=1e-3)
    assert [caution.code for caution in found.cautions] == ["ambiguous"]


def test_channel_list_keeps_every_carrier_that_the_line_allows() -> None:
    found = infer(
        [seen(151.85)], carriers_hz=[162.4e6, 162.55e6, 141.15e6, 173.25e6], tolerance=TIGHT
    )
    kept = {(round(each.carrier_hz), each.if_hz, each.side) for each in found.candidates}
    assert kept == {
        (162_550_000, 10.7e6, Side.LOW),
        (141_150_000, 10.7e6, Side.HIGH),
        (173_250_000, 21.4e6, Side.LOW),
        (173_250_000, 10.7e6, Side.LOW),  # as its image
    }


def test_second_lo_tells_two_near_ifs_apart() -> None:
    lines = [seen(72.9, Role.CARRIER, u_hz=3000.0), seen(83.6, u_hz=3000.0)]
    assert {10.7, 10.695} <= {each for each, _ in schemes(infer(lines).candidates)}
    for first, second, side, lo in SECOND_LO[:4]:
        carrier = seen(162.55, Role.CARRIER, u_hz=300.0)
        first_lo = seen(162.55 + first, u_hz=300.0)
        second_lo = seen(lo, Role.SECOND_LO, u_hz=300.0)
        best = infer([carrier, first_lo, second_lo], tolerance=Tolerance(ppm=5.0)).candidates[0]
        assert (best.if_hz, best.second_if_hz) == (first * 1e6, second * 1e6)
        assert best.second_side is Side(side)


@pytest.mark.parametrize(("carrier", "if_", "side", "multiplier", "crystal"), CRYSTAL_CHAINS)
def test_crystal_line_alone_tells_multiplier_and_if(
    carrier: float, if_: float, side: str, multiplier: int, crystal: float
) -> None:
    lines = [seen(carrier, Role.CARRIER), seen(crystal, Role.CRYSTAL)]
    best = infer(lines, tolerance=TIGHT).candidates[0]
    assert schemes((best,)) == [(if_, side)]
    assert best.multiplier == multiplier
    # Printed to 10 Hz, so that times twelve the LO is known to 60 Hz.
    assert best.injection_error_hz == pytest.approx(0.0, abs=60.0)
    assert best.u_hz == pytest.approx(hypot(100.0 * multiplier, 100.0))


def test_line_at_a_third_of_the_lo_may_be_a_multiple_of_a_lower_crystal() -> None:
    lines = [seen(72.9, Role.CARRIER), seen(83.6, Role.LO), seen(83.6 / 3)]
    found = infer(lines, tolerance=TIGHT).candidates
    kept = [(each.multiplier, each.lines[1].multiple) for each in found]
    assert kept == [(3, 1), (6, 2), (9, 3), (12, 4), (18, 6)]


def test_crystal_named_by_the_user_is_no_multiple() -> None:
    lines = [seen(72.9, Role.CARRIER), seen(83.6, Role.LO), seen(83.6 / 3, Role.CRYSTAL)]
    assert [each.multiplier for each in infer(lines, tolerance=TIGHT).candidates] == [3]


def test_crystal_on_the_lo_itself_is_believed_when_named() -> None:
    lines = [seen(72.9, Role.CARRIER), seen(83.6, Role.CRYSTAL)]
    (best, *_) = infer(lines, tolerance=TIGHT).candidates
    assert (best.multiplier, best.if_hz) == (1, 10.7e6)


def test_crystal_and_carrier_alone_are_a_transmitter() -> None:
    (best, *_) = infer([seen(72.9, Role.CARRIER), seen(24.3)], tolerance=TIGHT).candidates
    assert (best.origin, best.if_hz, best.side) == (Origin.TRANSMITTER, None, None)
    assert best.multiplier == 3
    assert best.injection_error_hz is None


def test_crystal_of_a_transmitter_is_off_together_with_its_carrier() -> None:
    wide = Tolerance(ppm=100.0)
    read = infer([seen(72.9, Role.CARRIER), seen(24.3002, Role.CRYSTAL)], tolerance=wide)
    expected = erfc(200.0 / hypot(100.0, 100.0 / 3) / sqrt(2.0))
    assert read.candidates[0].score == pytest.approx(expected, rel=1e-6)
    nominal = infer([seen(24.3002, Role.CRYSTAL)], carriers_hz=[72.9e6], tolerance=wide)
    expected = erfc(200.0 / hypot(100.0, 2430.0 / sqrt(3.0)) / sqrt(2.0))
    assert nominal.candidates[0].score == pytest.approx(expected, rel=1e-6)


def test_crystal_off_frequency_shows_multiplied_in_the_injection_error() -> None:
    lines = [seen(169.505, Role.CARRIER), seen(17.6451, Role.CRYSTAL)]
    best = infer(lines, tolerance=TIGHT).candidates[0]
    assert best.injection_error_hz == pytest.approx(900.0, abs=0.01)
    assert best.lines[0].misfit_hz == pytest.approx(100.0, abs=0.01)


def test_same_line_read_twice_is_no_crystal_of_its_own() -> None:
    found = infer([seen(72.9), seen(72.9001), seen(83.6)], tolerance=TIGHT)
    assert found.candidates
    assert all(each.multiplier is None for each in found.candidates)


def test_lines_closer_than_any_if_are_no_carrier_and_lo() -> None:
    found = infer([seen(72.9, Role.CARRIER), seen(72.91)], tolerance=TIGHT)
    assert found.candidates == ()


def test_unusual_if_is_offered_as_measured_with_the_nearest_common_one() -> None:
    found = infer([seen(72.9, Role.CARRIER), seen(83.64, Role.LO)], tolerance=TIGHT)
    measured, nearest = found.candidates
    assert measured.origin is Origin.MEASURED
    assert measured.if_hz == pytest.approx(10.74e6)
    assert (measured.score, measured.injection_error_hz) == (None, None)
    assert measured.u_hz == pytest.approx(hypot(100.0, 100.0))
    assert (nearest.if_hz, nearest.fits) == (10.7e6, False)
    assert nearest.injection_error_hz == pytest.approx(40e3)
    assert [caution.code for caution in found.cautions] == ["no-common-if"]


def test_if_far_from_any_common_one_has_no_nearest() -> None:
    found = infer([seen(72.9, Role.CARRIER), seen(86.63, Role.LO)], tolerance=TIGHT)
    assert [each.origin for each in found.candidates] == [Origin.MEASURED]


def test_measured_if_is_tested_by_the_crystal() -> None:
    lines = [seen(72.9, Role.CARRIER), seen(86.64, Role.LO), seen(28.88, Role.CRYSTAL)]
    (best, *_) = infer(lines, tolerance=TIGHT).candidates
    assert (best.origin, best.multiplier) == (Origin.MEASURED, 3)
    assert best.if_hz == pytest.approx(13.74e6)
    assert best.score == pytest.approx(1.0, abs=1e-6)
    off = infer([*lines[:2], seen(28.8802, Role.CRYSTAL)], tolerance=TIGHT).candidates[0]
    # The carrier drops out: LO / 3 against the crystal, each read to 100 Hz.
    expected = erfc(200.0 / hypot(100.0, 100.0 / 3) / sqrt(2.0))
    assert off.score == pytest.approx(expected, rel=1e-6)


def test_foreign_line_is_left_unexplained_and_said() -> None:
    lines = [seen(72.9, Role.CARRIER), seen(83.6), seen(61.2345)]
    found = infer(lines, tolerance=TIGHT)
    assert schemes(found.candidates[:1]) == [(10.7, "high")]
    assert found.candidates[0].unexplained_hz == (61.2345e6,)
    assert "does not explain 61.2345 MHz" in found.cautions[-1].text


def test_lone_high_multiple_explains_nothing() -> None:
    # Four fifths of the LO of 72.9 MHz with an IF of 6 MHz, but no oscillator is seen.
    found = infer([seen(72.9, Role.CARRIER), seen((72.9 - 6.0) * 4 / 5)], tolerance=TIGHT)
    assert not [each for each in found.candidates if each.origin is Origin.COMMON]


def test_lone_harmonic_of_a_second_lo_explains_nothing_unless_the_lo_is_seen() -> None:
    lines = [seen(72.9, Role.CARRIER), seen(30.735)]
    assert infer(lines, tolerance=TIGHT).candidates[0].origin is Origin.MEASURED
    best = infer([*lines, seen(83.6)], tolerance=TIGHT).candidates[0]
    assert (best.if_hz, best.second_if_hz, best.second_side) == (10.7e6, 455e3, Side.LOW)
    named = [lines[0], replace(lines[1], role=Role.SECOND_LO_HARMONIC)]
    kept = {(c.if_hz, c.second_if_hz) for c in infer(named, tolerance=TIGHT).candidates}
    assert (10.7e6, 455e3) in kept


def test_nominal_carrier_may_be_seen_too() -> None:
    found = infer([seen(72.9012), seen(83.6)], carriers_hz=[72.9e6])
    best = found.candidates[0]
    assert best.unexplained_hz == ()
    assert [line.role for line in best.lines] == [Role.CARRIER, Role.LO]
    assert best.lines[0].misfit_hz == pytest.approx(1200.0)


def test_candidate_carries_over_to_a_sibling() -> None:
    best = infer([seen(72.9, Role.CARRIER), seen(83.6)], tolerance=TIGHT).candidates[0]
    assert carry(plan_of(best), 74.7e6).lo_hz == pytest.approx(85.4e6)


@st.composite
def receivers(draw: st.DrawFn) -> Plan:
    carrier_hz = draw(st.integers(30_000, 900_000)) * 1e3
    if_hz = draw(st.sampled_from([each for each in COMMON_IFS_HZ if each < carrier_hz]))
    return Plan(
        carrier_hz=carrier_hz,
        if_hz=if_hz,
        side=draw(st.sampled_from(Side)),
        multiplier=draw(st.sampled_from([each for each in MULTIPLIERS if each > 1])),
    )


@settings(max_examples=40)
@given(receivers(), st.lists(st.floats(-0.03, 0.03), min_size=3, max_size=3), st.booleans())
def test_true_set_is_always_found_and_nothing_scores_better(
    truth: Plan, noise: list[float], named: bool
) -> None:
    assert truth.lo_hz is not None
    assert truth.crystal_hz is not None
    frequencies = (truth.carrier_hz, truth.lo_hz, truth.crystal_hz)
    roles = (Role.CARRIER, Role.LO, Role.CRYSTAL) if named else (None, None, None)
    lines = [
        Seen(frequency_hz=hz + 50.0 * shift, u_hz=50.0, u_clock_ppm=1.0, role=role)
        for hz, shift, role in zip(frequencies, noise, roles, strict=True)
    ]
    found = infer(lines, tolerance=TIGHT).candidates
    (true,) = (
        each
        for each in found
        if (each.if_hz, each.side, each.multiplier) == (truth.if_hz, truth.side, truth.multiplier)
        and abs(each.carrier_hz - truth.carrier_hz) < 100.0
        and each.lines[-1].multiple == 1
    )
    ahead = found[: found.index(true)]
    assert not true.unexplained_hz
    assert all((each.score or 0.0) - (true.score or 0.0) < 0.02 for each in ahead)


def test_score_of_one_line_is_both_tails_of_the_normal_distribution() -> None:
    plan = Plan(carrier_hz=72.9e6, if_hz=10.7e6, side=Side.HIGH, tolerance=EXACT)
    carrier = Carrier(hz=72.9e6, seen=seen(72.9, u_hz=300.0))
    pair = (seen(83.601, u_hz=400.0), lo_place(plan))
    assert score(carrier, [pair]) == pytest.approx(erfc(1000.0 / 500.0 / sqrt(2.0)), rel=1e-9)


def test_score_of_two_independent_lines_is_the_tail_of_chi_square() -> None:
    # Two degrees of freedom have the closed form exp(-x / 2).
    places = [
        Place(role=Role.LO, multiple=1, expected_hz=83.6e6, per_carrier=1.0, per_if=1.0),
        Place(role=Role.SECOND_LO, multiple=1, expected_hz=10.245e6, per_carrier=0.0, per_if=1.0),
    ]
    lines = [seen(83.6002, u_hz=100.0), seen(10.24515, u_hz=50.0)]
    pairs = list(zip(lines, places, strict=True))
    expected = exp(-(2.0**2 + 3.0**2) / 2)
    assert score(Carrier(hz=72.9e6), pairs) == pytest.approx(expected, rel=1e-6)


def test_clock_error_cancels_in_the_difference_but_not_against_a_nominal_carrier() -> None:
    plan = Plan(carrier_hz=72.9e6, if_hz=10.7e6, side=Side.HIGH, tolerance=EXACT)
    pair = (seen(83.6, u_hz=1.0, ppm=50.0), lo_place(plan))
    shared = Carrier(hz=72.9e6, seen=seen(72.9, u_hz=1.0, ppm=50.0))
    # 50 ppm of the IF, 535 Hz, against 50 ppm of the LO, 4180 Hz.
    assert u_misfit_hz(shared, pair) == pytest.approx(535.0, abs=0.01)
    assert u_misfit_hz(Carrier(hz=72.9e6), pair) == pytest.approx(4180.0, abs=0.01)


def test_tolerance_of_crystal_and_carrier_widens_the_score_not_the_measurement() -> None:
    found = infer(
        [seen(72.9, Role.CARRIER), seen(83.6, Role.LO)], tolerance=Tolerance(hz=3000.0)
    ).candidates[0]
    assert found.u_hz == pytest.approx(hypot(100.0, 100.0))
    off = infer(
        [seen(72.9, Role.CARRIER), seen(83.604, Role.LO)],
        ifs_hz=[10.7e6],
        tolerance=Tolerance(hz=3000.0),
    ).candidates[0]
    # Rectangular within ±3 kHz, twice: u² = 2 · 3000² / 3, and two readings of 100 Hz.
    u_hz = sqrt(2 * 3000.0**2 / 3 + 2 * 100.0**2)
    assert off.score == pytest.approx(erfc(4000.0 / u_hz / sqrt(2.0)), rel=1e-9)


def test_score_of_a_true_hypothesis_is_uniform_when_every_cause_is_drawn() -> None:
    """Draw each cause from its own law, not from the covariance matrix under test."""
    rng = np.random.default_rng(20)
    carrier_hz, if_hz, second_if_hz, multiplier, ppm = 72.9e6, 10.7e6, 455e3, 3, 20.0
    lo_hz, second_lo_hz = carrier_hz + if_hz, if_hz - second_if_hz
    u_own = (150.0, 90.0, 40.0, 25.0)
    u_tolerance = (400.0, 1200.0, 300.0)  # carrier, first crystal at the LO, second crystal
    below = 0
    trials = 1500
    for _ in range(trials):
        clock = 1.0 + rng.normal() * ppm * 1e-6
        carrier_off, lo_off, second_off = rng.normal(size=3) * u_tolerance
        true = np.array(
            [
                carrier_hz + carrier_off,
                lo_hz + lo_off,
                (lo_hz + lo_off) / multiplier,
                second_lo_hz + second_off,
            ]
        )
        read = true * clock + rng.normal(size=4) * u_own
        lines = [
            Seen(frequency_hz=hz, u_hz=u, u_clock_ppm=ppm)
            for hz, u in zip(read, u_own, strict=True)
        ]
        start = Carrier(hz=read[0], seen=lines[0], u_tolerance_hz=u_tolerance[0])
        lo = Place(
            role=Role.LO,
            multiple=1,
            expected_hz=read[0] + if_hz,
            per_carrier=1.0,
            per_if=1.0,
            u_crystal_hz=u_tolerance[1],
        )
        crystal = replace(
            lo,
            role=Role.CRYSTAL,
            expected_hz=lo.expected_hz / multiplier,
            per_carrier=1 / multiplier,
            u_crystal_hz=u_tolerance[1] / multiplier,
        )
        second_lo = Place(
            role=Role.SECOND_LO,
            multiple=1,
            expected_hz=second_lo_hz,
            per_carrier=0.0,
            per_if=1.0,
            u_second_crystal_hz=u_tolerance[2],
        )
        pairs = list(zip(lines[1:], (lo, crystal, second_lo), strict=True))
        found = score(start, pairs)
        assert found is not None
        below += found < 0.1
    # Binomial: 150 ± 3.3 standard deviations of 11.6.
    assert abs(below - 0.1 * trials) < 38


def test_covariance_of_the_measurement_alone_leaves_tolerances_out() -> None:
    plan = Plan(carrier_hz=72.9e6, if_hz=10.7e6, side=Side.HIGH)
    carrier = Carrier(hz=72.9e6, seen=seen(72.9, u_hz=30.0), u_tolerance_hz=2000.0)
    matrix = covariance(carrier, [(seen(83.6, u_hz=40.0), lo_place(plan))], tolerances=False)
    assert matrix == pytest.approx(np.array([[2500.0]]))


@pytest.mark.parametrize(
    ("lines", "carriers_hz", "message"),
    [
        ([], (), "one line never tells the IF alone"),
        ([seen(83.6)], (), "one line never tells the IF alone"),
        ([seen(72.9, Role.CARRIER)], (), "one line never tells the IF alone"),
        ([seen(72.9, Role.CARRIER)], (72.9e6,), "one line never tells the IF alone"),
        ([seen(83.6, Role.LO), seen(10.245, Role.SECOND_LO)], (), "one line never tells"),
        (
            [seen(72.9, Role.CARRIER), seen(74.7, Role.CARRIER), seen(83.6)],
            (),
            "two lines are said to be the carrier",
        ),
    ],
)
def test_lines_without_a_carrier_to_start_from_are_refused(
    lines: list[Seen], carriers_hz: tuple[float, ...], message: str
) -> None:
    with pytest.raises(UsageError, match=message):
        infer(lines, carriers_hz=carriers_hz)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"frequency_hz": -1.0}, "a line seen at -1 Hz"),
        ({"frequency_hz": float("nan")}, "a line seen at nan Hz"),
        ({"u_hz": 0.0}, "seen at 83.6 MHz needs an uncertainty above zero, not 0 Hz"),
        ({"u_hz": float("inf")}, "needs an uncertainty"),
        ({"u_clock_ppm": -1.0}, "a clock's uncertainty cannot be -1 ppm"),
        ({"role": Role.IMAGE}, "second-lo, second-lo-harmonic, not image"),
    ],
)
def test_line_that_cannot_be_judged_is_refused(values: dict[str, object], message: str) -> None:
    with pytest.raises(UsageError, match=message):
        Seen(**({"frequency_hz": 83.6e6, "u_hz": 100.0} | values))  # type: ignore[arg-type]


def test_carrier_a_hair_above_a_common_if_is_no_low_side_receiver() -> None:
    lines = [Seen(frequency_hz=45e6 + 6e-6, u_hz=50.0), seen(55.7)]
    assert infer(lines, tolerance=TIGHT).candidates[0].if_hz == 10.7e6


def test_lines_that_nothing_explains_are_said_to_be_so() -> None:
    found = infer([seen(72.9, Role.CARRIER), seen(31.415, Role.CRYSTAL)], tolerance=TIGHT)
    assert found.candidates == ()
    assert [caution.code for caution in found.cautions] == ["nothing-fits"]


def test_line_is_read_as_people_write_it() -> None:
    bare = parse_seen("83.6M", u_clock_ppm=20.0)
    assert (bare.frequency_hz, bare.role, bare.u_clock_ppm) == (83.6e6, None, 20.0)
    assert bare.u_hz == pytest.approx(500.0 / sqrt(3.0))
    for sign in ("±", "+-", "+/-"):
        line = parse_seen(f" LO = 83.6012 MHz {sign} 4.2 kHz", u_clock_ppm=20.0)
        assert line == Seen(frequency_hz=83.6012e6, u_hz=2100.0, role=Role.LO)
    assert parse_seen("second-lo=10.245M±80", u_clock_ppm=1.0).role is Role.SECOND_LO


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "'' is not a frequency"),
        ("lo=", "'' is not a frequency"),
        ("image=94.3M", "'image' is no line one can see; say carrier, lo, crystal"),
        ("lo=83.6m", "'83.6m' is not a frequency"),
        ("83.6M±", "'' is not a frequency"),
        ("83.6M±0", "needs an uncertainty above zero"),
        ("83.6M±-80", "needs an uncertainty above zero"),
        ("-83.6M", "is not a frequency above zero"),
        ("lo=carrier=72.9M", "'lo=carrier' is no line"),
    ],
)
def test_line_that_cannot_be_read_is_refused(text: str, message: str) -> None:
    with pytest.raises(UsageError) as raised:
        parse_seen(text, u_clock_ppm=0.0)
    assert message in str(raised.value)


def test_assumptions_about_lines_read_by_eye_are_said() -> None:
    (caution,) = seen_cautions([parse_seen("83.6M", u_clock_ppm=25.0), seen(72.9)])
    assert "± 500 Hz" in caution.text
    assert "± 50 ppm" in caution.text
    assert seen_cautions([parse_seen("83.6M±80", u_clock_ppm=25.0)]) == ()
