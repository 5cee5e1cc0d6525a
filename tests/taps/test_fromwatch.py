"""What a watch saw, as a tap test asks for it: what was observed, and until when it is known."""

from dataclasses import replace

import numpy as np
import pytest

from sniff.taps.fromwatch import watched_of
from sniff.watch.nouns import Dropout, Kind
from sniff.watch.trace import Trace

TRACE = Trace(
    start_s=10.0,
    step_s=0.5,
    observed=np.array([1.0, 0.98, 0.4, 0.0, 1.0, 1.0]),  # steps hold whole decisions: 0.98 is all
    present=np.array([1.0, 1.0, 1.0, np.nan, 0.0, 1.0]),
    power=np.array([1e-4, 1e-4, 1e-4, np.nan, np.nan, 1e-3]),
    lowest=np.full(6, 1e-5),
    highest=np.full(6, 1e-3),
    hz=np.array([83.6e6, 83.6e6, 83.6e6, np.nan, np.nan, 83.6e6 + 5]),
)
DROPOUT = Dropout(
    start_s=12.0,
    duration_s=0.5,
    depth_db=20.0,
    pull_hz=0.0,
    kind=Kind.BREAK,
    before_dbfs=-40.0,
    before_hz=83.6e6,
    ended=True,
    fall=None,
    rise=None,
)


def test_steps_make_stretches_and_a_lost_part_ends_one() -> None:
    watched = watched_of([DROPOUT], TRACE, dropout_count=1)
    assert watched.observed == (pytest.approx((10.0, 11.2)), pytest.approx((12.0, 13.0)))


def test_levels_and_frequencies_are_unknown_where_the_line_was_not_there() -> None:
    rows = watched_of([DROPOUT], TRACE, dropout_count=1).rows
    assert [row.start_s for row in rows] == pytest.approx([10.0, 10.5, 11.0, 11.5, 12.0, 12.5])
    assert rows[0].median_dbfs == pytest.approx(-40.0)
    assert rows[5].indicated_hz == 83.6e6 + 5
    assert rows[4].median_dbfs is rows[4].indicated_hz is None


def test_after_the_last_drop_out_that_was_kept_nothing_counts_as_observed() -> None:
    first = replace(DROPOUT, start_s=10.4, duration_s=0.3)
    watched = watched_of([first], TRACE, dropout_count=2)
    assert watched.observed == (pytest.approx((10.0, 10.7)),)
    assert watched_of([], TRACE, dropout_count=1).observed == ()
