"""Drop-outs: planted ones found, timed and told apart; what is none is left alone."""

from dataclasses import replace

import numpy as np
import pytest

from sniff.model import IQBlock
from sniff.watch.nouns import Dropout, Kind, WatchSettings, WatchVerdict
from sniff.watch.watcher import Watcher
from tests.values.watch import FOUND, RIGHT, WITHIN_S
from tests.watch.planted import (
    CENTER_HZ,
    LINE_HZ,
    RATE_HZ,
    Event,
    Habits,
    Stream,
    blocks_of,
    lengths_s,
    noise_amplitude,
)


def a_watcher(**settings: float) -> Watcher:
    return Watcher(LINE_HZ, WatchSettings(**settings), RATE_HZ, CENTER_HZ)


def watch(watcher: Watcher, *blocks: IQBlock) -> list[Dropout]:
    found = [dropout for block in blocks for dropout in watcher.push(block)]
    return [*found, *watcher.finish()]


def a_line(
    seconds: float,
    *,
    relative: np.ndarray | float = 1.0,
    hz: np.ndarray | float = 0.0,
    snr_db: float = 20.0,
    seed: int = 1,
) -> IQBlock:
    """A line, 137 Hz above where it is looked for, of any course of level and frequency."""
    rng = np.random.default_rng(seed)
    habits = Habits(snr_db=snr_db)
    samples = round(seconds * RATE_HZ)
    turns = np.cumsum(np.full(samples, LINE_HZ - CENTER_HZ + 137.0) + hz) / RATE_HZ
    noise = noise_amplitude(habits) * rng.standard_normal((samples, 2)).view(np.complex128)[:, 0]
    line = habits.amplitude * relative * np.exp(2j * np.pi * (turns % 1.0))
    return IQBlock(
        samples=(line + noise).astype(np.complex64), rate_hz=RATE_HZ, center_hz=CENTER_HZ, index=0
    )


def times(seconds: float) -> np.ndarray:
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def overlapping(event: Event, found: list[Dropout]) -> list[Dropout]:
    end_s = event.at_s + event.for_s
    return [d for d in found if d.start_s < end_s + 0.01 and d.end_s > event.at_s - 0.01]


def test_dropouts_of_two_milliseconds_are_found_and_timed_at_20_db() -> None:
    stream, watcher = Stream(Habits(), seed=7), a_watcher()
    rng = np.random.default_rng(8)
    found = list(watcher.push(stream.stretch(1.5)[0]))
    events = []
    for _ in range(200):
        block, event = stream.stretch(0.25, "break", at_s=0.1 + 0.05 * rng.random(), for_s=2e-3)
        found += watcher.push(block)
        events.append(event)
    found += watcher.finish()
    matched = [overlapping(event, found) for event in events if event is not None]
    once = [m[0] for m in matched if len(m) == 1]
    assert len(once) >= FOUND * len(events)
    assert len(found) == len(once)  # and nothing else
    for event, (dropout, *_) in zip(events, matched, strict=True):
        assert event is not None
        assert abs(dropout.start_s - event.at_s) <= WITHIN_S
        assert abs(dropout.end_s - event.at_s - event.for_s) <= WITHIN_S


@pytest.mark.slow
def test_kinds_of_300_events_are_right_with_drift_hum_and_fm_hum() -> None:
    stream, watcher = Stream(Habits(), seed=5), a_watcher()
    rng = np.random.default_rng(6)
    found = list(watcher.push(stream.stretch(3.0)[0]))
    events = []
    kinds = np.resize(["break", "pull", "fade"], 300).tolist()
    for kind, for_s in zip(kinds, lengths_s(rng, 300), strict=True):
        length_s = for_s if kind == "break" else max(for_s, 0.02)
        block, event = stream.stretch(3.2, kind, at_s=1.3 + 0.3 * rng.random(), for_s=length_s)
        found += watcher.push(block)
        events.append(event)
    found += watcher.finish()
    for kind in ("break", "pull", "fade"):
        mine = [event for event in events if event is not None and event.kind == kind]
        right = [
            e
            for e in mine
            if any(d.kind and d.kind.value == kind for d in overlapping(e, found)[:1])
        ]
        assert len(mine) == 100
        assert len(right) >= RIGHT * len(mine)


def test_a_steady_line_with_hum_and_drift_has_none() -> None:
    watcher = a_watcher()
    found = watch(watcher, Stream(Habits(), seed=3).stretch(32.0)[0])
    result = watcher.result()
    assert found == []
    assert result.verdict is WatchVerdict.STEADY
    assert result.present_fraction == 1.0
    assert result.indicated_hz == pytest.approx(LINE_HZ + 40.0 + 8.0 * 16.0, abs=5.0)
    assert result.drift_hz_per_hour == pytest.approx(8.0 * 3600.0, rel=0.01)


