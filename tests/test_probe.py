"""The line board: every state from a planted cause, and the verdict that follows."""

from dataclasses import replace

import numpy as np
import pytest

from calib.correction import Correction
from sniff.board import Board, BoardLine, BoardVerdict, LineState
from sniff.model import SourceInfo
from sniff.pipeline import compare_with_sibling, probe
from sniff.resolution import SpectrumSettings
from sniff.superhet.expected import Expected
from sniff.superhet.plan import Role
from sniff.survey import LookSettings
from sniff.units import Tolerance
from sniff.verdict import Outcome
from tests.signals import MemoryTake, eight_bit, noise, take_of, tone
from tests.test_frontend import info

CENTER_HZ = 83.55e6
LO_HZ = 83.6e6
SAMPLES = 300_000
SURE = Correction(ppm=0.0, u_ppm=0.1, origin="test")
SETTINGS = LookSettings(spectrum=SpectrumSettings(segment=1024))


class MemorySource:
    """A recording that lies in memory."""

    def __init__(self, samples: np.ndarray, center_hz: float = CENTER_HZ) -> None:
        self._take = take_of(samples, center_hz=center_hz)
        self.info: SourceInfo = info(centers_hz=(center_hz,))

    def tune(self, center_hz: float) -> float:
        return center_hz

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> MemoryTake:
        return self._take


def line(name: str = "LO", hz: float = LO_HZ, *, wanted: bool = True) -> Expected:
    role = Role.LO if name == "LO" else Role.CRYSTAL
    return Expected(
        name=name,
        role=role,
        expected_hz=hz,
        tolerance_hz=500.0,
        formula="test",
        radiated=True,
        wanted=wanted,
    )


def hiss(seed: int = 1, power: float = 1e-4) -> np.ndarray:
    return noise(np.random.default_rng(seed), SAMPLES, power=power)


def board(
    samples: np.ndarray,
    *lines: Expected,
    center_hz: float = CENTER_HZ,
    clock: Correction = SURE,
    search: Tolerance | None = None,
) -> Board:
    return probe(
        MemorySource(samples, center_hz),  # type: ignore[arg-type]
        lines or (line(),),
        settings=SETTINGS,
        correction=clock,
        search=search,
    )


def only(found: Board) -> BoardLine:
    (row,) = found.result.lines
    return row


def test_a_line_in_its_place_is_present() -> None:
    found = board(tone(SAMPLES, offset_hz=50_100.0, amplitude=0.1) + hiss())
    row = only(found)
    assert row.state is LineState.PRESENT
    assert row.error_hz == pytest.approx(100.0, abs=0.1)
    assert row.error_ppm == pytest.approx(100.0 / 83.6, abs=0.01)
    assert row.level_dbfs == pytest.approx(-20.0, abs=0.1)
    assert row.present_fraction == 1.0
    assert found.result.verdict is BoardVerdict.AS_EXPECTED


def test_no_line_is_absent_with_the_level_it_would_have_been_seen_at() -> None:
    found = board(hiss())
    row = only(found)
    assert row.state is LineState.ABSENT
    assert row.frequency_hz is None
    assert row.level_dbfs is None
    assert row.would_see_dbfs is not None
    assert found.result.verdict is BoardVerdict.FAULT
    # A line at that level is in fact seen in at least 95 % of tries.
    amplitude = 10 ** (row.would_see_dbfs / 20)
    seen = sum(
        only(board(tone(SAMPLES, offset_hz=50_060.0, amplitude=amplitude) + hiss(seed))).state
        is not LineState.ABSENT
        for seed in range(40)
    )
    assert seen >= 36


def test_a_line_outside_the_tolerance_is_off_frequency() -> None:
    found = board(tone(SAMPLES, offset_hz=52_000.0, amplitude=0.1) + hiss())
    row = only(found)
    assert row.state is LineState.OFF_FREQUENCY
    assert row.frequency_verdict is Outcome.FAIL
    assert found.result.verdict is BoardVerdict.FAULT


def test_a_line_outside_the_search_window_is_not_taken_for_it() -> None:
    samples = tone(SAMPLES, offset_hz=52_000.0, amplitude=0.1) + hiss()
    assert only(board(samples, search=Tolerance(hz=1_000.0))).state is LineState.ABSENT


