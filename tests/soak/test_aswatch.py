"""A soak in the shape of a watch: minutes side by side, gaps left open."""

from dataclasses import replace

import numpy as np
import pytest

from sniff.soak.aswatch import as_watch
from sniff.soak.summary import summarize
from tests.soak.events import LINE_HZ, MIDNIGHT_S
from tests.soak.test_summary import gone, kept, minute


def test_minutes_stand_at_their_time_and_a_gap_stays_open() -> None:
    found = kept([minute(0), minute(1, dropouts=1), minute(5, present_s=0.0)], [gone(75.0)])
    drawn = as_watch(summarize(found), found)
    assert drawn is not None
    assert drawn.trace.step_s == 60.0
    assert drawn.trace.observed.tolist() == [1.0, 1.0, 0.0, 0.0, 0.0, 1.0]
    assert drawn.trace.present[[0, 1, 5]].tolist() == [1.0, 1.0, 0.0]
    assert np.isnan(drawn.trace.present[2:5]).all()
    assert drawn.trace.hz[0] == LINE_HZ + 500.0
    assert np.isnan(drawn.trace.hz[5])
    assert 10 * np.log10(drawn.trace.power[1]) == pytest.approx(-40.0)
    (dropout,) = drawn.result.dropouts
    assert (dropout.start_s, dropout.duration_s) == (75.0, 0.5)


def test_two_runs_within_a_minute_share_its_step() -> None:
    first, second = minute(0, present_s=20.0), minute(0, present_s=10.0)
    first = replace(first, observed_s=20.0)
    second = replace(second, observed_s=20.0, start_utc_s=MIDNIGHT_S + 40.0)
    found = kept([first, second])
    drawn = as_watch(summarize(found), found)
    assert drawn is not None
    assert drawn.trace.observed.tolist() == pytest.approx([40.0 / 60.0])
    assert drawn.trace.present.tolist() == pytest.approx([30.0 / 40.0])


def test_where_the_line_was_never_found_there_is_nothing_to_draw() -> None:
    found = kept([], observed=[(0.0, 60.0)])
    assert as_watch(summarize(found), found) is None
