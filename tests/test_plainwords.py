"""Sentences of a rate: true to the numbers, and never more sure than they are."""

from hypothesis import given
from hypothesis import strategies as st

from sniff.plainwords import bursts_in_words, improvement_in_words, rate_in_words
from sniff.regularity import Bursts
from sniff.sureness import Improvement, improvement, rate_per_hour
from sniff.units import format_at_least, format_rate


def repaired(before: int, before_h: float, after: int, after_h: float) -> Improvement:
    first = rate_per_hour(before, 3600 * before_h)
    second = rate_per_hour(after, 3600 * after_h)
    assert first is not None
    assert second is not None
    return improvement(first, second)


def test_eight_quiet_hours_are_a_bound_and_no_promise() -> None:
    rate = rate_per_hour(0, 8 * 3600.0)
    assert rate is not None
    # 2.9957 / 8 h = 0.3745 per hour, by the rule of three; rounded up.
    assert rate_in_words(rate) == (
        "No drop-out was seen in 8 h. With 95 % confidence it drops out no more often than 0.38 "
        "per hour, once in 2.67 h on average. That it never will cannot be shown by watching."
    )


def test_drop_outs_are_counted_with_their_rate_and_its_bound() -> None:
    rate = rate_per_hour(5, 2 * 3600.0)
    assert rate is not None
    # 10.5130 / 2 h = 5.26 per hour.
    assert rate_in_words(rate) == (
        "5 drop-outs in 2 h: 2.5 per hour. With 95 % confidence it drops out no more often than "
        "5.3 per hour, once in 11.4 min on average."
    )


def test_a_repair_that_helped_is_told_with_its_least_factor() -> None:
    # p = 0.05**(1/30) = 0.90497, odds 9.523, times 5 h / 2 h = 23.8.
    text = improvement_in_words(repaired(30, 2, 0, 5))
    assert "helped: with 95 % confidence it drops out at least 23 times less often" in text
    assert "(30 drop-outs in 2 h before, no drop-out in 5 h since)" in text
    # 100 times: 100 * 2 h / 9.523 = 21.0 h, of which 5 h are over.
    assert text.endswith("Another 16 h without a drop-out would show 100 times.")


def test_an_undecided_repair_is_told_with_what_would_decide_it() -> None:
    # p = 0.05**(1/2) = 0.2236, odds 0.288: shown after 1 h / 0.288 = 3.47 h.
    text = improvement_in_words(repaired(2, 1, 0, 1))
    assert text == (
        "Whether the repair helped cannot be said yet (2 drop-outs in 60 min before, no "
        "drop-out in 60 min since). Another 2.47 h without a drop-out would show that it helped."
    )


def test_a_repair_that_made_it_worse_is_said_so() -> None:
    assert "It got worse" in improvement_in_words(repaired(1, 10, 40, 10))


def test_without_failures_before_nothing_is_promised() -> None:
    assert "Nothing failed before" in improvement_in_words(repaired(0, 10, 0, 1000))


def test_bursts_make_every_bound_too_narrow() -> None:
    text = bursts_in_words(Bursts(dispersion=7.2, p=1e-9, in_bursts=True))
    assert "dispersion 7.2" in text
    assert "too narrow" in text


PER_HOUR = {"minute": 60.0, "hour": 1.0, "day": 1 / 24, "week": 1 / 168}


@given(st.floats(1e-4, 1e5))
def test_a_rate_is_read_back_to_two_digits_and_a_bound_is_never_below(per_hour: float) -> None:
    value, _, unit = format_rate(per_hour).split()
    assert abs(float(value) * PER_HOUR[unit] / per_hour - 1) < 0.0501
    value, _, unit = format_rate(per_hour, at_most=True).split()
    assert -1e-7 <= float(value) * PER_HOUR[unit] / per_hour - 1 < 0.1001


@given(st.floats(1e-3, 1e5))
def test_a_least_factor_is_never_above_what_was_shown(ratio: float) -> None:
    assert -0.1001 < float(format_at_least(ratio)) / ratio - 1 <= 1e-7
