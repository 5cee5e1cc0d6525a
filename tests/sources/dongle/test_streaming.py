"""What is streamed is what was on the air, gap-free, at the frequency where it was."""

import time
from pathlib import Path

import numpy as np
import pytest

from calib.correction import Correction
from sniff.errors import SourceError
from sniff.sources.dongle.settling import SettlingRule
from tests.sources.dongle.conftest import Standin
from tests.sources.dongle.listening import joined, tone


@pytest.mark.parametrize(
    ("tuner", "center_hz", "rate_hz", "ppm"),
    [
        ("r820t", 83.9e6, 2.4e6, 37.4),
        ("r820t", 1090.3e6, 2.048e6, -61.0),
        ("r820t", 446.1e6, 250e3, 0.0),
        ("r828d", 172.7e6, 1.024e6, 12.5),
        ("v4", 10.9e6, 2.4e6, 25.0),
        ("e4000", 901.2e6, 2.4e6, 31.0),
    ],
)
def test_a_tone_is_indicated_where_the_clock_error_puts_it(
    standin: Standin, tuner: str, center_hz: float, rate_hz: float, ppm: float
) -> None:
    true_hz = center_hz + 0.11 * rate_hz
    standin.set(tuner=tuner, ppm=ppm, tone_hz=true_hz, tone_dbfs=-30, pace=8)
    source = standin.open(center_hz=center_hz, rate_hz=rate_hz)
    indicated_hz, _ = tone(source.stream(seconds=0.1))
    source.close()
    correction = Correction(ppm=ppm, u_ppm=0.0, origin="the stand-in's")
    # Indicated = true / (1 + e) holds for tuner and sampler together, whatever the tuner's steps;
    # the converter of v4 is clocked by the same crystal.
    assert indicated_hz == pytest.approx(correction.indicate(true_hz), abs=0.5)


def test_direct_sampling_hears_the_if(standin: Standin) -> None:
    standin.set(tone_hz=10.7e6, tone_dbfs=-20, ppm=50)
    source = standin.open(center_hz=10.5e6, direct="q")
    indicated_hz, level_dbfs = tone(source.stream(seconds=0.1))
    source.close()
    assert indicated_hz == pytest.approx(10.7e6 / (1 + 50e-6), abs=0.5)
    assert level_dbfs == pytest.approx(-20, abs=0.1)


def test_levels_follow_the_gain_to_the_tenth_of_a_decibel(standin: Standin) -> None:
    standin.set(tone_dbfs=-25)
    source = standin.open()
    levels = {}
    for gain_db in (2.7, 12.5, 20.7):
        source.set_gain(gain_db)
        levels[gain_db] = tone(source.stream(seconds=0.05))[1]
    source.close()
    for gain_db, level_dbfs in levels.items():
        assert level_dbfs == pytest.approx(-25 + gain_db, abs=0.1)


def test_a_stream_is_gap_free_and_exactly_as_long_as_asked(standin: Standin) -> None:
    source = standin.open()
    blocks = list(source.stream(seconds=0.73))
    source.close()
    samples, rate_hz, _ = joined(blocks)
    assert samples.size == round(0.73 * rate_hz)
    assert source.lost_samples == 0
    # 0.05 s a block: short enough for a live display, long enough to cost little.
    assert {block.samples.size for block in blocks[:-1]} == {120_000}