def test_clicks_of_static_make_none() -> None:
    block = a_line(4.0)
    samples = block.samples.copy()
    rng = np.random.default_rng(2)
    for at in rng.integers(0, samples.size - 20, 100):
        samples[at : at + 5] += 20.0 * (rng.standard_normal(5) + 1j * rng.standard_normal(5))
    assert watch(a_watcher(), replace(block, samples=samples)) == []


def test_clicks_do_not_raise_the_lines_own_level() -> None:
    block = a_line(6.0)
    samples = block.samples.copy()
    for at in range(70_000, 350_000, 3_000):
        samples[at : at + 5] += 4.0
    samples[-round(0.5 * RATE_HZ) :] *= 0.6  # still there: −4.4 dB of its own
    assert watch(a_watcher(), replace(block, samples=samples)) == []


def test_lost_samples_are_unobserved_and_make_none() -> None:
    block = a_line(6.0)
    at, lost = round(3.0 * RATE_HZ), round(0.7 * RATE_HZ)
    first = replace(block, samples=block.samples[:at].copy())
    second = replace(block, samples=block.samples[at + lost :].copy(), index=at + lost)
    watcher = a_watcher()
    assert watch(watcher, first, second) == []
    result = watcher.result()
    assert result.unobserved_s == pytest.approx(0.7)
    assert result.observed_s == pytest.approx(5.3)
    assert result.present_fraction == 1.0


def test_a_line_that_went_while_samples_were_lost_is_gone_and_of_no_kind() -> None:
    t = times(6.0)
    block = a_line(6.0, relative=np.where((t >= 3.3) & (t < 4.5), 0.0, 1.0))
    at, lost = round(3.0 * RATE_HZ), round(0.7 * RATE_HZ)
    first = replace(block, samples=block.samples[:at].copy())
    second = replace(block, samples=block.samples[at + lost :].copy(), index=at + lost)
    (dropout,) = watch(a_watcher(), first, second)
    assert dropout.kind is None
    assert dropout.start_s == pytest.approx(3.7, abs=2e-3)
    assert dropout.end_s == pytest.approx(4.5, abs=1e-3)


@pytest.mark.parametrize(("pull_hz", "way_s"), [(3e3, 0.5), (8e3, 0.1), (-12e3, 0.2), (15e3, 0.03)])
def test_a_line_pulled_by_kilohertz_is_followed_not_called_absent(
    pull_hz: float, way_s: float
) -> None:
    t = times(6.0)
    part = np.interp(t, [3.0, 3.0 + way_s, 4.0, 4.0 + way_s], [0.0, 1.0, 1.0, 0.0])
    watcher = a_watcher(row_s=0.5)
    assert (
        watch(watcher, a_line(6.0, relative=10.0 ** (-2.5 * part / 20.0), hz=pull_hz * part)) == []
    )
    rows = watcher.rows()
    assert watcher.result().present_fraction == 1.0
    assert rows[7].indicated_hz == pytest.approx(LINE_HZ + 137.0 + pull_hz, abs=30.0)
    assert rows[11].indicated_hz == pytest.approx(LINE_HZ + 137.0, abs=10.0)


def test_a_modulated_carriers_own_modulation_is_none() -> None:
    t = times(4.0)
    speech = 2_500.0 * np.sin(2 * np.pi * 730.0 * t) * (np.sin(2 * np.pi * 2.3 * t) > 0)
    assert watch(a_watcher(), a_line(4.0, hz=speech, snr_db=30.0)) == []


def test_a_dropout_tells_depth_level_and_both_passages() -> None:
    t = times(4.0)
    block = a_line(4.0, relative=np.where((t >= 2.5) & (t < 2.9), 0.1, 1.0), snr_db=40.0)
    (dropout,) = watch(a_watcher(), block)
    assert dropout.kind is Kind.BREAK
    assert dropout.depth_db == pytest.approx(20.0, abs=1.5)
    assert dropout.before_dbfs == pytest.approx(20.0 * np.log10(0.05), abs=0.1)
    assert dropout.before_hz == pytest.approx(LINE_HZ + 137.0, abs=1.0)
    assert dropout.ended
    assert dropout.fall is not None
    assert dropout.rise is not None
    fall, rise = dropout.fall, dropout.rise
    assert fall.start_s == pytest.approx(dropout.start_s - 0.05, abs=fall.step_s)
    assert fall.level_dbfs.size * fall.step_s == pytest.approx(0.1, abs=2 * fall.step_s)
    assert np.median(fall.level_dbfs[:150]) == pytest.approx(dropout.before_dbfs, abs=0.2)
    assert np.median(fall.level_dbfs[-150:]) == pytest.approx(dropout.before_dbfs - 20.0, abs=0.6)
    assert np.nanmedian(np.abs(rise.offset_hz[-150:])) < 10.0
    with pytest.raises(ValueError, match="read-only"):
        fall.level_dbfs[0] = 0.0


