"""Following a line: its mean frequency step by step, and honest holes where it was not heard.

Truth is the closed form of the frequency that was put into the samples, and the bench's own clock.
"""

from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np
import pytest

from sniff.errors import SourceError, UsageError
from sniff.following import Pace, Point, follow, pace_for, points_of
from sniff.model import IQBlock, SourceInfo, Take
from sniff.recording import Stopped
from sniff.sources.bench.schema import Dongle, Emitter, Line, Scene
from sniff.sources.bench.source import BenchSource

RATE_HZ = 20_000.0
CENTER_HZ = 100e6
INDEX = 12_345
Course = Callable[[np.ndarray], np.ndarray]


class Planted:
    """Samples of a line whose phase against time is a closed form, block by block."""

    def __init__(
        self,
        cycles: Course,
        *,
        amplitude: Course = lambda t: np.full(t.size, 0.1),
        noise: float = 0.01,
        lost: tuple[tuple[float, float], ...] = (),
        block: int = 3_777,
        fails_at_s: float = np.inf,
        interrupted_at_s: float = np.inf,
    ) -> None:
        self._cycles, self._amplitude, self._noise = cycles, amplitude, noise
        self._lost, self._block = lost, block
        self._fails_at_s, self._interrupted_at_s = fails_at_s, interrupted_at_s

    @property
    def info(self) -> SourceInfo:
        return SourceInfo(
            kind="recording",
            name="planted",
            datatype="cf32_le",
            rail=1.0,
            rate_hz=RATE_HZ,
            centers_hz=(CENTER_HZ,),
            duration_s=None,
            tunable=False,
        )

    def tune(self, center_hz: float) -> float:
        return CENTER_HZ

    def set_gain(self, gain_db: float | None) -> float | None:
        raise SourceError("no gain")

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> Take:
        raise AssertionError("a track must not be kept for a second reading")

    def close(self) -> None: ...

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        assert seconds is not None
        rng = np.random.default_rng(1)
        total = round(seconds * RATE_HZ)
        edges = [*range(0, total, self._block), total]
        for first, stop in pairwise(edges):
            t = np.arange(first, stop) / RATE_HZ
            if t[-1] > self._interrupted_at_s:
                raise KeyboardInterrupt
            if t[-1] > self._fails_at_s:
                raise SourceError("planted: it went away")
            if any(a <= t[0] and t[-1] <= b for a, b in self._lost):
                continue
            turns = self._cycles(t)
            line = self._amplitude(t) * np.exp(2j * np.pi * (turns % 1.0))
            noise = rng.standard_normal((2, t.size)) * self._noise / np.sqrt(2.0)
            yield IQBlock(
                samples=(line + noise[0] + 1j * noise[1]).astype(np.complex64),
                rate_hz=RATE_HZ,
                center_hz=CENTER_HZ,
                index=INDEX + first,
            )


def drifting(start_hz: float, hz_per_s: float) -> Course:
    return lambda t: start_hz * t + 0.5 * hz_per_s * t**2


PACE = Pace(seconds=40.0, step_s=2.0, mean_s=2.0)


def track(
    source: Planted, *, pace: Pace = PACE, line_hz: float = CENTER_HZ - 3_000.0
) -> list[Point]:
    return list(points_of(source, line_hz=line_hz, pace=pace))


def test_each_point_is_the_mean_over_its_step_of_a_line_that_drifts() -> None:
    """A line that moves by k Hz/s has, over a step, the frequency of the step's middle."""
    source = Planted(drifting(-3_050.0, 12.0))
    points = track(source)
    assert [point.time_s for point in points] == pytest.approx(np.arange(20) * 2.0 + 1.0)
    truth = CENTER_HZ - 3_050.0 + 12.0 * (np.arange(20) * 2.0 + 1.0)
    found = np.array([point.indicated_hz for point in points], dtype=float)
    u = np.array([point.u_hz for point in points], dtype=float)
    assert np.abs(found - truth).max() < 0.2
    assert np.mean(np.abs(found - truth) <= 2.0 * u + 0.01) > 0.8
    assert points[3].level_dbfs == pytest.approx(-20.0, abs=0.2)


def test_u_is_the_scatter_of_the_points_about_the_truth() -> None:
    points = track(
        Planted(drifting(-2_990.0, 0.0), noise=0.1), pace=Pace(seconds=200, step_s=2, mean_s=2)
    )
    errors = np.array([(p.indicated_hz or np.nan) - CENTER_HZ + 2_990.0 for p in points])
    u = np.array([p.u_hz for p in points], dtype=float)
    assert errors.std() == pytest.approx(np.sqrt((u**2).mean()), rel=0.25)


def test_a_line_that_fades_out_is_unobserved_and_found_again_where_it_went() -> None:
    def amplitude(t: np.ndarray) -> np.ndarray:
        return np.where((t > 10.0) & (t < 24.0), 0.0, 0.1)

    points = track(Planted(drifting(-3_000.0, 15.0), amplitude=amplitude))
    heard = [point.indicated_hz is not None for point in points]
    assert heard == [True] * 5 + [False] * 7 + [True] * 8
    assert not any(point.lost for point in points)
    assert points[12].indicated_hz == pytest.approx(CENTER_HZ - 3_000.0 + 15.0 * 25.0, abs=0.5)


