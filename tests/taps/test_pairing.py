"""Taps and drop-outs are paired by time; what could not be seen does not count."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.taps.nouns import Provocation, Tally, Tap, Windows
from sniff.taps.pairing import Watched, pair, untouched
from sniff.watch.nouns import Kind
from tests.taps.events import Second, dropout

WINDOWS = Windows()
ALL = ((0.0, 1000.0),)


def tap(at_s: float, by: Provocation = Provocation.STICK, spot: str = "C14") -> Tap:
    return Tap(at_s=at_s, spot=spot, by=by)


def test_a_drop_out_just_after_a_tap_answers_it_and_a_later_one_does_not() -> None:
    watched = Watched(dropouts=[dropout(10.2), dropout(21.1)], observed=ALL)
    first, second = pair([tap(10.0), tap(20.0)], watched, WINDOWS)
    assert (first.answered, second.answered) == (True, False)
    assert first.after_s == pytest.approx(0.2)


def test_a_key_may_be_pressed_a_little_late() -> None:
    watched = Watched(dropouts=[dropout(9.8), dropout(19.6)], observed=ALL)
    first, second = pair([tap(10.0), tap(20.0)], watched, WINDOWS)
    assert first.after_s == pytest.approx(-0.2)
    assert (first.answered, second.answered) == (True, False)


def test_cold_and_heat_have_a_longer_window_than_the_stick() -> None:
    watched = Watched(dropouts=[dropout(60.0)], observed=ALL)
    assert pair([tap(10.0, Provocation.COLD)], watched, WINDOWS)[0].answered
    assert not pair([tap(10.0)], watched, WINDOWS)[0].answered
    assert pair([tap(57.0, Provocation.SUPPLY)], watched, WINDOWS)[0].answered


def test_a_drop_out_answers_the_last_tap_before_it_only() -> None:
    watched = Watched(dropouts=[dropout(30.2)], observed=ALL)
    cold, stick = pair([tap(10.0, Provocation.COLD), tap(30.0)], watched, WINDOWS)
    assert (cold.answered, stick.answered) == (False, True)
    assert cold.to_s == pytest.approx(29.7)


def test_a_tap_that_the_next_one_followed_at_once_does_not_count() -> None:
    watched = Watched(dropouts=[dropout(10.5)], observed=ALL)
    first, second = pair([tap(10.0, Provocation.WARM), tap(10.4)], watched, WINDOWS)
    assert first.answered is None
    assert first.why_not_counted == "the next tap came too soon"
    assert second.answered


def test_a_tap_on_a_line_that_was_gone_does_not_count() -> None:
    watched = Watched(dropouts=[dropout(5.0, 10.0)], observed=ALL)
    (found,) = pair([tap(10.0)], watched, WINDOWS)
    assert found.answered is None
    assert found.why_not_counted == "the line was gone already"


def test_a_tap_while_nothing_was_observed_does_not_count_even_when_a_drop_out_began() -> None:
    watched = Watched(dropouts=[dropout(9.8)], observed=((0.0, 10.2), (30.0, 60.0)))
    (found,) = pair([tap(10.0)], watched, WINDOWS)
    assert found.answered is None
    assert "observed" in (found.why_not_counted or "")


def test_a_pull_is_counted_apart_and_is_no_answer() -> None:
    watched = Watched(dropouts=[dropout(10.1, kind=Kind.PULL)], observed=ALL)
    (found,) = pair([tap(10.0)], watched, WINDOWS)
    assert (found.answered, found.dropouts, found.pulls) == (False, 0, 1)


def test_a_drop_out_that_was_not_seen_to_begin_answers_nothing() -> None:
    watched = Watched(dropouts=[dropout(10.1, kind=None)], observed=ALL)
    (found,) = pair([tap(10.0)], watched, WINDOWS)
    assert (found.answered, found.dropouts, found.pulls) == (False, 0, 0)


def test_the_drift_under_cold_is_the_largest_change_after_it() -> None:
    course = [-40.0 * min(max(t - 20, 0), 30) + (900.0 if t == 70 else 0.0) for t in range(100)]
    rows = [Second(float(t), 83.6e6 + hz, -40.0 - 0.01 * hz) for t, hz in enumerate(course)]
    watched = Watched(dropouts=(), observed=ALL, rows=rows)
    cold, stick = pair([tap(20.0, Provocation.COLD), tap(95.0)], watched, WINDOWS)
    assert cold.drift_hz == pytest.approx(-1200.0)
    assert cold.drift_db == pytest.approx(12.0)
    assert stick.drift_hz is None


def test_without_a_frequency_there_is_no_drift() -> None:
    rows = [Second(float(t), None, None) for t in range(60)]
    watched = Watched(dropouts=(), observed=ALL, rows=rows)
    assert pair([tap(20.0, Provocation.WARM)], watched, WINDOWS)[0].drift_hz is None


def test_untouched_time_is_cut_into_the_same_windows() -> None:
    # 0 to 9.7 and 11 to 37: seven and twenty windows of 1.3 s; drop-outs in two of them, one in a
    # tap's own time, one a pull.
    watched = Watched(
        dropouts=[dropout(2.0), dropout(10.2), dropout(20.0), dropout(25.0, kind=Kind.PULL)],
        observed=((0.0, 37.0),),
    )
    found = untouched(watched, [tap(10.0)], WINDOWS, Provocation.STICK)
    assert found == Tally(answered=2, taps=7 + 20)


def test_windows_that_begin_while_the_line_is_gone_are_left_out_of_the_control() -> None:
    watched = Watched(dropouts=[dropout(0.5, 5.0)], observed=((0.0, 13.0),))
    found = untouched(watched, [], WINDOWS, Provocation.STICK)
    # Windows begin at 0, 1.3 ... 11.7; those at 1.3, 2.6, 3.9 and 5.2 begin in the drop-out.
    assert found == Tally(answered=1, taps=10 - 4)


@given(
    st.lists(st.floats(0, 100), max_size=12),
    st.lists(st.floats(0, 100), max_size=12),
    st.lists(st.sampled_from(list(Provocation)), min_size=12, max_size=12),
)
def test_no_drop_out_answers_two_taps(
    taps: list[float], begins: list[float], ways: list[Provocation]
) -> None:
    dropouts = [dropout(start_s, 1e-6) for start_s in sorted(set(begins))]
    watched = Watched(dropouts=dropouts, observed=((0.0, 300.0),))
    named = [tap(at_s, by) for at_s, by in zip(taps, ways, strict=False)]
    strokes = pair(named, watched, WINDOWS)
    assert len(strokes) == len(taps)
    assert sum(stroke.dropouts for stroke in strokes) <= len(dropouts)


def test_a_window_must_be_a_length_of_time() -> None:
    with pytest.raises(ValueError, match="no length"):
        Windows(touch_s=0.0)