def test_one_still_open_at_the_end_is_told_as_not_ended() -> None:
    (dropout,) = watch(a_watcher(), a_line(3.0, relative=np.where(times(3.0) < 2.5, 1.0, 0.0)))
    assert not dropout.ended
    assert dropout.start_s == pytest.approx(2.5, abs=1e-3)
    assert dropout.end_s == pytest.approx(3.0, abs=2e-3)
    assert dropout.rise is None


def test_a_chattering_contact_is_one() -> None:
    t = times(4.0)
    open_s = [(2.5, 2.501), (2.502, 2.6), (2.6012, 2.603)]
    shut = np.ones(t.size)
    for start_s, end_s in open_s:
        shut[(t >= start_s) & (t < end_s)] = 0.0
    (dropout,) = watch(a_watcher(), a_line(4.0, relative=shut))
    assert dropout.start_s == pytest.approx(2.5, abs=1e-3)
    assert dropout.end_s == pytest.approx(2.603, abs=1e-3)


def test_breaks_that_follow_each_other_closely_are_each_one() -> None:
    """Keyed, 6 ms off and 5 ms on: nothing of it is a chatter."""
    t = times(4.0)
    since = t - 2.5
    keyed = (since >= 0) & (since < 0.11) & (since % 0.011 < 0.006)
    found = watch(a_watcher(), a_line(4.0, relative=np.where(keyed, 0.0, 1.0)))
    assert [dropout.start_s for dropout in found] == pytest.approx(
        [2.5 + 0.011 * n for n in range(10)], abs=1e-3
    )
    assert [dropout.duration_s for dropout in found] == pytest.approx([6e-3] * 10, abs=1e-3)
    assert {dropout.kind for dropout in found} == {Kind.BREAK}


def test_one_after_a_line_that_was_off_at_first_is_judged_by_itself() -> None:
    t = times(3.0)
    shut = np.where((t < 0.4) | ((t >= 0.4035) & (t < 0.45)), 0.0, 1.0)
    first, second = watch(a_watcher(), a_line(3.0, relative=shut))
    assert first.kind is None
    assert second.kind is Kind.BREAK


def test_a_slow_fade_with_hum_is_one() -> None:
    """At −7 dB hum of ±0.9 dB and noise 13 dB below cross both thresholds again and again."""
    t = times(9.0)
    depth_db = 20.0 * 0.5 * (1.0 - np.cos(np.pi * np.interp(t, [2, 4.5, 5.5, 8], [0, 1, 1, 0])))
    hum = 1.0 + 0.1 * np.sin(2 * np.pi * 100.0 * t)
    (dropout,) = watch(a_watcher(), a_line(9.0, relative=hum * 10.0 ** (-depth_db / 20.0)))
    assert dropout.kind is Kind.FADE
    # −7 dB of a raised cosine of 20 dB: 2.5 s · acos(1 - 0.7) / π after its beginning; it falls by
    # 12 dB/s there, so that hum and noise of 3 dB make it a quarter of a second earlier.
    assert dropout.start_s == pytest.approx(2.0 + 2.5 * np.arccos(0.3) / np.pi - 0.15, abs=0.2)


def test_one_that_follows_while_the_line_still_settles_is_of_the_same_kind() -> None:
    t = times(4.0)
    shut = np.where(((t >= 2.5) & (t < 2.6)) | ((t >= 2.62) & (t < 2.7)), 0.0, 1.0)
    settling = np.where(t >= 2.6, 900.0 * np.exp(-np.maximum(t - 2.6, 0.0) / 20e-3), 0.0)
    found = watch(a_watcher(), a_line(4.0, relative=shut, hz=settling))
    assert [dropout.kind for dropout in found] == [Kind.BREAK, Kind.BREAK]


@pytest.mark.parametrize("samples", [997, 64_000])
def test_how_the_stream_is_cut_into_blocks_does_not_matter(samples: int) -> None:
    block, _ = Stream(Habits(), seed=9).stretch(4.0, "break", at_s=2.0, for_s=0.03)
    (whole,) = watch(a_watcher(), block)
    (cut,) = watch(a_watcher(), *blocks_of(block, samples))
    assert cut.kind is whole.kind
    assert cut.start_s == pytest.approx(whole.start_s, abs=1e-9)
    assert cut.duration_s == pytest.approx(whole.duration_s, abs=1e-9)


def test_finer_resolution_finds_what_a_coarser_one_passes_over() -> None:
    t = times(3.0)
    block = a_line(3.0, relative=np.where((t >= 2.0) & (t < 2.0006), 0.0, 1.0), snr_db=34.0)
    assert watch(a_watcher(), block) == []
    (dropout,) = watch(a_watcher(resolution_s=2e-4), block)
    assert dropout.duration_s == pytest.approx(0.6e-3, abs=0.2e-3)
