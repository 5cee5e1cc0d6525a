"""Who stands out: by the published rule, against SciPy, and never within its own uncertainty."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, median_abs_deviation

from sniff.batch.fleet import Outlier, fleet_of, outliers_of
from sniff.batch.quantities import Figure, Kind, Quantity
from sniff.batch.rates import Rate, too_frequent
from tests.values import fleets


def _quantity(values: list[float], kind: Kind = Kind.LEVEL, u: float = 0.0) -> Quantity:
    figures = tuple(Figure(row=at, value=value, u=u) for at, value in enumerate(values))
    return Quantity(what="LO.level_dbfs", name="level of LO", kind=kind, figures=figures)


def _named(quantity: Quantity) -> list[Outlier]:
    return outliers_of(quantity, [str(row) for row in range(5000)])


values = st.lists(st.integers(-1000, 1000).map(lambda n: n / 10.0), min_size=8, max_size=40)


@settings(max_examples=60)
@given(values)
def test_a_score_is_the_published_one(numbers: list[float]) -> None:
    mad = median_abs_deviation(numbers)
    middle = float(np.median(numbers))
    fleet = fleet_of(_quantity(numbers))
    assert fleet.median == pytest.approx(middle)
    assert fleet.spread == pytest.approx(mad / fleets.PER_MAD)
    assert (fleet.count, fleet.low, fleet.high) == (len(numbers), min(numbers), max(numbers))
    if mad < 1.0 / fleets.BEYOND:  # where a score's own floor stands in
        return
    scores = fleets.PER_MAD * (np.asarray(numbers) - middle) / mad
    named = _named(_quantity(numbers))
    expected = [at for at, score in enumerate(scores) if abs(score) > fleets.BEYOND + 1e-9]
    assert [int(each.file) for each in named] == expected
    assert [each.score for each in named] == pytest.approx([scores[at] for at in expected])


def test_a_weak_line_among_thirty_siblings_is_named_with_how_far_out_it_is() -> None:
    levels = [-39.0 + 0.1 * (n % 7) for n in range(31)]
    levels[11] = -58.2  # 1 + 3 * 5 values up to -38.8, the 16th
    (named,) = _named(_quantity(levels))
    assert (named.file, named.value, named.typical) == ("11", -58.2, pytest.approx(-38.8))
    assert named.score < -fleets.BEYOND
    assert named.sentence == ("level of LO: −58.2 dBFS, 19.4 dB below the median of 31, −38.8 dBFS")


def test_a_line_that_was_not_seen_counts_by_where_it_would_have_been() -> None:
    figures = [Figure(row=n, value=-39.0 - 0.1 * n) for n in range(10)]
    blind = Figure(row=10, value=-39.5, is_limit=True)  # too deaf a recording to say anything
    above = Figure(row=11, value=-20.0, is_limit=True)
    gone = Figure(row=12, value=-80.5, is_limit=True)
    quantity = Quantity(
        what="LO.level_dbfs",
        name="level of LO",
        kind=Kind.LEVEL,
        figures=(*figures, blind, above, gone),
    )
    (named,) = _named(quantity)
    assert named.file == "12"
    assert named.is_limit
    assert "not seen, so below −80.5 dBFS, at least 41.0 dB below the median" in named.sentence


@pytest.mark.parametrize(
    ("kind", "u", "off", "stands_out"),
    [
        (Kind.LEVEL, 0.0, 0.9, False),  # nearer than the same set shows twice
        (Kind.LEVEL, 0.0, 1.1, True),
        (Kind.ERROR, 0.0, 0.019, False),
        (Kind.ERROR, 0.0, 0.021, True),
        (Kind.ERROR, 0.5, 0.9, False),  # within its own U (k = 2)
        (Kind.ERROR, 0.5, 1.1, True),
    ],
)
def test_nothing_stands_out_by_less_than_it_can_be_told(
    kind: Kind, u: float, off: float, stands_out: bool
) -> None:
    equal = [1.0] * 20
    assert bool(_named(_quantity([*equal, 1.0 + off], kind, u))) is stands_out
    assert bool(_named(_quantity([*equal, 1.0 - off], kind, u))) is stands_out


def test_of_fewer_than_eight_nobody_is_named() -> None:
    far = [-39.0, -39.1, -39.2, -39.3, -39.4, -39.5, -90.0]
    assert _named(_quantity(far)) == []
    assert [each.file for each in _named(_quantity([-39.6, *far]))] == ["7"]


@pytest.mark.parametrize(("count", "batches", "share"), [(8, 1500, 0.137), (1000, 150, 0.40)])
def test_chance_names_somebody_as_seldom_as_is_said(count: int, batches: int, share: float) -> None:
    """The shares come from 4,000,000 values of numpy's alone, and are those of the docstring."""
    rng = np.random.default_rng(3)
    named = sum(bool(_named(_quantity(list(rng.normal(0, 9, count))))) for _ in range(batches))
    error = (share * (1 - share) / batches) ** 0.5
    assert named / batches == pytest.approx(share, abs=3.0 * error)


