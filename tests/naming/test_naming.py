"""Naming lines: by worked examples, closed forms of the chance, and lines strewn at random."""

from dataclasses import replace

import numpy as np
import pytest

from calib.correction import Converter, Correction
from sniff.look import SeenLine
from sniff.naming import Explanation, Family, explain_lines, names_in_words
from sniff.superhet.plan import Plan, Side
from sniff.units import Tolerance

GOOD_CLOCK = Correction(ppm=20.0, u_ppm=0.25, origin="calibrated")
NO_CLOCK = Correction.unknown_dongle()
LOW_HZ, HIGH_HZ = 25e6, 115e6

TOUR_GUIDE = Plan(
    carrier_hz=72.9e6,
    if_hz=10.7e6,
    side=Side.HIGH,
    multiplier=3,
    tolerance=Tolerance(ppm=50.0),
    second_if_hz=455e3,
    second_side=Side.LOW,
)
"""LO 83.6 MHz, crystal 27.8667 MHz, image 94.3 MHz; second LO 10.245 MHz (tests.values)."""


def line(
    hz: float, *, clock: Correction = GOOD_CLOCK, level: float = -50.0, u_hz: float = 0.5
) -> SeenLine:
    """A line of this true frequency, as seen by an instrument of this clock."""
    indicated_hz = clock.indicate(hz)
    return SeenLine(
        frequency_hz=hz,
        u_hz=float(np.hypot(u_hz, clock.u_at(indicated_hz))),
        indicated_hz=indicated_hz,
        u_indicated_hz=u_hz,
        level_dbfs=level,
        snr_db=20.0,
        width_hz=0.0,
    )


def explained(
    lines: list[SeenLine],
    *,
    plan: Plan | None = TOUR_GUIDE,
    clock: Correction = GOOD_CLOCK,
    clock_hz: float | None = 28.8e6,
    order: int = 5,
    low_hz: float = LOW_HZ,
    high_hz: float = HIGH_HZ,
) -> list[tuple[Explanation, ...]]:
    return list(
        explain_lines(
            lines,
            low_hz=low_hz,
            high_hz=high_hz,
            correction=clock,
            plan=plan,
            clock_hz=clock_hz,
            mixing_order=order,
        )
    )


OFF = 1.0 + 7e-6
"""The set's crystal, 7 ppm high: what follows from it follows by as much."""
SECOND_LO_HZ = 10.245e6 * (1.0 - 11e-6)


@pytest.mark.parametrize(
    ("hz", "name", "family"),
    [
        (83.6e6 * OFF, "LO", Family.OSCILLATOR),
        (83.6e6 * OFF / 3, "crystal", Family.OSCILLATOR),
        (83.6e6 * OFF * 4 / 3, "crystal × 4", Family.OSCILLATOR),
        (94.3e6, "image", Family.RESPONSE),
        (72.9e6, "carrier", Family.RESPONSE),
        (3 * SECOND_LO_HZ, "second LO × 3", Family.OSCILLATOR),
        (7 * SECOND_LO_HZ, "second LO × 7", Family.HARMONIC),
        (83.6e6 * OFF - 2 * SECOND_LO_HZ, "LO − 2 second LO", Family.PRODUCT),
        (83.6e6 * OFF + SECOND_LO_HZ, "LO + second LO", Family.PRODUCT),
        (57.6e6 * (1.0 + 20e-6), "2 × 28.8 MHz of the dongle's clock", Family.OWN_SPUR),
        (43.2e6 * (1.0 + 20e-6), "3 × 14.4 MHz of the dongle's clock", Family.OWN_SPUR),
    ],
)
def test_each_kind_of_line_is_named(hz: float, name: str, family: Family) -> None:
    lines = [
        line(83.6e6 * OFF, level=-38.0),
        line(3 * SECOND_LO_HZ),
        line(72.9e6, level=-46.0),
        line(hz, level=-60.0),
    ]
    best = explained(lines)[-1][0]
    assert (best.name, best.family) == (name, family)
    assert best.likely


