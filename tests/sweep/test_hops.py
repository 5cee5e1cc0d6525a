"""The hop plan: every place once off the spike, nothing beyond the tuner, limits in one line."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.errors import SourceError, UsageError
from sniff.model import SourceInfo
from sniff.sweep.hops import MOST_POINTS, HopPlan, Span, SweepSettings, plan_hops

DONGLE = SourceInfo(
    kind="dongle",
    name="dongle",
    datatype="cu8",
    rail=1.0,
    rate_hz=2.4e6,
    centers_hz=(100e6,),
    duration_s=None,
    tunable=True,
    range_hz=(24e6, 1.766e9),
)
TEN_KILOHERTZ = SweepSettings(rbw_hz=10e3)


def shown(plan: HopPlan, *, off_by_hz: float = 0.0) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """How many hops show each point off their spike, by counting them one by one."""
    count = np.zeros(plan.points, dtype=np.int64)
    at_hz = (plan.first_bin + np.arange(plan.points)) * plan.bin_hz
    for center_hz in plan.centers_hz:
        distance = np.abs(at_hz - center_hz - off_by_hz) / plan.bin_hz
        count += (distance > plan.guard_bins + 0.5) & (distance <= plan.half_bins - 0.5)
    return count


@given(
    low=st.floats(30e6, 900e6),
    width=st.floats(20e3, 60e6),
    rbw=st.floats(1e3, 20e3),
    off_by=st.floats(-400.0, 400.0),  # a tuner's step: DONGLE.md, 3.9
)
def test_every_place_is_seen_off_a_spike_though_the_tuner_stands_a_step_away(
    low: float, width: float, rbw: float, off_by: float
) -> None:
    plan = plan_hops(Span(low_hz=low, high_hz=low + width), DONGLE, SweepSettings(rbw_hz=rbw))
    assert shown(plan, off_by_hz=off_by).min() >= 1
    assert plan.first_bin * plan.bin_hz <= low + 1e-3
    assert plan.last_bin * plan.bin_hz >= low + width - 1e-3


def test_all_but_the_ends_is_seen_twice() -> None:
    plan = plan_hops(Span(low_hz=60e6, high_hz=110e6), DONGLE, TEN_KILOHERTZ)
    count = shown(plan)
    inner = count[plan.half_bins : -2 * plan.half_bins]
    seen_once = (inner < 2).sum() / inner.size
    # Only under each hop's own spike is one of the two lost.
    assert seen_once < 0.1
    assert count.max() <= 3
    # 50 MHz in steps of a little less than half of 1.92 MHz.
    assert 52 <= len(plan.centers_hz) <= 60


def test_what_the_tuner_cannot_do_is_cut_and_said() -> None:
    plan = plan_hops(Span(low_hz=10e6, high_hz=40e6), DONGLE, TEN_KILOHERTZ)
    assert min(plan.centers_hz) >= 24e6
    assert plan.first_bin * plan.bin_hz == pytest.approx(24e6 - 0.96e6, abs=50e3)
    (caution,) = plan.cautions
    assert caution.code == "span-cut"
    assert "below 23" in caution.text
    assert shown(plan).min() >= 1


def test_below_the_tuner_direct_sampling_is_named() -> None:
    with pytest.raises(SourceError, match="--direct q"):
        plan_hops(Span(low_hz=1e6, high_hz=9e6), DONGLE, TEN_KILOHERTZ)


@pytest.mark.parametrize(("low", "high"), [(80e6, 80e6), (90e6, 80e6), (-1e6, 80e6)])
def test_an_empty_or_reversed_span_is_refused(low: float, high: float) -> None:
    with pytest.raises(UsageError, match="lower end first"):
        plan_hops(Span(low_hz=low, high_hz=high), DONGLE, TEN_KILOHERTZ)


def test_more_points_than_can_be_held_are_refused_with_an_rbw_that_does() -> None:
    span = Span(low_hz=30e6, high_hz=1_000e6)
    with pytest.raises(UsageError, match=f"of which {MOST_POINTS} can be held") as refused:
        plan_hops(span, DONGLE, SweepSettings(rbw_hz=100.0))
    advised = float(str(refused.value).split("--rbw ")[1].split()[0])
    assert "--rbw 720 Hz" in str(refused.value)
    plan = plan_hops(span, DONGLE, SweepSettings(rbw_hz=advised))
    assert plan.points <= MOST_POINTS


@pytest.mark.parametrize(("rbw", "words"), [(100e3, "at most 56 kHz"), (0.5, "out of reach")])
def test_an_absurd_rbw_is_refused_with_the_limit(rbw: float, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        plan_hops(Span(low_hz=80e6, high_hz=90e6), DONGLE, SweepSettings(rbw_hz=rbw))


def test_a_dwell_too_short_for_the_rbw_is_refused() -> None:
    settings = SweepSettings(rbw_hz=100.0, seconds=1e-3)
    with pytest.raises(UsageError, match=r"needs 15 ms"):
        plan_hops(Span(low_hz=80e6, high_hz=90e6), DONGLE, settings)


def test_a_recording_gives_the_hops_it_holds() -> None:
    info = replace(DONGLE, tunable=False, centers_hz=(83e6, 80e6, 95e6), range_hz=None)
    plan = plan_hops(Span(low_hz=79.5e6, high_hz=84e6), info, TEN_KILOHERTZ)
    assert plan.centers_hz == (80e6, 83e6)
    assert plan.seconds is None
    with pytest.raises(SourceError, match="this recording holds"):
        plan_hops(Span(low_hz=70e6, high_hz=75e6), info, TEN_KILOHERTZ)