def test_a_line_in_its_place_is_preferred_to_a_stronger_one_beside() -> None:
    samples = tone(SAMPLES, offset_hz=50_100.0, amplitude=0.02)
    samples = samples + tone(SAMPLES, offset_hz=53_000.0, amplitude=0.3) + hiss()
    row = only(board(samples))
    assert row.state is LineState.PRESENT
    assert row.error_hz == pytest.approx(100.0, abs=0.5)


def test_a_line_that_comes_and_goes_is_unsteady() -> None:
    samples = tone(SAMPLES, offset_hz=50_100.0, amplitude=0.1)
    samples[100_000:130_000] = 0
    found = board(samples + hiss())
    row = only(found)
    assert row.state is LineState.UNSTEADY
    assert row.present_fraction == pytest.approx(0.9, abs=0.01)
    assert row.level_dbfs == pytest.approx(-20.0, abs=0.2)
    assert "once" in row.why
    assert found.result.verdict is BoardVerdict.FAULT


def test_without_a_calibrated_clock_the_tolerance_cannot_be_judged() -> None:
    samples = tone(SAMPLES, offset_hz=50_100.0, amplitude=0.1) + hiss()
    found = board(samples, clock=Correction.unknown_dongle())
    row = only(found)
    assert row.state is LineState.PRESENT
    assert row.frequency_verdict is Outcome.UNDECIDED
    assert "calibrate the clock" in row.why
    assert found.result.verdict is BoardVerdict.UNDECIDED


def test_a_place_under_the_dc_spike_is_hidden() -> None:
    found = board(0.05 + hiss(), center_hz=LO_HZ)
    assert only(found).state is LineState.HIDDEN
    assert found.result.verdict is BoardVerdict.UNDECIDED


def test_nothing_can_be_said_of_what_is_not_seen_in_an_overload() -> None:
    samples = eight_bit(tone(SAMPLES, offset_hz=-30_123.0, amplitude=1.7) + hiss())
    row = only(board(samples))
    assert row.state is LineState.HIDDEN
    assert "overload" in row.why


def test_a_line_outside_the_recording_is_out_of_view() -> None:
    found = board(hiss(), line(hz=90e6))
    row = only(found)
    assert row.state is LineState.OUT_OF_VIEW
    assert "83.422 MHz to 83.678 MHz" in row.why
    assert found.result.verdict is BoardVerdict.UNDECIDED


def test_a_window_that_reaches_out_of_the_view_is_said() -> None:
    row = only(board(hiss(), line(hz=CENTER_HZ + 126e3)))
    assert row.state is LineState.ABSENT
    assert "outside this view" in row.why


@pytest.mark.parametrize("heard", [True, False])
def test_a_line_below_the_range_is_vouched_for_by_its_multiple(heard: bool) -> None:
    samples = hiss() + heard * tone(SAMPLES, offset_hz=50_100.0, amplitude=0.1)
    found = board(
        samples,
        line("second LO", hz=LO_HZ / 8),
        line("second LO × 8", hz=LO_HZ, wanted=False),
    )
    assert found.result.lines[0].state is LineState.OUT_OF_VIEW
    expected = BoardVerdict.AS_EXPECTED if heard else BoardVerdict.UNDECIDED
    assert found.result.verdict is expected
    assert ("by a multiple" in found.result.why) is heard


def test_a_line_that_is_not_wanted_makes_no_fault() -> None:
    samples = tone(SAMPLES, offset_hz=50_100.0, amplitude=0.1) + hiss()
    found = board(samples, line(), line("crystal", hz=83.5e6, wanted=False))
    assert [row.state for row in found.result.lines] == [LineState.PRESENT, LineState.ABSENT]
    assert found.result.verdict is BoardVerdict.AS_EXPECTED


@pytest.mark.parametrize(
    ("lo_on", "crystal_on", "hint"),
    [(False, True, "multiplier first"), (False, False, "its supply first")],
)
def test_the_crystal_tells_where_to_look(lo_on: bool, crystal_on: bool, hint: str) -> None:
    samples = hiss() + lo_on * tone(SAMPLES, offset_hz=50_100.0)
    samples = samples + crystal_on * tone(SAMPLES, offset_hz=-50_000.0, amplitude=0.1)
    found = board(samples, line(), line("crystal", hz=83.5e6, wanted=False))
    assert hint in found.result.why