def test_a_multiple_of_the_lo_above_the_plans_own_is_named_by_it() -> None:
    lines = [line(83.6e6 * OFF, level=-38.0), line(2 * 83.6e6 * OFF)]
    best = explained(lines, high_hz=200e6)[1][0]
    assert best.name == "LO × 2"
    assert best.expected_hz == pytest.approx(2 * 83.6e6 * OFF, abs=1.0)


def test_while_the_multiplier_is_unknown_sub_harmonics_are_tried() -> None:
    plan = replace(TOUR_GUIDE, multiplier=None)
    lines = [line(83.6e6 * OFF, level=-38.0), line(83.6e6 * OFF / 3)]
    best = explained(lines, plan=plan)[1][0]
    assert (best.name, best.family) == ("LO / 3", Family.SUB_HARMONIC)


def test_a_measured_oscillator_stands_in_for_its_nominal_value_and_the_clock_cancels() -> None:
    """7 ppm off and ±115 ppm of clock: the second multiple is known to 2 x 2 x 0.5 Hz of the LO,
    2 x 0.5 Hz of its own and 1 ppm of drift (167 Hz), not to its ±19 kHz on the true scale."""
    lines = [
        line(83.6e6 * OFF, clock=NO_CLOCK, level=-38.0),
        line(2 * 83.6e6 * OFF, clock=NO_CLOCK),
        line(2 * 83.6e6 * OFF + 400.0, clock=NO_CLOCK),
    ]
    _, double, beside = explained(lines, clock=NO_CLOCK, high_hz=200e6)
    (best,) = [one for one in double if one.name == "LO × 2"]
    assert best.window_hz == pytest.approx(2 * 83.6e6 * 1e-6 + 2 * np.hypot(1.0, 0.5), rel=1e-3)
    assert best.likely
    assert not [one for one in beside if one.name == "LO × 2"]


def test_with_a_converter_ahead_the_clock_cancels_only_in_what_is_heard() -> None:
    """Heard are f + 125 MHz and 2 f + 125 MHz; of twice the first the second lacks 125 MHz, and
    the clock's error of those stays: 125 Hz for each ppm."""
    clock = Correction(
        ppm=0.0, u_ppm=1.0, origin="stated", converter=Converter(shift_hz=125e6, u_hz=0.0)
    )
    lines = [line(83.6e6, clock=clock, u_hz=0.0), line(167.2e6, clock=clock, u_hz=0.0)]
    (best,) = [
        one for one in explained(lines, clock=clock, high_hz=200e6)[1] if one.name == "LO × 2"
    ]
    assert best.window_hz == pytest.approx(2 * 83.6e6 * 1e-6 + 2 * 125.0, rel=1e-3)


def test_the_chance_of_a_coincidence_is_candidates_times_window_over_span() -> None:
    """Of the second LO at 10.245 MHz, odd and even multiples, the plan lists three; those inside
    25 to 115 MHz beside the third are 4 to 11: eight in all, each of window ±(k 10.245 Hz + U)."""
    lines = [line(3 * SECOND_LO_HZ, u_hz=0.0), line(5 * SECOND_LO_HZ, u_hz=0.0)]
    plan = replace(TOUR_GUIDE, multiplier=1)  # its crystal is the LO: no other multiple in view
    (best,) = [one for one in explained(lines, plan=plan)[1] if one.name == "second LO × 5"]
    # The clock's error cancels, and the base is known by a third of the line it was read from.
    window_hz = 5 * SECOND_LO_HZ * 1e-6
    assert best.window_hz == pytest.approx(window_hz, rel=1e-6)
    assert best.chance == pytest.approx(8 * 2 * window_hz / (HIGH_HZ - LOW_HZ), rel=1e-6)


def test_several_explanations_come_in_order_of_plausibility() -> None:
    """94.3 MHz is the image of 72.9 MHz, and on the 100 kHz raster of FM broadcasting too."""
    first, second = explained([line(94.3e6)])[0][:2]
    assert (first.name, second.name) == ("image", "fm 94.3 MHz")
    assert first.chance < second.chance