def test_a_weaker_line_is_not_taken_for_a_reference_that_went() -> None:
    source = Planted(
        drifting(-3_000.0, 0.0), amplitude=lambda t: np.where(t > 10.0, 0.1 * 10**-1.2, 0.1)
    )
    points = track(source)
    assert [point.indicated_hz is not None for point in points] == [True] * 5 + [False] * 15


def test_lost_samples_are_a_hole_of_their_own_length() -> None:
    points = track(Planted(drifting(-3_000.0, 2.0), lost=((9.0, 17.0),)))
    assert [n for n, point in enumerate(points) if point.indicated_hz is None] == [4, 5, 6, 7, 8]
    assert [n for n, point in enumerate(points) if point.lost] == [5, 6, 7]
    assert points[9].indicated_hz == pytest.approx(CENTER_HZ - 3_000.0 + 2.0 * 19.0, abs=0.1)


def test_a_short_loss_does_not_shift_the_mean_of_a_line_that_drifts() -> None:
    points = track(Planted(drifting(-3_050.0, 12.0), lost=((6.1, 6.4),), block=400))
    truth = CENTER_HZ - 3_050.0 + 12.0 * 7.0
    assert points[3].indicated_hz == pytest.approx(truth, abs=0.05)


def test_noise_alone_is_never_a_line() -> None:
    points = track(Planted(drifting(0.0, 0.0), amplitude=lambda t: np.zeros(t.size)))
    assert all(point.indicated_hz is None and not point.lost for point in points)


@pytest.mark.parametrize("block", [97, 20_000, 65_536])
def test_block_lengths_make_no_difference(block: int) -> None:
    pace = Pace(seconds=6.0, step_s=2.0, mean_s=2.0)
    usual = track(Planted(drifting(-3_000.0, 5.0), noise=0.0), pace=pace)
    other = track(Planted(drifting(-3_000.0, 5.0), noise=0.0, block=block), pace=pace)
    assert [point.indicated_hz for point in other] == pytest.approx(
        [point.indicated_hz for point in usual], abs=1e-4
    )


def test_what_was_followed_before_an_interrupt_or_a_failure_counts() -> None:
    stopped = follow(
        points_of(
            Planted(drifting(-3_000.0, 0.0), interrupted_at_s=11.0),
            line_hz=CENTER_HZ - 3_000.0,
            pace=PACE,
        )
    )
    assert stopped.stopped is Stopped.INTERRUPTED
    assert len(stopped.points) == 5
    failed = follow(
        points_of(
            Planted(drifting(-3_000.0, 0.0), fails_at_s=11.0),
            line_hz=CENTER_HZ - 3_000.0,
            pace=PACE,
        )
    )
    assert failed.stopped is Stopped.SOURCE
    assert failed.trouble == "planted: it went away"
    assert len(failed.points) == 5


def test_a_source_that_fails_at_once_is_an_error() -> None:
    with pytest.raises(SourceError, match="went away"):
        follow(points_of(Planted(drifting(0.0, 0.0), fails_at_s=0.1), line_hz=CENTER_HZ, pace=PACE))


def test_the_number_of_points_is_bounded_whatever_the_length() -> None:
    assert pace_for(1800.0, skipping=False) == Pace(seconds=1800.0, step_s=5.0, mean_s=5.0)
    assert pace_for(1800.0, skipping=True) == Pace(seconds=1800.0, step_s=5.0, mean_s=0.5)
    assert pace_for(1800.0, skipping=False).steps == 360
    assert pace_for(60.0, skipping=False).steps == 60
    for seconds in (60.0, 100.0, 601.0, 86_400.0, 30 * 86_400.0):
        pace = pace_for(seconds, skipping=False)
        assert 60 <= pace.steps <= 2160
    with pytest.raises(UsageError, match="too short"):
        pace_for(59.0, skipping=False)


SCENE = Scene(
    title="a standard, and a dongle from cold",
    rate_hz=250e3,
    center_hz=99.96e6,
    gain_db=40.2,
    dongle=Dongle(error_ppm=-31.0, warm_up_ppm=8.0, warm_up_s=20.0),
    emitters=(Emitter(name="standard", oscillator_hz=100e6, lines=(Line(level_dbfs=-30),)),),
)


def test_a_bench_that_is_heard_now_and_then_tells_the_same_course() -> None:
    """The bench's clock runs fast by ``e + w exp(-t / tau)``; the mean over a stay of the
    exponential is ``exp(-t / tau) sinh(h) / h``, h half the stay over tau."""
    pace = Pace(seconds=60.0, step_s=3.0, mean_s=0.5)
    bench = BenchSource(replace_settle(SCENE), name="bench")
    bench.tune(99.96e6)
    points = list(points_of(bench, line_hz=100e6 / (1.0 - 23e-6), pace=pace))
    t = np.array([point.time_s for point in points])
    found = np.array([1e6 * (100e6 / (point.indicated_hz or np.nan) - 1.0) for point in points])
    h = 0.25 / 20.0
    truth = -31.0 + 8.0 * np.exp(-t / 20.0) * np.sinh(h) / h
    assert np.abs(found - truth).max() < 0.002


def replace_settle(scene: Scene) -> Scene:
    """Without settling after a tuning, so that the track begins with the bench's time."""
    return scene.model_copy(update={"dongle": scene.dongle.model_copy(update={"settle_s": 0.0})})