@pytest.mark.parametrize(
    ("amplitude", "goes_too", "hint"),
    [
        (0.1, False, "The crystal stayed"),
        (0.1, True, "comes and goes too"),
        # So weak that an absence of 20 ms would not show: nobody knows whether it stayed.
        (0.0012, False, None),
        (0.0012, True, None),
    ],
)
def test_a_crystal_stayed_only_where_its_going_would_have_been_seen(
    amplitude: float, goes_too: bool, hint: str | None
) -> None:
    gone = slice(SAMPLES // 3, SAMPLES // 3 + 5_000)
    lo = tone(SAMPLES, offset_hz=50_100.0, amplitude=0.1)
    crystal = tone(SAMPLES, offset_hz=-80_000.0, amplitude=amplitude)
    lo[gone] = 0.0
    crystal[gone] *= not goes_too
    found = board(hiss() + lo + crystal, line(), line("crystal", hz=83.47e6, wanted=False))
    assert found.result.lines[0].state is LineState.UNSTEADY
    assert found.result.lines[0].longest_absence_s == pytest.approx(0.02, rel=0.15)
    assert found.result.lines[1].frequency_hz is not None
    if hint is None:
        assert found.result.why == "LO is unsteady"
    else:
        assert hint in found.result.why


@pytest.mark.parametrize(("crystal_hz", "doubted"), [(83.47e6, True), (83.47e6 + 748.9, False)])
def test_an_lo_that_left_its_crystal_may_be_another_line(crystal_hz: float, doubted: bool) -> None:
    """750 Hz of 83.6 MHz are 8.97 ppm, as 748.9 Hz of 83.47 MHz; a multiplier keeps them."""
    samples = hiss() + tone(SAMPLES, offset_hz=50_750.0, amplitude=0.1)
    samples = samples + tone(SAMPLES, offset_hz=crystal_hz - CENTER_HZ, amplitude=0.05)
    found = board(samples, line(), line("crystal", hz=83.47e6, wanted=False))
    assert found.result.lines[0].state is LineState.OFF_FREQUENCY
    assert ("another line may stand there" in found.result.why) is doubted


def sibling(level: float) -> Board:
    return board(tone(SAMPLES, offset_hz=50_100.0, amplitude=level) + hiss(2))


def test_a_line_weaker_than_the_siblings_by_more_than_the_placing_is_weak() -> None:
    found = board(tone(SAMPLES, offset_hz=50_100.0, amplitude=0.03) + hiss())
    compared = compare_with_sibling(found, sibling(0.1))
    row = only(compared)
    assert row.state is LineState.WEAK
    assert row.versus_sibling_db == pytest.approx(-10.5, abs=0.3)
    assert compared.result.verdict is BoardVerdict.FAULT


def test_a_difference_within_the_placing_is_no_fault() -> None:
    found = board(tone(SAMPLES, offset_hz=50_100.0, amplitude=0.06) + hiss())
    compared = compare_with_sibling(found, sibling(0.1))
    assert only(compared).state is LineState.PRESENT
    assert only(compared).versus_sibling_db == pytest.approx(-4.4, abs=0.3)


def test_a_line_that_could_not_have_been_seen_is_not_called_absent_against_the_sibling() -> None:
    found = board(hiss(power=1e-2))
    compared = compare_with_sibling(found, sibling(0.003))
    assert only(compared).state is LineState.HIDDEN
    assert compared.result.verdict is BoardVerdict.UNDECIDED


def test_an_absent_line_that_the_sibling_shows_clearly_stays_absent() -> None:
    compared = compare_with_sibling(board(hiss()), sibling(0.1))
    assert only(compared).state is LineState.ABSENT
    assert "−20.0 dBFS" in only(compared).why


def test_a_line_the_sibling_lacks_has_no_difference() -> None:
    found = board(tone(SAMPLES, offset_hz=50_100.0, amplitude=0.1) + hiss())
    compared = compare_with_sibling(found, board(hiss(3)))
    assert only(compared).versus_sibling_db is None
    assert only(compared).state is LineState.PRESENT


def test_a_fast_clock_is_corrected_before_the_tolerance_is_judged() -> None:
    """A crystal 30 ppm fast shows 83.6 MHz 2,508 Hz too low (true = indicated (1 + ppm))."""
    indicated_hz = LO_HZ / (1 + 30e-6)
    samples = tone(SAMPLES, offset_hz=indicated_hz - CENTER_HZ, amplitude=0.1) + hiss()
    row = only(board(samples, clock=replace(SURE, ppm=30.0)))
    assert row.state is LineState.PRESENT
    assert row.error_hz == pytest.approx(0.0, abs=0.1)
    assert only(board(samples)).state is LineState.OFF_FREQUENCY
