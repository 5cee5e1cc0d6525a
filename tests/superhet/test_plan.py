"""Superhet arithmetic, forward: worked examples, closed forms, refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.errors import UsageError
from sniff.superhet.crystal import (
    carrier_from_crystal_hz,
    carriers_for,
    crystals_for,
    stated_carrier_hz,
)
from sniff.superhet.expected import Expected, expected_lines, plan_cautions
from sniff.superhet.plan import Channel, Plan, Role, Side, carry, injection_hz, received_hz
from sniff.units import Tolerance
from tests.values.superhet import (
    CRYSTAL_CHAINS,
    SECOND_LO,
    SINGLE_CONVERSION,
    TOLERANCE_CHAIN,
    TWENTY_AND_EIGHTY_METERS,
)

SIDES = st.sampled_from(Side)
CARRIERS = st.floats(30e6, 1.7e9)
IFS = st.floats(400e3, 14e6)  # below half the least carrier: no image is folded at zero


def by_role(plan: Plan) -> dict[Role, Expected]:
    return {line.role: line for line in expected_lines(plan)}


def tour_guide(**changes: object) -> Plan:
    values = {"carrier_hz": 72.9e6, "if_hz": 10.7e6, "side": Side.HIGH, "multiplier": 3}
    return Plan(**(values | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(("carrier", "if_", "side", "lo", "image", "half_if"), SINGLE_CONVERSION)
def test_lo_image_and_half_if_agree_with_the_worked_examples(
    carrier: float, if_: float, side: str, lo: float, image: float, half_if: float
) -> None:
    lines = by_role(Plan(carrier_hz=carrier * 1e6, if_hz=if_ * 1e6, side=Side(side)))
    assert lines[Role.LO].expected_hz == pytest.approx(lo * 1e6, abs=0.01)
    assert lines[Role.IMAGE].expected_hz == pytest.approx(image * 1e6, abs=0.01)
    assert lines[Role.HALF_IF].expected_hz == pytest.approx(half_if * 1e6, abs=0.01)


def test_two_ifs_may_share_a_frequency_under_different_roles() -> None:
    narrow = by_role(Plan(carrier_hz=162.55e6, if_hz=10.7e6, side=Side.LOW))
    wide = by_role(Plan(carrier_hz=162.55e6, if_hz=21.4e6, side=Side.LOW))
    assert wide[Role.LO].expected_hz == pytest.approx(narrow[Role.IMAGE].expected_hz)


@pytest.mark.parametrize(("first", "second", "side", "lo"), SECOND_LO)
def test_second_lo_agrees_with_the_usual_crystals(
    first: float, second: float, side: str, lo: float
) -> None:
    plan = Plan(
        carrier_hz=462.5625e6,
        if_hz=first * 1e6,
        side=Side.LOW,
        second_if_hz=second * 1e6,
        second_side=Side(side),
    )
    assert by_role(plan)[Role.SECOND_LO].expected_hz == pytest.approx(lo * 1e6, abs=0.01)


@given(CARRIERS, IFS, SIDES, st.floats(100e3, 190e3), SIDES)
def test_each_response_reaches_the_last_if_through_both_mixers(
    carrier_hz: float, if_hz: float, side: Side, second_if_hz: float, second_side: Side
) -> None:
    plan = Plan(
        carrier_hz=carrier_hz,
        if_hz=if_hz,
        side=side,
        second_if_hz=second_if_hz,
        second_side=second_side,
    )
    lines = by_role(plan)
    lo_hz, second_lo_hz = lines[Role.LO].expected_hz, lines[Role.SECOND_LO].expected_hz

    def mixed(signal_hz: float) -> tuple[float, float]:
        first = abs(signal_hz - lo_hz)
        return first, abs(first - second_lo_hz)

    for role in (Role.CARRIER, Role.IMAGE):
        assert mixed(lines[role].expected_hz) == pytest.approx((if_hz, second_if_hz), abs=1e-5)
    assert 2 * mixed(lines[Role.HALF_IF].expected_hz)[0] == pytest.approx(if_hz, abs=1e-5)
    first, last = mixed(lines[Role.SECOND_IMAGE].expected_hz)
    assert last == pytest.approx(second_if_hz, abs=1e-5)
    assert abs(first - if_hz) == pytest.approx(2 * second_if_hz, abs=1e-5)


@given(CARRIERS, IFS, SIDES)
def test_carrier_to_lo_and_back_is_the_same_carrier(
    carrier_hz: float, if_hz: float, side: Side
) -> None:
    lo_hz = injection_hz(carrier_hz, if_hz, side)
    assert received_hz(lo_hz, if_hz, side) == pytest.approx(carrier_hz, abs=1e-6)


def test_image_below_zero_is_heard_by_the_sum_with_the_lo() -> None:
    known = TWENTY_AND_EIGHTY_METERS
    plan = Plan(carrier_hz=known["carrier"] * 1e6, if_hz=known["if"] * 1e6, side=Side.LOW)
    lines = by_role(plan)
    assert lines[Role.LO].expected_hz == known["vfo"] * 1e6
    assert lines[Role.IMAGE].expected_hz == known["image"] * 1e6
    assert lines[Role.IMAGE].formula == "|14 MHz − 2 × 9 MHz|"


def test_image_at_zero_is_no_line() -> None:
    plan = Plan(carrier_hz=21.4e6, if_hz=10.7e6, side=Side.LOW)
    assert Role.IMAGE not in by_role(plan)


@pytest.mark.parametrize(("carrier", "if_", "side", "multiplier", "crystal"), CRYSTAL_CHAINS)
def test_crystal_agrees_with_the_chains(
    carrier: float, if_: float, side: str, multiplier: int, crystal: float
) -> None:
    plan = Plan(carrier_hz=carrier * 1e6, if_hz=if_ * 1e6, side=Side(side), multiplier=multiplier)
    assert by_role(plan)[Role.CRYSTAL].expected_hz == pytest.approx(crystal * 1e6, abs=5.0)
    (choice,) = crystals_for(plan)
    assert choice.crystal_hz == pytest.approx(crystal * 1e6, abs=5.0)


def test_unknown_multiplier_offers_a_crystal_for_each_usual_chain() -> None:
    choices = crystals_for(Plan(carrier_hz=216.025e6, if_hz=10.7e6, side=Side.LOW))
    found = {choice.multiplier: choice.crystal_hz for choice in choices}
    for carrier, _, _, multiplier, crystal in CRYSTAL_CHAINS:
        if carrier == 216.025:
            assert found[multiplier] == pytest.approx(crystal * 1e6, abs=5.0)


def test_crystal_tolerance_grows_with_the_multiplier_and_shrinks_in_ppm_of_the_channel() -> None:
    known = TOLERANCE_CHAIN
    (choice,) = carriers_for(
        known["crystal_mhz"] * 1e6,
        if_hz=known["if_mhz"] * 1e6,
        side=Side.LOW,
        multiplier=int(known["multiplier"]),
        tolerance=Tolerance(ppm=known["ppm"]),
    )
    assert choice.carrier_hz == pytest.approx(known["carrier_mhz"] * 1e6, abs=0.01)
    assert choice.crystal_tolerance_hz == pytest.approx(known["crystal_hz"], abs=0.5)
    assert choice.channel_tolerance_hz == pytest.approx(known["lo_khz"] * 1e3, abs=0.5)
    assert choice.channel_tolerance_ppm == pytest.approx(known["channel_ppm"], abs=0.05)
    lines = by_role(Plan(carrier_hz=choice.carrier_hz, if_hz=10.7e6, side=Side.LOW, multiplier=9))
    assert lines[Role.LO].tolerance_hz == pytest.approx(known["lo_khz"] * 1e3, abs=0.5)
    assert lines[Role.CARRIER].tolerance_hz == pytest.approx(known["lo_khz"] * 1e3, abs=0.5)
    assert lines[Role.CRYSTAL].tolerance_hz == pytest.approx(known["crystal_hz"], abs=0.5)


def test_tolerance_in_hertz_belongs_to_the_carrier_and_divides_down_to_the_crystal() -> None:
    plan = tour_guide(tolerance=Tolerance(hz=3000.0))
    lines = by_role(plan)
    assert plan.tolerance_of is Role.CARRIER
    assert lines[Role.CARRIER].tolerance_hz == 3000.0
    assert lines[Role.LO].tolerance_hz == 3000.0
    assert lines[Role.CRYSTAL].tolerance_hz == 1000.0


def test_errors_of_both_los_add_in_the_channel_of_a_dual_conversion() -> None:
    plan = tour_guide(second_if_hz=455e3, second_side=Side.LOW, tolerance=Tolerance(ppm=100.0))
    lines = by_role(plan)
    assert lines[Role.LO].tolerance_hz == pytest.approx(8360.0)
    assert lines[Role.SECOND_LO].tolerance_hz == pytest.approx(1024.5)
    harmonics = [each for each in expected_lines(plan) if each.role is Role.SECOND_LO_HARMONIC]
    assert [each.tolerance_hz for each in harmonics] == pytest.approx([2049.0, 3073.5])
    assert lines[Role.IF].tolerance_hz == pytest.approx(8360.0)
    assert lines[Role.CARRIER].tolerance_hz == pytest.approx(9384.5)
    assert lines[Role.SECOND_IF].tolerance_hz == pytest.approx(9384.5)


@given(st.floats(8e6, 80e6), st.sampled_from([1, 2, 3, 5, 9, 18]), IFS, SIDES)
def test_crystal_to_carrier_and_back_is_the_same_crystal(
    crystal_hz: float, multiplier: int, if_hz: float, side: Side
) -> None:
    try:
        carrier_hz = carrier_from_crystal_hz(
            crystal_hz, multiplier=multiplier, if_hz=if_hz, side=side
        )
    except UsageError:
        assert side is Side.HIGH
        assert crystal_hz * multiplier - if_hz < 1.0
        return
    plan = Plan(carrier_hz=carrier_hz, if_hz=if_hz, side=side, multiplier=multiplier)
    assert plan.crystal_hz == pytest.approx(crystal_hz, rel=1e-9)


def test_every_multiple_of_the_crystal_is_listed_but_the_lo_only_once() -> None:
    lines = expected_lines(tour_guide(highest_multiple=6))
    crystal_hz = 83.6e6 / 3
    harmonics = [line.expected_hz for line in lines if line.role is Role.CRYSTAL_HARMONIC]
    assert harmonics == pytest.approx([n * crystal_hz for n in (2, 4, 5, 6)])
    assert sum(abs(line.expected_hz - 83.6e6) < 1.0 for line in lines) == 1


def test_crystal_that_drives_the_mixer_itself_is_the_lo() -> None:
    lines = by_role(tour_guide(multiplier=1))
    assert Role.CRYSTAL not in lines
    assert lines[Role.CRYSTAL_HARMONIC].expected_hz == pytest.approx(167.2e6)


def test_receiver_radiates_oscillators_but_not_carrier_image_or_if() -> None:
    plan = tour_guide(second_if_hz=455e3, second_side=Side.LOW)
    radiated = {line.role for line in expected_lines(plan) if line.radiated}
    wanted = {line.role for line in expected_lines(plan) if line.wanted}
    assert radiated == {
        Role.LO,
        Role.CRYSTAL,
        Role.CRYSTAL_HARMONIC,
        Role.SECOND_LO,
        Role.SECOND_LO_HARMONIC,
    }
    assert wanted == {Role.LO, Role.SECOND_LO}


def test_plan_without_if_is_a_transmitter_that_radiates_its_carrier() -> None:
    (line,) = expected_lines(Plan(carrier_hz=72.9e6))
    assert (line.role, line.radiated, line.wanted) == (Role.CARRIER, True, True)
    lines = expected_lines(Plan(carrier_hz=72.9e6, multiplier=3))
    assert [line.expected_hz for line in lines] == pytest.approx([72.9e6, 24.3e6, 48.6e6, 97.2e6])
    assert [line.wanted for line in lines] == [True, False, False, False]
    assert all(line.radiated for line in lines)


def test_lines_come_in_the_order_of_the_board() -> None:
    lines = expected_lines(tour_guide(second_if_hz=455e3, second_side=Side.LOW))
    names = [line.name for line in lines]
    assert names[:6] == ["carrier", "LO", "crystal", "crystal × 2", "crystal × 4", "second LO"]


def test_formulas_tell_how_each_line_comes_about() -> None:
    lines = by_role(tour_guide(second_if_hz=455e3, second_side=Side.LOW))
    assert lines[Role.LO].formula == "72.9 MHz + 10.7 MHz"
    assert lines[Role.CRYSTAL].formula == "83.6 MHz / 3"
    assert lines[Role.SECOND_LO].formula == "10.7 MHz − 455 kHz"
    assert lines[Role.IMAGE].formula == "72.9 MHz + 2 × 10.7 MHz"
    assert lines[Role.HALF_IF].formula == "72.9 MHz + 10.7 MHz / 2"


def test_sibling_keeps_scheme_and_tolerance_on_its_own_carrier() -> None:
    sibling = carry(tour_guide(tolerance=Tolerance(ppm=30.0)), 74.7e6)
    assert sibling.lo_hz == pytest.approx(85.4e6)
    assert sibling.crystal_hz == pytest.approx(85.4e6 / 3)
    assert sibling.tolerance == Tolerance(ppm=30.0)


def test_sibling_on_an_impossible_carrier_is_refused() -> None:
    with pytest.raises(UsageError, match="low-side injection brings 9 MHz"):
        carry(Plan(carrier_hz=72.9e6, if_hz=10.7e6, side=Side.LOW), 9e6)


def test_assumptions_are_said() -> None:
    codes = [caution.code for caution in plan_cautions(tour_guide())]
    assert codes == ["assumed-tolerance"]
    dual = tour_guide(second_if_hz=455e3, second_side=Side.LOW, tolerance=Tolerance(ppm=10.0))
    (caution,) = plan_cautions(dual)
    assert caution.code == "second-lo-tolerance"
    assert "10 ppm" in caution.text
    assert plan_cautions(tour_guide(tolerance=Tolerance(hz=100.0))) == ()


def test_channel_lies_on_its_raster() -> None:
    # 216-217 MHz low power service: standard channel n at 216.0125 + 0.025 (n - 1) MHz, extra
    # channels from number 41 at 216.025 MHz, 50 kHz apart (47 CFR part 95, from memory).
    standard = Channel(base_hz=216.0125e6, step_hz=25e3, number=40)
    extra = Channel(base_hz=216.025e6, step_hz=50e3, number=60, first=41)
    assert standard.carrier_hz == pytest.approx(216.9875e6)
    assert extra.carrier_hz == pytest.approx(216.975e6)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"carrier_hz": 0.0}, "carrier 0 Hz is not a frequency above zero"),
        ({"carrier_hz": -72.9e6}, "carrier -7.29e"),
        ({"carrier_hz": float("nan")}, "carrier nan Hz"),
        ({"carrier_hz": float("inf")}, "carrier inf Hz"),
        ({"if_hz": -10.7e6}, "IF -1.07e"),
        ({"side": None}, "IF 10.7 MHz needs its side, low or high"),
        ({"if_hz": None}, "side 'high' says nothing without its IF"),
        ({"second_if_hz": 455e3}, "second IF 455 kHz needs its second side, low"),
        ({"second_side": Side.LOW}, "second side 'low' says nothing"),
        (
            {"if_hz": None, "side": None, "second_if_hz": 455e3, "second_side": Side.LOW},
            "a second IF needs a first one",
        ),
        ({"carrier_hz": 9e6, "side": Side.LOW}, "with an LO of -1.7 MHz; use the high side"),
        ({"carrier_hz": 10.7e6, "side": Side.LOW}, "with an LO of 0 Hz"),
        ({"second_if_hz": 21.4e6, "second_side": Side.LOW}, "with an LO of -10.7 MHz"),
        ({"multiplier": 0}, "multiplier 0 is not 1, 2, 3"),
        ({"multiplier": -3}, "multiplier -3"),
        ({"highest_multiple": 0}, "highest multiple 0"),
    ],
)
def test_plan_that_cannot_be_is_refused_in_one_line(
    changes: dict[str, object], message: str
) -> None:
    with pytest.raises(UsageError) as raised:
        tour_guide(**changes)
    assert message in str(raised.value)
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"base_hz": 0.0, "step_hz": 25e3, "number": 1}, "channel base 0 Hz"),
        ({"base_hz": 72e6, "step_hz": -25e3, "number": 1}, "channel step -25000 Hz"),
        ({"base_hz": 72e6, "step_hz": 25e3, "number": 0}, "channel 0 comes before channel 1"),
    ],
)
def test_channel_off_the_raster_is_refused(values: dict[str, float], message: str) -> None:
    with pytest.raises(UsageError, match=message):
        Channel(**values)  # type: ignore[arg-type]


def test_crystal_too_low_for_the_if_is_refused() -> None:
    with pytest.raises(UsageError, match=r"would receive -8.7 MHz"):
        carriers_for(1e6, if_hz=10.7e6, side=Side.HIGH, multiplier=2)
    with pytest.raises(UsageError, match=r"no carrier above zero with any multiplier up to 18"):
        carriers_for(455e3, if_hz=10.7e6, side=Side.HIGH)


def test_unknown_multiplier_lists_only_carriers_that_can_be() -> None:
    choices = carriers_for(4e6, if_hz=10.7e6, side=Side.HIGH)
    assert [choice.multiplier for choice in choices] == [3, 4, 5, 6, 8, 9, 12, 18]
    assert choices[0].carrier_hz == pytest.approx(1.3e6)
    assert choices[0].formula == "3 × 4 MHz − 10.7 MHz"


def test_crystal_of_a_transmitter_is_its_carrier_over_the_multiplier() -> None:
    (choice,) = carriers_for(24.3e6, multiplier=3, tolerance=Tolerance(ppm=50.0))
    assert choice.carrier_hz == pytest.approx(72.9e6)
    assert choice.lo_hz is None
    assert choice.channel_tolerance_ppm == pytest.approx(50.0)


def test_carrier_is_stated_in_one_way_only() -> None:
    channel = Channel(base_hz=72.1e6, step_hz=200e3, number=5)
    assert stated_carrier_hz(channel=channel) == pytest.approx(72.9e6)
    assert stated_carrier_hz(carrier_hz=72.9e6) == 72.9e6
    assert stated_carrier_hz(crystal_hz=24.3e6, multiplier=3) == pytest.approx(72.9e6)
    with pytest.raises(UsageError, match="not none of them"):
        stated_carrier_hz()
    with pytest.raises(UsageError, match="not carrier and crystal"):
        stated_carrier_hz(carrier_hz=72.9e6, crystal_hz=24.3e6, multiplier=3)
    with pytest.raises(UsageError, match="a crystal needs its multiplier"):
        stated_carrier_hz(crystal_hz=24.3e6)
    with pytest.raises(UsageError, match=r"crystal -2\.43e"):
        stated_carrier_hz(crystal_hz=-24.3e6, multiplier=3)
