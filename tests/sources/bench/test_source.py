"""The bench as a source: its time, its settings, its takes; the same calls, the same samples."""

import itertools
from contextlib import closing

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.errors import SourceError
from sniff.sources.bench.noise import lo_phase, lo_phase_response, thermal
from sniff.sources.bench.pacer import Pacer
from sniff.sources.bench.passband import Passband
from sniff.sources.bench.schema import (
    Break,
    Dongle,
    Hand,
    IfAmplifier,
    Joint,
    Modulation,
    Place,
    Tone,
)
from tests.sources.bench.measure import bench, carrier, center_hz, heard, strongest_hz

RATE_HZ = 240e3


def lively_bench(**more):
    """Everything that depends on chance or on the past."""
    hand = Hand(
        course=(Place(at_s=0.05, mm=100), Place(at_s=0.1, mm=5), Place(at_s=0.2, mm=100)),
        pull_hz=-500,
        damp_db=10,
        every_s=0.3,
    )
    modulation = Modulation(
        tones=(Tone(audio_hz=1e3, deviation_hz=2e3),), speech_deviation_hz=1e3, hum_percent=5
    )
    return bench(
        carrier(83.4631e6, -20, wander_ppm=1, joint=Joint(connected_s=0.05, open_s=0.02)),
        carrier(83.5213e6, -30, hand=hand, modulation=modulation),
        dongle=Dongle(error_ppm=30, warm_up_ppm=-3, if_amplifier=IfAmplifier.AUTOMATIC),
        **more,
    )


@settings(max_examples=20)
@given(
    block=st.integers(1_000, 70_000),
    cuts=st.lists(st.integers(1, 20_000), min_size=1, max_size=6),
)
def test_the_samples_do_not_depend_on_the_blocks_nor_on_how_a_time_is_cut_up(block, cuts):
    whole = heard(lively_bench(), sum(cuts) / RATE_HZ)
    source = lively_bench(block_samples=block)
    pieces = np.concatenate([heard(source, cut / RATE_HZ) for cut in cuts])
    assert np.array_equal(whole, pieces)


def test_the_same_calls_give_the_same_samples_and_another_seed_others():
    def calls(seed):
        source = lively_bench(seed=seed)
        first = heard(source, 0.1)
        source.tune(83.51e6)
        source.set_gain(33.0)
        return np.concatenate([first, heard(source, 0.1)])

    assert np.array_equal(calls(7), calls(7))
    assert not np.array_equal(calls(7), calls(8))


def test_noise_does_not_repeat():
    source = bench(dongle=Dongle())
    samples = heard(source, 1.0)
    spectrum = np.fft.fft(samples - samples.mean(), 2 * samples.size)
    likeness = np.abs(np.fft.ifft(np.abs(spectrum) ** 2))[: samples.size]
    # Random samples are alike by 1 / sqrt(n); what the filter joins lies within 100 samples.
    assert likeness[200:].max() < 8 * likeness[0] / np.sqrt(samples.size)


def test_no_seam_shows_between_two_chunks_of_noise():
    """Narrow noise at a high rate changes little from sample to sample, at a seam as elsewhere;
    chunks that did not know of each other would jump by their whole size."""
    response = Passband(if_width_hz=290e3, rate_hz=2.4e6).noise_response()
    thermals = [thermal(response, rms=1.0, seed=1, chunk=chunk) for chunk in range(30)]
    slow = lo_phase_response(-90.0, loop_hz=20e3, rate_hz=2.4e6)
    phases = [lo_phase(slow, seed=1, chunk=chunk) for chunk in range(30)]
    for chunks in (thermals, phases):
        steps = [np.abs(later[0] - former[-1]) for former, later in itertools.pairwise(chunks)]
        inside = np.abs(np.diff(chunks[3]))
        size = np.sqrt(np.mean(np.abs(chunks[3]) ** 2))
        assert np.mean(steps) == pytest.approx(np.mean(inside), rel=0.4)
        assert np.mean(inside) < size / 3


def test_time_goes_on_over_a_retuning_by_what_the_tuner_needs_to_settle():
    source = bench(carrier(83.4631e6), dongle=Dongle(settle_s=0.02))
    first = list(source.stream(seconds=0.1))
    assert first[0].index == round(0.02 * RATE_HZ)
    indicated_hz = source.tune(83.44e6)
    later = list(source.stream(seconds=0.1))
    assert later[0].index - first[-1].end_index == round(0.02 * RATE_HZ)
    assert {block.center_hz for block in later} == {indicated_hz}
    assert source.info.centers_hz == (indicated_hz,)
    assert indicated_hz != 83.44e6  # the synthesiser steps by 13.7 or 27.5 Hz
    assert indicated_hz == pytest.approx(83.44e6, abs=20)


def test_a_fault_goes_on_while_the_bench_is_tuned_elsewhere():
    joint = Joint(breaks=(Break(at_s=0.3, for_s=0.3),))
    source = bench(carrier(83.4631e6, joint=joint))
    assert np.abs(heard(source, 0.2)).mean() > 0.4
    source.tune(90e6)
    assert np.abs(heard(source, 0.2)).mean() < 0.1
    source.tune(83.5e6)
    again = np.abs(heard(source, 0.3))
    assert again[: round(0.1 * RATE_HZ)].mean() < 0.1
    assert again[-round(0.1 * RATE_HZ) :].mean() > 0.4


