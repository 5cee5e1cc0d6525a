"""The course: rows, columns, gaps and merging against what each segment's power must be."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.course import MAX_COLUMNS, MAX_ROWS, CourseRecorder, course_segment
from sniff.errors import UsageError
from sniff.model import Course, IQBlock
from sniff.resolution import SpectrumSettings
from sniff.spectrum import Welch

RATE_HZ = 100e3
CENTER_HZ = 85.4e6


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortTake:
    """Samples in blocks of 1,000, some of them left out."""

    samples: np.ndarray
    lost: range = range(0)
    center_hz: float = CENTER_HZ
    rate_hz: float = RATE_HZ

    @property
    def seconds(self) -> float:
        return self.samples.size / self.rate_hz

    def blocks(self) -> Iterator[IQBlock]:
        for at in range(0, self.samples.size, 1000):
            if at not in self.lost:
                yield IQBlock(
                    samples=self.samples[at : at + 1000].astype(np.complex64),
                    rate_hz=self.rate_hz,
                    center_hz=self.center_hz,
                    index=at,
                )


def tone(n: int, offset_hz: float, power: float) -> np.ndarray:
    return np.sqrt(power) * np.exp(2j * np.pi * offset_hz / RATE_HZ * np.arange(n))


def noise(n: int, power: float, seed: int = 1) -> np.ndarray:
    values = np.random.default_rng(seed).normal(scale=np.sqrt(power / 2), size=2 * n)
    return values.view(np.complex128)


def frequencies_hz(course: Course) -> np.ndarray:
    return course.first_hz + course.column_hz * np.arange(course.tone_power.shape[1])


def times_s(course: Course) -> np.ndarray:
    """Middle of each row."""
    return course.start_s + course.row_s * (0.5 + np.arange(course.tone_power.shape[0]))


def recorded(take: ShortTake, asked: SpectrumSettings, **limits: float | None) -> Course:
    """The course of a whole take; its length is not known unless it is said."""
    tuning = {"rate_hz": take.rate_hz, "center_hz": take.center_hz}
    recorder = CourseRecorder(asked, **tuning, **limits)
    welch = Welch(asked, **tuning, observers=[recorder])
    for block in take.blocks():
        welch.push(block)
    welch.result()
    return recorder.result()


def record_course(take: ShortTake, asked: SpectrumSettings) -> Course:
    return recorded(take, asked, seconds=take.seconds or None)


def test_an_intermittent_line_shows_when_and_where_it_is_on() -> None:
    # 2 s; a line below the centre, on from 0.5 to 0.8 s and from 1.1 to 1.9 s.
    samples = noise(200_000, 1e-3)
    for on, off in ((50_000, 80_000), (110_000, 190_000)):
        samples[on:off] += tone(off - on, -17e3, 0.01)
    course = record_course(ShortTake(samples=samples), SpectrumSettings(segment=1000))
    column = int(np.argmin(abs(frequencies_hz(course) - (CENTER_HZ - 17e3))))
    line = course.tone_power[:, column]
    t = times_s(course)
    half_s = 500 / RATE_HZ  # a segment that is half on is neither
    on = ((t > 0.5 + half_s) & (t < 0.8 - half_s)) | ((t > 1.1 + half_s) & (t < 1.9 - half_s))
    off = (t < 0.5 - half_s) | ((t > 0.8 + half_s) & (t < 1.1 - half_s)) | (t > 1.9 + half_s)
    assert on.sum() > 150
    assert off.sum() > 120
    np.testing.assert_allclose(line[on], 0.01, rtol=0.15)
    # Noise in one bin of 1,000: power * ENBW / n, exponentially distributed.
    assert line[off].mean() == pytest.approx(1e-3 * 1.5 / 1000, rel=0.2)
    others = np.delete(course.tone_power, range(column - 1, column + 2), axis=1)
    assert others[on | off].max() < 1e-4  # keying splatters, but only at its edges


def test_a_row_stands_for_the_time_in_which_its_segments_have_their_middles() -> None:
    # An impulse shows in the segments that hold it, most in the one whose middle it is.
    samples = np.zeros(4000)
    samples[1550] = 1.0
    course = record_course(ShortTake(samples=samples), SpectrumSettings(segment=100))
    assert course.row_s == pytest.approx(50 / RATE_HZ)
    row = int(course.tone_power.mean(axis=1).argmax())
    assert times_s(course)[row] == pytest.approx(1550 / RATE_HZ)
    # The Hann window is 1 there: one sample of power 1 spread by |w|² / sum(w)².
    np.testing.assert_allclose(course.tone_power[row], 1 / 50**2, rtol=1e-5)


def test_a_row_is_the_mean_of_its_segments_spectra() -> None:
    samples = noise(60_000, 0.1)
    course = recorded(
        ShortTake(samples=samples), SpectrumSettings(segment=100), seconds=0.6, max_rows=10
    )
    # By the definition: 1199 segments of hop 50, 120 to a row, low frequencies first.
    shape = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(100) / 100)
    parts = np.array([samples[s : s + 100] for s in range(0, 59_901, 50)])
    power = np.abs(np.fft.fftshift(np.fft.fft(parts * shape, axis=1), axes=1)) ** 2 / 50**2
    assert course.row_s == pytest.approx(120 * 50 / RATE_HZ)
    for row, mean in enumerate(course.tone_power):
        np.testing.assert_allclose(mean, power[120 * row : 120 * row + 120].mean(axis=0), rtol=1e-5)


def test_a_column_shows_the_largest_of_its_bins() -> None:
    samples = tone(20_000, -31e3, 0.5) + tone(20_000, 12e3, 0.02)
    fine = recorded(ShortTake(samples=samples), SpectrumSettings(segment=1000))
    coarse = recorded(ShortTake(samples=samples), SpectrumSettings(segment=1000), max_columns=130)
    # 8 bins to a column; the last of 125 is full.
    assert coarse.tone_power.shape == (fine.tone_power.shape[0], 125)
    expected = fine.tone_power.reshape(-1, 125, 8).max(axis=2)
    np.testing.assert_array_equal(coarse.tone_power, expected)
    assert coarse.column_hz == pytest.approx(800.0)
    for offset_hz, power in ((-31e3, 0.5), (12e3, 0.02)):
        column = int(np.argmin(abs(frequencies_hz(coarse) - (CENTER_HZ + offset_hz))))
        np.testing.assert_allclose(coarse.tone_power[:, column], power, rtol=1e-4)


def test_unobserved_time_is_neither_present_nor_absent() -> None:
    samples = tone(40_000, -20e3, 0.1)
    take = ShortTake(samples=samples, lost=range(10_000, 25_000))
    course = record_course(take, SpectrumSettings(segment=200))
    t = times_s(course)
    unseen = np.isnan(course.tone_power).all(axis=1)
    assert np.isnan(course.tone_power).any(axis=1).tolist() == unseen.tolist()
    assert unseen[(t > 0.1) & (t < 0.25)].all()
    assert not unseen[(t < 0.099) | ((t > 0.251) & (t < 0.399))].any()
    column = int(np.argmin(abs(frequencies_hz(course) - (CENTER_HZ - 20e3))))
    np.testing.assert_allclose(course.tone_power[~unseen, column], 0.1, rtol=1e-5)


@settings(max_examples=40)
@given(segments=st.integers(1, 700), half_rows=st.integers(1, 20), lost_blocks=st.integers(0, 4))
def test_merged_rows_keep_the_mean_power_and_the_limit(
    segments: int, half_rows: int, lost_blocks: int
) -> None:
    take = ShortTake(
        samples=noise(16 * segments, 0.1, seed=segments),
        lost=range(2000, 2000 + 1000 * lost_blocks, 1000),
    )
    asked = SpectrumSettings(segment=16, overlap=0.0)
    tuning = {"rate_hz": RATE_HZ, "center_hz": CENTER_HZ}
    recorder = CourseRecorder(asked, **tuning, max_rows=2 * half_rows)
    welch = Welch(asked, **tuning, observers=[recorder])
    for block in take.blocks():
        welch.push(block)
    spectrum, course = welch.result(), recorder.result()
    rows = course.tone_power.shape[0]
    assert rows <= 2 * half_rows
    hops = round(course.row_s * RATE_HZ / 16)
    assert hops & (hops - 1) == 0  # doubled each time
    if not lost_blocks:
        in_row = np.full(rows, hops)
        in_row[-1] = segments - hops * (rows - 1)
        mean = in_row @ course.tone_power / segments
        np.testing.assert_allclose(mean, spectrum.tone_power, rtol=1e-4)


def test_merged_rows_weigh_by_what_was_observed() -> None:
    # One segment per row with powers 1, 4, nothing, 16, 25; two rows at most.
    recorder = CourseRecorder(
        SpectrumSettings(segment=16, overlap=0.0), rate_hz=16.0, center_hz=0.0, max_rows=2
    )
    for first_index, power in ((0, 1.0), (16, 4.0), (48, 16.0), (64, 25.0)):
        recorder.observe(np.full((1, 16), power, dtype=np.float32), first_index)
    course = recorder.result()
    assert course.row_s == 4.0
    np.testing.assert_allclose(course.tone_power[:, 0], [(1 + 4 + 16) / 3, 25.0])


def test_unobserved_rows_stay_so_after_a_merge() -> None:
    recorder = CourseRecorder(
        SpectrumSettings(segment=16, overlap=0.0), rate_hz=16.0, center_hz=0.0, max_rows=6
    )
    for first_segment in (0, 1, 2, 3, 4, 5, 6, 10):  # the seventh merges rows; 8 and 9 are lost
        recorder.observe(np.ones((1, 16), dtype=np.float32), 16 * first_segment)
    observed = ~np.isnan(recorder.result().tone_power[:, 0])
    assert observed.tolist() == [True, True, True, True, False, True]


def test_a_course_does_not_depend_on_threads() -> None:
    take = ShortTake(samples=noise(60_000, 0.1), lost=range(17_000, 22_000, 1000))
    one, two = (
        record_course(take, SpectrumSettings(segment=64, threads=threads)) for threads in (1, 2)
    )
    np.testing.assert_array_equal(one.tone_power, two.tone_power)


def test_after_a_gap_a_segment_goes_where_its_middle_lies() -> None:
    recorder = CourseRecorder(
        SpectrumSettings(segment=16, overlap=0.0), rate_hz=16.0, center_hz=0.0
    )
    for first_index in (0, 16 + 7, 48 + 9):
        recorder.observe(np.ones((1, 16), dtype=np.float32), first_index)
    observed = ~np.isnan(recorder.result().tone_power[:, 0])
    assert observed.tolist() == [True, True, False, False, True]


def test_a_known_length_gives_at_most_the_wanted_rows_at_once() -> None:
    samples = noise(333_333, 0.1)
    course = record_course(ShortTake(samples=samples), SpectrumSettings(segment=64))
    assert 2 * MAX_ROWS / 3 < course.tone_power.shape[0] <= MAX_ROWS
    # 333,333 / (32 * 600) = 17.4: 18 segments to a row.
    assert course.row_s == pytest.approx(18 * 32 / RATE_HZ)


def test_a_length_that_proves_too_short_merges_rows() -> None:
    samples = noise(50_000, 0.1)
    asked = SpectrumSettings(segment=50, overlap=0.0)
    course = recorded(ShortTake(samples=samples), asked, seconds=0.1, max_rows=10)
    assert course.row_s == pytest.approx(0.1 / 10 * 8)
    assert course.tone_power.shape[0] == 7  # 0.5 s in rows of 0.08 s


def test_the_course_can_be_read_while_it_grows() -> None:
    asked = SpectrumSettings(segment=16, overlap=0.0)
    recorder = CourseRecorder(
        asked, rate_hz=RATE_HZ, center_hz=CENTER_HZ, seconds=20 * 16 / RATE_HZ, max_rows=10
    )
    power = np.random.default_rng(2).exponential(size=(20, 16)).astype(np.float32)
    recorder.observe(power[:5], 0)
    early = recorder.result()
    recorder.observe(power[5:], 80)
    assert early.tone_power.shape[0] == 3
    expected = np.fft.fftshift(power, axes=1).reshape(10, 2, 16).mean(axis=1)
    np.testing.assert_allclose(recorder.result().tone_power, expected, rtol=1e-6)


def test_a_course_may_begin_at_any_sample() -> None:
    recorder = CourseRecorder(
        SpectrumSettings(segment=16, overlap=0.5), rate_hz=16.0, center_hz=0.0
    )
    recorder.observe(np.ones((3, 16), dtype=np.float32), 160)
    course = recorder.result()
    assert course.tone_power.shape[0] == 3
    # The first segment's middle is at 10.5 s, and its row is one hop long.
    assert course.start_s == pytest.approx(10.25)
    assert course.row_s == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("samples", "segment"), [(None, 4096), (10**8, 4096), (200_000, 1024), (500, 256)]
)
def test_a_short_pass_gets_short_segments(samples: int | None, segment: int) -> None:
    assert course_segment(samples) == segment
    assert segment <= 2 * MAX_COLUMNS


def test_a_take_shorter_than_a_segment_is_refused() -> None:
    with pytest.raises(UsageError, match="90 samples are too few"):
        record_course(ShortTake(samples=noise(90, 1.0)), SpectrumSettings(segment=100))


def test_a_course_of_nothing_is_refused() -> None:
    recorder = CourseRecorder(SpectrumSettings(segment=16), rate_hz=1.0, center_hz=0.0)
    with pytest.raises(ValueError, match="no segment"):
        recorder.result()


@pytest.mark.parametrize(
    "wrong", [{"max_rows": 3}, {"max_rows": 0}, {"max_columns": 0}, {"seconds": 0.0}]
)
def test_limits_that_make_no_sense_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"max_rows|seconds"):
        CourseRecorder(SpectrumSettings(segment=16), rate_hz=1.0, center_hz=0.0, **wrong)