@pytest.mark.parametrize("pause_s", [0.0, 0.15])
def test_bytes_come_as_the_dongle_sent_them_to_a_slow_reader_too(
    standin: Standin, tmp_path: Path, pause_s: float
) -> None:
    sent = np.random.default_rng(5).integers(0, 256, 2 * 240_000, dtype=np.uint8)
    (tmp_path / "sent").write_bytes(sent.tobytes())
    standin.set(file=tmp_path / "sent", pace=8)
    source = standin.open()
    stream = source.stream_raw(seconds=2.0)
    first = next(stream)
    time.sleep(pause_s)  # 1.2 s of the dongle's time: the driver uses its buffers again
    for block in (first, *stream):
        # The file is served over and over from the dongle's first sample on.
        place = 2 * (block.index + np.arange(block.native.size // 2)) % sent.size
        expected = np.stack((sent[place], sent[place + 1]), axis=1).ravel()
        assert np.array_equal(block.native, expected)
        iq = block.to_iq()
        scaled = (block.native.astype(np.float32) - np.float32(127.5)) / np.float32(127.5)
        assert np.array_equal(iq.samples.view(np.float32), scaled)
        assert (iq.index, iq.center_hz, iq.rate_hz) == (block.index, block.center_hz, 2.4e6)


def test_time_goes_on_between_two_streams(standin: Standin) -> None:
    standin.set(pace=1)
    source = standin.open()
    source_wait_s = 0.2
    betweens_s = []
    for _ in range(3):
        first = list(source.stream(seconds=0.05))
        source._session.wait_closed(source_wait_s)
        second = list(source.stream(seconds=0.05))
        betweens_s.append((second[0].index - first[-1].end_index) / 2.4e6)
    source.close()
    # A buffer, 3.4 ms, begins before it is asked for; a busy machine may be late, but not always.
    assert any(source_wait_s - 0.004 <= s < source_wait_s + 0.1 for s in betweens_s), betweens_s


@pytest.mark.parametrize(("while_streaming", "pause_s"), [(False, 0.0), (True, 0.0), (True, 0.15)])
def test_after_a_retuning_nothing_of_the_old_tuning_is_heard(
    standin: Standin, while_streaming: bool, pause_s: float
) -> None:
    standin.set(pace=1, tone_dbfs=-25)
    source = standin.open()
    stream = source.stream(seconds=None)
    before = next(stream)
    if not while_streaming:
        stream.close()
        stream = source.stream(seconds=None)
    time.sleep(pause_s)  # so long, samples of the old tuning pile up
    center_hz = source.tune(110e6)  # the tone is no longer in the span
    block = next(stream)
    while block.center_hz != center_hz:
        # What waited in the queue is of the old tuning, and says so.
        assert np.abs(block.samples).mean() > 0.3
        block = next(stream)
    source.close()
    assert np.abs(before.samples).mean() > 0.3
    assert np.abs(block.samples).max() < 0.1
    # At least the lock time of 5 ms lies between (data sheet), and no more than the rule allows.
    assert block.index > before.end_index + 0.005 * 2.4e6


def test_a_tuner_that_settles_slowly_is_waited_for(standin: Standin) -> None:
    gaps_s = {}
    for settle_ms in (1, 60):
        standin.set(pace=1, tone_dbfs=-25, settle_ms=settle_ms)
        source = standin.open(rule=SettlingRule(most_s=0.2))
        next(iter(source.stream(seconds=0.05)))
        source.tune(100.2e6)
        retuned = source._session.index_now()
        (block,) = source.stream(seconds=0.02)
        source.close()
        gaps_s[settle_ms] = (block.index - retuned) / 2.4e6
        halves = np.array_split(block.samples, 2)
        turns = [np.angle(np.vdot(half[:-1], half[1:])) for half in halves]
        assert abs(turns[0] - turns[1]) * 2.4e6 / (2 * np.pi) < 40e3
    assert 0.008 < gaps_s[1] < 0.03
    assert gaps_s[60] > gaps_s[1] + 0.003


def test_the_waiting_is_a_setting(standin: Standin) -> None:
    standin.set(pace=1)
    source = standin.open(rule=SettlingRule(least_s=0.1, most_s=0.1))
    source.tune(100.2e6)
    retuned = source._session.index_now()
    (block,) = source.stream(seconds=0.02)
    source.close()
    assert 0.1 <= (block.index - retuned) / 2.4e6 < 0.13


def test_a_take_reads_the_same_twice(standin: Standin) -> None:
    source = standin.open()
    take = source.take(seconds=0.2)
    first, again = list(take.blocks()), list(take.blocks())
    assert take.seconds == pytest.approx(0.2)
    assert take.center_hz == source.info.centers_hz[0]
    assert len(first) == len(again) == 4
    for one, other in zip(first, again, strict=True):
        assert np.array_equal(one.samples, other.samples)
    source.close()
    with pytest.raises(SourceError, match="closed"):
        list(take.blocks())


def test_a_take_that_was_tuned_away_before_it_was_read_is_refused(standin: Standin) -> None:
    source = standin.open()
    take = source.take(seconds=0.1)
    source.tune(101e6)
    with pytest.raises(SourceError, match="set anew before a take was read"):
        list(take.blocks())
    source.close()


def test_two_readings_at_once_are_refused(standin: Standin) -> None:
    source = standin.open()
    first = source.stream(seconds=None)
    next(first)
    second = source.stream(seconds=0.1)
    next(second)
    with pytest.raises(SourceError, match="one at a time"):
        for _ in first:
            pass
    assert sum(block.samples.size for block in second) == 120_000
    source.close()


@pytest.mark.parametrize("seconds", [0.0, -1.0, float("nan"), float("inf")])
def test_a_length_that_is_none_is_refused(standin: Standin, seconds: float) -> None:
    source = standin.open()
    with pytest.raises(SourceError, match="ask for more than 0"):
        source.stream(seconds=seconds)
    with pytest.raises(SourceError, match="has no end"):
        source.take(seconds=None)
    source.close()
