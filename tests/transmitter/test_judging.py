"""From a measured carrier to its answer: u is combined once, and what would decide is said."""

from dataclasses import replace

import numpy as np
import pytest

from calib.correction import Correction
from sniff.channels import Channel
from sniff.limits import parse_limits
from sniff.modulation.measured import MeasuredCarrier
from sniff.transmitter.judging import hold_limits, judge, worst
from sniff.transmitter.nouns import CarrierRequest, CarrierResult
from sniff.units import Tolerance
from sniff.verdict import Outcome
from tests.modulation.measuring import measured
from tests.modulation.signals import frequency_modulated, in_noise

RATE_HZ = 64e3
REQUEST = CarrierRequest(
    channels=(Channel(name="one", frequency_hz=99.99e6),), tolerance=Tolerance(hz=1_000.0)
)


@pytest.fixture(scope="module")
def carrier() -> MeasuredCarrier:
    """700 Hz above 99.99 MHz, with 3 kHz of deviation."""
    samples = frequency_modulated(
        int(RATE_HZ), rate_hz=RATE_HZ, offset_hz=-9_300.0, tones=[(3e3, 1e3)]
    )
    rng = np.random.default_rng(1)
    return measured(
        in_noise(rng, samples, rate_hz=RATE_HZ, snr_db=30.0, width_hz=8e3), rate_hz=RATE_HZ
    )


def answer(
    carrier: MeasuredCarrier, *, u_ppm: float, u_center_hz: float = 0.0, ppm: float = 0.0
) -> CarrierResult:
    clock = Correction(ppm=ppm, u_ppm=u_ppm, origin="planted")
    return judge(carrier, REQUEST, clock, u_center_hz=u_center_hz, observed_s=1.0)[0]


def test_the_doubt_about_the_tuner_is_added_once(carrier: MeasuredCarrier) -> None:
    """3 Hz of indication, 4 Hz of the tuner: 5 Hz; a line's u holds the tuner's already."""
    mean = replace(carrier, u_indicated_hz=3.0)
    assert answer(mean, u_ppm=0.0, u_center_hz=4.0).u_hz == pytest.approx(5.0)
    line = replace(mean, estimator="line")
    assert answer(line, u_ppm=0.0, u_center_hz=4.0).u_hz == pytest.approx(3.0)


def test_the_clock_is_combined_with_it_and_applied_once(carrier: MeasuredCarrier) -> None:
    found = answer(replace(carrier, u_indicated_hz=3.0), u_ppm=0.04, ppm=2.0)
    assert found.u_hz == pytest.approx(5.0, rel=1e-3)  # 4 Hz of the clock at 100 MHz
    assert found.error_hz == pytest.approx(700.0 + 2e-6 * 99.99e6, abs=0.1)


@pytest.mark.parametrize(
    ("u_hz", "u_ppm", "outcome", "words"),
    [
        (0.01, 0.1, Outcome.PASS, "within"),
        (0.01, 3.0, Outcome.UNDECIDED, "calibrate the clock to U = 3.0 ppm"),
        (300.0, 0.1, Outcome.UNDECIDED, "observe longer than 1 s"),
        (
            300.0,
            3.0,
            Outcome.UNDECIDED,
            "calibrate the clock to U = 1.5 ppm or better; and observe",
        ),
    ],
)
def test_what_would_decide_names_the_part_of_u_that_must_shrink(
    carrier: MeasuredCarrier, u_hz: float, u_ppm: float, outcome: Outcome, words: str
) -> None:
    """700 Hz off with 1 kHz allowed: U = 300 Hz decides, 3 ppm of 100 MHz."""
    found = answer(replace(carrier, u_indicated_hz=u_hz), u_ppm=u_ppm)
    assert found.verdict is outcome
    assert words in found.why


def test_a_carrier_that_was_outside_for_a_while_is_told_of(carrier: MeasuredCarrier) -> None:
    course = carrier.course
    assert course is not None
    offset_hz = course.offset_hz.copy()
    offset_hz[: offset_hz.size // 4] += 2_000.0
    moved = replace(carrier, course=replace(course, offset_hz=offset_hz, point_s=0.1))
    clock = Correction(ppm=0.0, u_ppm=0.01, origin="planted")
    found, cautions = judge(moved, REQUEST, clock, u_center_hz=0.0, observed_s=1.0)
    assert found.outside_share == pytest.approx(0.25, abs=0.02)
    assert [caution.code for caution in cautions] == ["outside"]


def test_limits_are_held_by_the_nominal_place_and_what_is_not_measured_is_undecided(
    carrier: MeasuredCarrier,
) -> None:
    limits = parse_limits(
        'title = "t"\nsource = "s"\n[[bands]]\nlow = "99M"\nhigh = "100M"\n'
        'tolerance = "1kHz"\ndeviation = "3010"\nbandwidth = "9k"\n',
        name="t",
    )
    found = hold_limits(answer(carrier, u_ppm=0.1), limits)
    assert found.limits is not None
    outcomes = [held.outcome for held in found.limits.held]
    # 3,000 ± 30 Hz against 3,010: nearer than U.
    assert outcomes == [Outcome.PASS, Outcome.UNDECIDED, Outcome.PASS]
    assert worst(outcomes) is Outcome.UNDECIDED
    unknown = hold_limits(replace(found, occupied_bandwidth_hz=None), limits)
    assert unknown.limits is not None
    assert unknown.limits.held[2].outcome is Outcome.UNDECIDED
    nowhere = hold_limits(replace(found, nominal_hz=50e6), limits)
    assert nowhere.limits is not None
    assert nowhere.limits.held == ()


def test_peaks_in_noise_are_not_held_against_a_limit(carrier: MeasuredCarrier) -> None:
    """Noise adds to a peak in time; a tone's, averaged over its periods, it leaves alone."""
    limits = parse_limits(
        'title = "t"\nsource = "s"\n[[bands]]\nlow = "99M"\nhigh = "100M"\ndeviation = "9k"\n',
        name="t",
    )
    clean = answer(carrier, u_ppm=0.1)
    assert clean.modulation is not None
    outcomes = []
    for by, snr_db in (("time", 19.0), ("tone", 19.0), ("time", 35.0)):
        modulation = replace(clean.modulation, deviation_by=by)
        held = hold_limits(replace(clean, snr_db=snr_db, modulation=modulation), limits).limits
        assert held is not None
        outcomes.append(held.held[0].outcome)
    assert outcomes == [Outcome.UNDECIDED, Outcome.PASS, Outcome.PASS]
