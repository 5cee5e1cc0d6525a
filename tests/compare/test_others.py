"""Lines that no plan lists: which is which, when the carrier moved by a known step.

Truth: the frequencies that were planted. A line of an oscillator at n times the carrier's moves by
n times the carrier's shift, one of a fixed oscillator or of a transmitter not at all (arithmetic).
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calib.correction import Correction
from sniff.compare import (
    ComparedLine,
    CompareSettings,
    Comparison,
    ComparisonVerdict,
    Likeness,
    Origin,
    Pair,
    Sight,
    compare,
)
from sniff.pipeline import look
from sniff.resolution import SpectrumSettings
from sniff.superhet.plan import Plan
from sniff.survey import LookSettings
from tests.signals import noise, take_of, tone
from tests.test_frontend import info

RATE_HZ = 2.4e6
CENTER_HZ = 85.2e6
SAMPLES = 120_000
CLOCK = Correction(ppm=0.0, u_ppm=0.2, origin="test")
GOOD_HZ, SUSPECT_HZ = 74.7e6, 74.4e6
SETTINGS = CompareSettings(one_clock=True)


def sight(carrier_hz: float | None, lines: Sequence[tuple[float, float]], seed: int) -> Sight:
    heard = noise(np.random.default_rng(seed), SAMPLES, power=1e-5)
    for hz, level_dbfs in lines:
        heard += tone(
            SAMPLES,
            offset_hz=hz - CENTER_HZ,
            amplitude=10.0 ** (level_dbfs / 20.0),
            rate_hz=RATE_HZ,
        )
    seen = look(
        take_of(heard, rate_hz=RATE_HZ, center_hz=CENTER_HZ),
        info(rate_hz=RATE_HZ, centers_hz=(CENTER_HZ,), clock_hz=None),
        LookSettings(spectrum=SpectrumSettings(segment=4096)),
        CLOCK,
    )
    return Sight(
        source="planted",
        plan=None,
        carrier_hz=carrier_hz,
        board=None,
        looks=(seen,),
        correction=CLOCK,
        clock_hz=None,
    )


def compared(
    good: Sequence[tuple[float, float]],
    suspect: Sequence[tuple[float, float]],
    *,
    carriers: tuple[float | None, float | None] = (GOOD_HZ, SUSPECT_HZ),
) -> Comparison:
    mine, yours = sight(carriers[0], good, 1), sight(carriers[1], suspect, 2)
    return compare([Pair(place=None, good=mine, suspect=yours)], SETTINGS)


def near(found: Comparison, hz: float) -> ComparedLine:
    (row,) = [
        row
        for row in found.result.lines
        if abs((row.good_hz if row.good_hz is not None else row.suspect_hz or 0.0) - hz) < 1e3
    ]
    return row


def test_a_line_that_follows_the_carrier_is_told_from_one_that_stays() -> None:
    found = compared([(85.413e6, -40.0), (85.933e6, -45.0)], [(85.113e6, -41.0), (85.933e6, -50.0)])
    follows, stays = near(found, 85.413e6), near(found, 85.933e6)
    assert (follows.origin, follows.state) == (Origin.CARRIER, Likeness.IN_BOTH)
    assert follows.suspect_hz is not None
    assert abs(follows.suspect_hz - 85.113e6) < 50.0
    assert (stays.origin, stays.state) == (Origin.STAYS, Likeness.IN_BOTH)
    assert found.result.verdict is ComparisonVerdict.ALIKE


def test_a_third_of_the_shift_is_the_crystals() -> None:
    found = compared([(85.613e6, -40.0)], [(85.513e6, -40.0)])
    row = near(found, 85.613e6)
    assert row.origin is Origin.CARRIER
    assert "0.333 times" in row.why


def test_a_line_that_followed_badly_has_moved() -> None:
    wrong_hz = 85.113e6 * (1.0 + 40e-6)
    row = near(compared([(85.413e6, -40.0)], [(wrong_hz, -41.0)]), 85.413e6)
    assert row.state is Likeness.MOVED
    assert row.shift_ppm is not None
    assert abs(row.shift_ppm - 40.0) < 2.0


def test_a_line_with_no_partner_anywhere_is_only_in_the_good_set() -> None:
    found = compared([(85.413e6, -40.0), (85.753e6, -45.0)], [(85.113e6, -41.0)])
    row = near(found, 85.753e6)
    assert row.state is Likeness.ONLY_GOOD
    assert row.would_see_suspect_dbfs is not None
    assert row.would_see_suspect_dbfs < -60.0
    assert found.result.verdict is ComparisonVerdict.DIFFERS
    assert "lacks the line that the good one has at 85.753 MHz" in found.result.sentence


def test_a_place_that_was_not_in_view_is_no_absence() -> None:
    found = compared([(84.413e6, -40.0)], [(86.133e6, -41.0)])
    assert near(found, 84.413e6).state is Likeness.HIDDEN
    assert found.result.verdict is ComparisonVerdict.UNDECIDED


def test_a_weak_line_may_be_missed_by_the_placing_alone() -> None:
    found = compared([(85.413e6, -40.0), (85.753e6, -79.0)], [(85.113e6, -41.0)])
    row = near(found, 85.753e6)
    assert row.state is Likeness.HIDDEN
    assert "too weak" in row.why


def test_without_carriers_both_are_taken_to_be_on_one_frequency() -> None:
    found = compared([(85.413e6, -40.0)], [(85.413e6 * (1 + 25e-6), -41.0)], carriers=(None, None))
    row = near(found, 85.413e6)
    assert row.state is Likeness.MOVED
    assert "no-carriers" in [caution.code for caution in found.cautions]


def test_what_is_weaker_in_the_room_is_no_fault_of_the_set() -> None:
    found = compared([(85.413e6, -40.0), (85.933e6, -35.0)], [(85.113e6, -41.0), (85.933e6, -60.0)])
    assert near(found, 85.933e6).state is Likeness.IN_BOTH
    assert found.result.verdict is ComparisonVerdict.ALIKE


def test_chance_meetings_are_not_claimed() -> None:
    """Twenty lines strewn in either set: nearly all must stay without a partner."""
    rng = np.random.default_rng(5)
    good = [(hz, -40.0) for hz in rng.uniform(84.3e6, 86.1e6, 20)]
    suspect = [(hz, -40.0) for hz in rng.uniform(84.3e6, 86.1e6, 20)]
    paired = [row for row in compared(good, suspect).result.lines if row.good_hz and row.suspect_hz]
    assert len(paired) <= 3


def test_a_line_that_may_be_it_within_u_is_neither_missing_nor_new() -> None:
    """Two unknown clocks, ±230 ppm of difference: at 85 MHz 20 kHz, within which two lines lie."""
    unknown = Correction.unknown_dongle()
    lines = ([(85.413e6, -40.0), (85.424e6, -50.0)], [(85.420e6, -41.0), (85.431e6, -50.0)])
    mine, yours = (
        replace(sight(None, listed, number), correction=unknown)
        for number, listed in enumerate(lines, start=1)
    )
    pair = Pair(place=None, good=mine, suspect=yours)
    found = compare([pair], CompareSettings(one_clock=False)).result
    assert Likeness.ONLY_GOOD not in {row.state for row in found.lines}
    assert Likeness.ONLY_SUSPECT not in {row.state for row in found.lines}


def test_two_lines_of_one_name_have_one_partner_at_most() -> None:
    """Two lines lie within the tolerance of one harmonic; the other set has one."""
    plan = Plan(carrier_hz=42.7e6)  # its second harmonic at 85.4 MHz, tolerance 50 ppm
    doubled = [(85.4e6, -40.0), (85.4031e6, -50.0)]
    mine, yours = (
        replace(sight(42.7e6, listed, number), plan=plan)
        for number, listed in enumerate((doubled, [(85.4e6, -41.0)]), start=1)
    )
    found = compare([Pair(place=None, good=mine, suspect=yours)], SETTINGS).result
    assert [row.name for row in found.lines] == ["carrier × 2", "carrier × 2"]
    assert [row.suspect_hz is not None for row in found.lines] == [True, False]


def test_beside_the_board_a_level_is_of_one_placing_however_many_there_were() -> None:
    """As stated, ±6 dB (k = 2): what else is in view is read in one of the placings."""
    mine, yours = sight(GOOD_HZ, [(85.413e6, -40.0)], 1), sight(SUSPECT_HZ, [(85.113e6, -41.0)], 2)
    pair = Pair(
        place=None,
        good=replace(mine, placings=20),
        suspect=replace(yours, placings=20),
        spread=None,
    )
    row = near(compare([pair], SETTINGS), 85.413e6)
    assert row.u_difference_db == 3.0