def test_a_broadcast_carrier_is_only_a_maybe_and_none_with_a_clock_too_bad_to_tell() -> None:
    """±2 kHz and U of a raster of 100 kHz: 4 % by chance; with ±115 ppm it is a quarter."""
    (good,) = explained([line(101.3e6 + 1_200.0)], plan=None)
    assert names_in_words(good) == "may be fm 101.3 MHz"
    (bad,) = explained([line(101.3e6 + 1_200.0, clock=NO_CLOCK)], plan=None, clock=NO_CLOCK)
    assert not bad[0].likely
    assert "% by chance" in names_in_words(bad)
    (between,) = explained([line(101.35e6)], plan=None)
    assert between == ()


def test_an_oscillator_outside_its_tolerance_is_still_it_and_said_to_be_off() -> None:
    """+120 ppm of 50 allowed: a tired crystal. Ten tolerances are searched, 41.8 kHz."""
    (best, *_) = explained([line(83.6e6 * (1.0 + 120e-6))])[0]
    assert best.name == "LO"
    assert best.off
    assert names_in_words([best]) == "LO, 120 ppm high"
    assert explained([line(83.6e6 * (1.0 + 600e-6))])[0] == ()


def test_what_follows_from_a_tired_crystal_follows_it() -> None:
    tired = 1.0 + 120e-6
    lines = [line(83.6e6 * tired, level=-38.0), line(83.6e6 * tired - 2 * SECOND_LO_HZ)]
    lines.append(line(3 * SECOND_LO_HZ))
    assert explained(lines)[1][0].name == "LO − 2 second LO"


def test_the_order_of_mixing_is_kept() -> None:
    lines = [
        line(83.6e6 * OFF, level=-38.0),
        line(3 * SECOND_LO_HZ),
        line(83.6e6 * OFF - 3 * SECOND_LO_HZ),
    ]
    assert explained(lines, order=4)[2][0].name == "LO − 3 second LO"
    assert explained(lines, order=3)[2] == ()


def test_a_transmitters_multiples_are_its_carriers() -> None:
    plan = Plan(carrier_hz=49.86e6, multiplier=2, tolerance=Tolerance(ppm=50.0))
    lines = [line(49.86e6 * OFF, level=-30.0), line(99.72e6 * OFF), line(24.93e6 * 3 * OFF)]
    names = [mine[0].name for mine in explained(lines, plan=plan)]
    assert names == ["carrier", "carrier × 2", "crystal × 3"]


def test_lines_strewn_at_random_are_explained_as_rarely_as_the_chances_say() -> None:
    """2,000 lines at random places: the mean number of explanations is the sum of the families'
    chances, by the rule's own definition, within four standard deviations of the binomial."""
    rng = np.random.default_rng(3)
    bases = [line(83.6e6 * OFF, level=-38.0), line(3 * SECOND_LO_HZ), line(72.9e6, level=-45.0)]
    places = rng.uniform(LOW_HZ, HIGH_HZ, 2_000)
    # A U of 3 kHz makes chances large enough to count.
    strewn = [line(float(hz), level=-80.0, u_hz=1_500.0) for hz in places]
    found = explained([*bases, *strewn], order=2)[3:]
    hits = sum(one.family is Family.OWN_SPUR for mine in found for one in mine)
    # Multiples of 14.4 MHz in view: 28.8 to 100.8, six of them; windows ±(3 kHz + 1 ppm).
    chance = 6 * 2 * (3_000.0 + 65.0) / (HIGH_HZ - LOW_HZ)
    assert hits == pytest.approx(2_000 * chance, abs=4 * np.sqrt(2_000 * chance))


def test_nothing_is_named_where_nothing_is_known() -> None:
    assert explained([line(47.7711e6)], clock_hz=None) == [()]
    assert names_in_words(()) == ""