def _rate(row: int, events: int, hours: float) -> Rate:
    return Rate(
        row=row,
        events=events,
        observed_s=3600.0 * hours,
        value=events / hours,
        low=0.0,
        high=99.0,
        at_most=99.0,
    )


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.integers(0, 12), st.sampled_from([0.5, 1.0, 4.0])), min_size=2, max_size=30
    )
)
def test_too_frequent_is_what_the_binomial_distribution_says(
    counts: list[tuple[int, float]],
) -> None:
    rates = [_rate(row, events, hours) for row, (events, hours) in enumerate(counts)]
    left, expected = dict(enumerate(counts)), []
    while len(left) > 1:  # whoever is named is left out, and the rest asked again
        total, hours = (sum(each) for each in zip(*left.values(), strict=True))
        chances = {
            row: binom.sf(events - 1, total, own / hours) for row, (events, own) in left.items()
        }
        row = min(chances, key=chances.__getitem__)
        if chances[row] * len(counts) >= 0.05:
            break
        expected.append(row)
        del left[row]
    named = too_frequent(rates, [str(row) for row in range(len(counts))])
    assert [int(each.file) for each in named] == expected


def test_a_set_that_drops_out_more_often_than_its_siblings_is_named() -> None:
    rates = [_rate(row, row % 2, 2.0) for row in range(30)]
    rates[7] = _rate(7, 24, 2.0)
    (named,) = too_frequent(rates, [f"set-{row}" for row in range(30)])
    assert named.file == "set-7"
    assert named.value == 12.0
    assert named.typical == pytest.approx(14 / 58.0)
    assert named.score > 5.0
    assert named.sentence == (
        "gone 24 times in 2 h, 12 per hour; the other 29 together 0.24 per hour"
    )


def test_a_fleet_of_equal_sets_is_seldom_said_to_have_a_bad_one() -> None:
    """In at most 5 % of fleets (Bonferroni's inequality), three standard errors allowed for."""
    rng = np.random.default_rng(4)
    bad = 0
    for _ in range(600):
        counts = rng.poisson(1.5, 20)
        bad += bool(too_frequent([_rate(r, int(k), 1.0) for r, k in enumerate(counts)], ["x"] * 20))
    assert bad <= 600 * 0.05 + 3.0 * (600 * 0.05 * 0.95) ** 0.5


def test_without_others_nobody_is_too_frequent() -> None:
    assert too_frequent([_rate(0, 9, 1.0)], ["x"]) == []
    named = too_frequent([_rate(0, 9, 3.0), _rate(1, 0, 3.0)], ["x", "y"])
    assert [each.sentence for each in named] == ["gone 9 times in 3 h; the other one never"]


def test_the_lowest_of_a_line_that_was_not_seen_is_told_as_a_limit() -> None:
    seen = [Figure(row=n, value=-39.0) for n in range(8)]
    blind = Figure(row=8, value=-75.0, is_limit=True)
    kind = Kind.LEVEL
    fleet = fleet_of(
        Quantity(what="LO.level_dbfs", name="level of LO", kind=kind, figures=(*seen, blind))
    )
    assert (fleet.low, fleet.low_is_limit) == (-75.0, True)
    assert not fleet_of(Quantity(what="", name="", kind=kind, figures=tuple(seen))).low_is_limit
