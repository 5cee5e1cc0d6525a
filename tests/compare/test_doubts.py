"""What a difference of levels is worth: closed forms, and the chance of a false alarm."""

from math import sqrt

import numpy as np
import pytest
from scipy import stats

from calib.correction import Converter, Correction
from sniff.compare import CompareSettings
from sniff.compare.doubts import Clocks, level_doubt, pooled, u_by_noise_db
from sniff.pipeline import probe
from sniff.placings import PlacingSpread
from sniff.superhet.expected import radiated_lines
from tests.compare.planted import CLOCK, GOOD, Line, PlantedSet
from tests.compare.planted import SETTINGS as SPECTRUM

SETTINGS = CompareSettings(false_alarm_rate=0.05)


def test_a_stated_placement_is_two_standard_deviations_of_a_difference() -> None:
    doubt = level_doubt(None, good_placings=1, suspect_placings=1, lines=1, settings=SETTINGS)
    assert doubt.u_db == pytest.approx(3.0)
    assert doubt.degrees is None
    # One-sided 5 % of a normal distribution: 1.645 (any table of it).
    assert doubt.limit_db == pytest.approx(3.0 * 1.645, rel=1e-3)
    assert doubt.would_tell_db == pytest.approx(2 * 3.0 * 1.645, rel=1e-3)


def test_a_measured_spread_goes_by_students_t() -> None:
    spread = PlacingSpread(sd_db=4.0, degrees=8)
    doubt = level_doubt(spread, good_placings=5, suspect_placings=3, lines=1, settings=SETTINGS)
    assert doubt.u_db == pytest.approx(4.0 * sqrt(1 / 5 + 1 / 3))
    # JCGM 100:2008, table G.2: t for 90 % (two-sided) and 8 degrees of freedom is 1.86.
    assert doubt.limit_db == pytest.approx(1.86 * doubt.u_db, rel=2e-3)


def test_a_small_spread_never_makes_a_small_difference_a_fault() -> None:
    spread = PlacingSpread(sd_db=0.1, degrees=40)
    doubt = level_doubt(spread, good_placings=5, suspect_placings=5, lines=4, settings=SETTINGS)
    assert doubt.limit_db == 3.0


@pytest.mark.parametrize("lines", [1, 4, 12])
def test_equal_sets_are_called_weak_as_seldom_as_stated(lines: int) -> None:
    rng = np.random.default_rng(7 + lines)
    trials, placings, sd_db = 20_000, 5, 4.0
    degrees = 2 * lines * (placings - 1)
    sets = sd_db * rng.standard_normal((2, trials, lines, placings))
    spread_db = np.sqrt(sets.var(axis=3, ddof=1).mean(axis=(0, 2)))
    lowest_db = (sets[1].mean(axis=2) - sets[0].mean(axis=2)).min(axis=1)
    limits_db = np.array(
        [
            level_doubt(
                PlacingSpread(sd_db=float(spread), degrees=degrees),
                good_placings=placings,
                suspect_placings=placings,
                lines=lines,
                settings=SETTINGS,
            ).limit_db
            for spread in spread_db[:2000]
        ]
    )
    alarms = int((lowest_db[:2000] < -limits_db).sum())
    # Binomial, 99.9 % on either side.
    low, high = stats.binom.interval(0.998, 2000, 0.05)
    assert low <= alarms <= high


def test_spreads_are_pooled_by_their_degrees() -> None:
    one, two = PlacingSpread(sd_db=1.0, degrees=4), PlacingSpread(sd_db=3.0, degrees=12)
    found = pooled([one, None, two])
    assert found is not None
    assert found.degrees == 16
    assert found.sd_db == pytest.approx(sqrt((4 * 1.0 + 12 * 9.0) / 16))
    assert pooled([None]) is None


def u_ppm(one: Correction, other: Correction, *, one_clock: bool) -> float:
    return Clocks(good=one, suspect=other, one_clock=one_clock).u_ppm(85.4e6, 83.6e6)


def test_what_one_clock_is_off_by_falls_out() -> None:
    unknown = Correction.unknown_dongle()
    assert u_ppm(unknown, unknown, one_clock=False) == pytest.approx(sqrt(2.0) * unknown.u_ppm)
    assert u_ppm(unknown, unknown, one_clock=True) == pytest.approx(2.0 / sqrt(3.0))
    sure = Correction(ppm=31.0, u_ppm=0.1, origin="test")
    # Two calibrations that are better than that say more.
    assert u_ppm(sure, sure, one_clock=True) == pytest.approx(0.1 * sqrt(2.0))