def test_a_stream_follows_a_retuning_from_the_next_block_on():
    source = bench(carrier(83.4631e6), block_samples=24_000)
    stream = source.stream(seconds=None)
    before = next(stream)
    source.tune(83.41e6)
    after = next(stream)
    assert after.index > before.end_index
    for block in (before, after):
        found_hz = block.center_hz + strongest_hz(block.samples, RATE_HZ)
        assert found_hz == pytest.approx(83.4631e6, abs=20)


def test_a_take_reads_the_same_twice_and_time_goes_on_from_take_to_take():
    source = lively_bench()
    take = source.take(seconds=0.2)
    once = np.concatenate([block.samples for block in take.blocks()])
    twice = np.concatenate([block.samples for block in take.blocks()])
    assert once.size == round(0.2 * RATE_HZ)
    assert np.array_equal(once, twice)
    assert take.seconds == pytest.approx(0.2)
    following = source.take(seconds=0.1)
    last = list(take.blocks())[-1].end_index
    assert next(iter(following.blocks())).index == last
    source.close()
    with pytest.raises(SourceError, match="closed"):
        list(take.blocks())


def test_a_take_that_was_not_read_before_a_retuning_says_so():
    source = bench(carrier(83.4631e6))
    take = source.take(seconds=0.1)
    source.tune(90e6)
    with closing(source), pytest.raises(SourceError, match="set anew before a take was read"):
        list(take.blocks())


@pytest.mark.parametrize("seconds", [0.0, -1.0, float("nan"), float("inf")])
def test_a_length_that_is_none_is_refused(seconds):
    source = bench()
    with pytest.raises(SourceError, match="cannot be read"):
        source.stream(seconds=seconds)


def test_a_take_without_length_is_refused():
    with pytest.raises(SourceError, match="has no end"):
        bench().take(seconds=None)


def test_a_closed_bench_gives_nothing_more():
    source = bench()
    stream = source.stream(seconds=1.0)
    next(stream)
    source.close()
    source.close()
    with pytest.raises(SourceError, match="closed"):
        next(stream)
    with pytest.raises(SourceError, match="closed"):
        source.tune(83e6)


@pytest.mark.parametrize(
    ("asked_hz", "made_hz"),
    # the facts sheet of the dongle, 3.8: rates that are exact, and one that is not
    [(240e3, 240e3), (250e3, 250000.000414), (1.024e6, 1.024e6), (2.4e6, 2.4e6)],
)
def test_the_rate_is_what_the_resampler_makes(asked_hz, made_hz):
    source = bench(rate_hz=asked_hz)
    assert source.info.rate_hz == pytest.approx(made_hz, abs=1e-6)
    assert next(source.stream(seconds=0.01)).rate_hz == source.info.rate_hz


@pytest.mark.parametrize("rate_hz", [100e3, 500e3, 4e6])
def test_a_rate_the_chip_cannot_do_is_refused(rate_hz):
    with pytest.raises(SourceError, match="none the chip can do"):
        bench(rate_hz=rate_hz)


def test_what_the_bench_says_of_itself():
    info = bench().info
    assert (info.kind, info.name, info.datatype, info.rail) == ("bench", "bench:test", "cu8", 1.0)
    assert info.tunable
    assert info.duration_s is None
    assert info.clock_hz == 28.8e6


class Watch:
    """A clock that only sleeping, or work, moves on."""

    def __init__(self):
        self.now_s = 100.0
        self.slept_s = []

    def now(self):
        return self.now_s

    def sleep(self, seconds):
        assert seconds >= 0
        self.slept_s.append(seconds)
        self.now_s += seconds


def test_a_paced_bench_gives_a_block_no_sooner_than_it_has_passed():
    watch = Watch()
    source = bench(pacer=Pacer(watch.now, watch.sleep))
    begin_s = None
    for block in source.stream(seconds=2.0):
        end_s = block.end_index / RATE_HZ
        begin_s = watch.now_s - end_s if begin_s is None else begin_s
        assert watch.now_s == pytest.approx(begin_s + end_s, abs=1e-9)
        assert block.samples.size <= 0.05 * RATE_HZ + 1
        watch.now_s += 0.01  # work that takes less than a block
    assert sum(watch.slept_s) == pytest.approx(2.0 - 0.05 - 0.01 * 39, abs=0.02)


def test_a_paced_bench_that_was_left_alone_does_not_hurry_after():
    watch = Watch()
    source = bench(pacer=Pacer(watch.now, watch.sleep))
    stream = source.stream(seconds=None)
    next(stream)
    next(stream)
    watch.now_s += 60.0
    next(stream)
    left_s = watch.now_s
    for _ in range(4):
        next(stream)
    assert watch.now_s - left_s == pytest.approx(4 * 0.05, abs=1e-6)


def test_a_late_pacer_never_sleeps_less_than_nothing():
    watch = Watch()
    pacer = Pacer(watch.now, watch.sleep)
    for number in range(2000):
        watch.now_s += 0.1 / 3.0 + 0.013 * (number % 7)  # late, by lengths that no float holds
        pacer.wait(number / 30.0)
    assert min(watch.slept_s) == 0.0


def test_samples_are_tuned_to_the_indicated_centre():
    source = bench(carrier(83.4631e6))
    assert center_hz(source) == next(source.stream(seconds=0.01)).center_hz