@pytest.mark.parametrize("inverted", [False, True])
def test_behind_a_converter_a_clock_acts_on_what_is_heard(inverted: bool) -> None:
    """Two lines at 40 and 15 MHz behind an LO of 125 MHz, by drawing the causes: a clock off by u,
    a converter's LO off by u, and the difference of the relative errors that come of them."""
    converter = Converter(shift_hz=125e6, inverted=inverted, u_hz=20.0)
    clock = Correction(ppm=0.0, u_ppm=5.0, origin="test", converter=converter)
    rng = np.random.default_rng(3)
    ppm, own_hz = rng.normal(0.0, 5.0, 200_000), rng.normal(0.0, 20.0, 200_000)
    errors = [
        (ppm * 1e-6 * converter.behind(hz) * (-1.0 if inverted else 1.0) + own_hz) / hz * 1e6
        for hz in (40e6, 15e6)
    ]
    found = Clocks(good=clock, suspect=clock, one_clock=True).u_ppm(40e6, 15e6)
    moves = 2.0 / sqrt(3.0) * abs(converter.behind(15e6)) / 15e6
    assert found == pytest.approx(np.hypot(np.std(errors[1] - errors[0]), moves), rel=0.01)


def test_a_spread_of_few_degrees_tells_less_than_what_is_stated() -> None:
    """Of a stated 6 dB (k = 2) for one placing at each, two at each leave 1 / sqrt(2)."""
    spread = PlacingSpread(sd_db=0.3, degrees=2)
    doubt = level_doubt(spread, good_placings=2, suspect_placings=2, lines=1, settings=SETTINGS)
    assert doubt.degrees is None
    assert doubt.u_db == pytest.approx(3.0 / sqrt(2.0))


@pytest.mark.parametrize(
    ("level_dbfs", "samples"), [(-70.0, 12_288), (-80.0, 12_288), (-86.0, 40_000)]
)
def test_noise_scatters_a_weak_lines_level_as_much_as_it_is_said_to(
    level_dbfs: float, samples: int
) -> None:
    """Truth: one and the same planted line, read in 50 different noises; a standard deviation of 50
    lies within a quarter of the true one (chi-square, 98 %), and the rule is good to a fifth."""
    lo = next(line for line in radiated_lines(GOOD) if line.name == "LO")
    rows = [
        probe(
            PlantedSet(
                lines=[Line(hz=lo.expected_hz, level_dbfs=level_dbfs)],
                rng=np.random.default_rng(seed),
                samples=samples,
            ),
            [lo],
            settings=SPECTRUM,
            correction=CLOCK,
        ).result.lines[0]
        for seed in range(50)
    ]
    levels = [row.level_dbfs for row in rows if row.level_dbfs is not None]
    assert len(levels) == 50
    said = np.mean([u_by_noise_db(row) for row in rows])
    assert 0.65 < np.std(levels, ddof=1) / said < 1.5


def test_what_noise_adds_counts_beside_the_placing() -> None:
    doubt = level_doubt(
        PlacingSpread(sd_db=0.3, degrees=20),
        good_placings=2,
        suspect_placings=2,
        lines=1,
        settings=SETTINGS,
        noise_db=0.4,
    )
    assert doubt.u_db == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("sd_db", "degrees", "used"),
    [(3.4, 3, None), (3.45, 3, 3), (3.65, 2, None), (3.7, 2, 2), (50.0, 1, None)],
)
def test_few_placings_refute_a_stated_spread_that_they_plainly_exceed(
    sd_db: float, degrees: int, used: int | None
) -> None:
    """6 dB / 2 / sqrt(2) = 2.12 dB; upper 5 % of chi-square is 7.81 at three degrees of freedom and
    5.99 at two (any table of it): refuted from 2.12 sqrt(7.81 / 3) = 3.42 dB on, and 3.67 dB."""
    doubt = level_doubt(
        PlacingSpread(sd_db=sd_db, degrees=degrees),
        good_placings=2,
        suspect_placings=2,
        lines=1,
        settings=SETTINGS,
    )
    assert doubt.degrees == used
