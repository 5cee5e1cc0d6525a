"""What a sweep costs beside what it waits for: all as ratios of one run."""

import time
import tracemalloc
from collections.abc import Iterator

import numpy as np
import pytest

from sniff.model import IQBlock, SourceInfo, Take
from sniff.sources.dongle import DongleSource
from sniff.sources.spool import SpooledTake
from sniff.sweep.hops import MOST_POINTS, Span, SweepSettings
from tests.sources.dongle.conftest import Standin, loaded, rtlsdr_library, standin
from tests.sweep.conftest import sweep_of
from tests.sweep.stage import Stage

__all__ = ["loaded", "rtlsdr_library", "standin"]

pytestmark = pytest.mark.timeout(300)

HUNDRED_MEGAHERTZ = Span(low_hz=60e6, high_hz=160e6)


class Timed:
    """A source that counts this thread's time inside it, and what was heard; obeys `Source`."""

    def __init__(self, inner: DongleSource) -> None:
        self._inner = inner
        self.inside_s = 0.0
        self.dwelt_s = 0.0

    @property
    def info(self) -> SourceInfo:
        return self._inner.info

    def tune(self, center_hz: float) -> float:
        begin_s = time.thread_time()
        real_hz = self._inner.tune(center_hz)
        self.inside_s += time.thread_time() - begin_s
        return real_hz

    def set_gain(self, gain_db: float | None) -> float | None:
        return self._inner.set_gain(gain_db)

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        return self.timed(self._inner.stream(seconds=seconds, start_s=start_s), dwelt=True)

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> Take:
        return _TimedTake(self._inner.take(seconds=seconds, start_s=start_s), self)

    def close(self) -> None:
        self._inner.close()

    def timed(self, blocks: Iterator[IQBlock], *, dwelt: bool) -> Iterator[IQBlock]:
        while True:
            begin_s = time.thread_time()
            block = next(blocks, None)
            self.inside_s += time.thread_time() - begin_s
            if block is None:
                return
            if dwelt:
                self.dwelt_s += block.samples.size / block.rate_hz
            yield block


class _TimedTake:
    def __init__(self, inner: SpooledTake, source: Timed) -> None:
        self._inner = inner
        self._source = source
        self._read = False

    @property
    def center_hz(self) -> float:
        return self._inner.center_hz

    @property
    def rate_hz(self) -> float:
        return self._inner.rate_hz

    @property
    def seconds(self) -> float:
        return self._inner.seconds

    def blocks(self) -> Iterator[IQBlock]:
        # Read again it comes from the disk, and is dwelt on once only.
        first, self._read = not self._read, True
        return self._source.timed(self._inner.blocks(), dwelt=first)

    def close(self) -> None:
        self._inner.close()


@pytest.mark.benchmark
@pytest.mark.parametrize("rbw_hz", [10e3, 1e3])
def test_a_hundred_megahertz_cost_less_than_a_quarter_of_the_dwelling(
    standin: Standin, capsys: pytest.CaptureFixture[str], rbw_hz: float
) -> None:
    standin.set(pace=1, tone_hz=100.1e6, tone_dbfs=-50, noise_dbfs=-60)
    source = Timed(standin.open())
    begin_s, begin_own_s = time.perf_counter(), time.thread_time()
    sweep = sweep_of(source, HUNDRED_MEGAHERTZ, SweepSettings(rbw_hz=rbw_hz, hold=True))
    whole_s = time.perf_counter() - begin_s
    own_s = time.thread_time() - begin_own_s - source.inside_s
    with capsys.disabled():
        print(
            f"\nsweep of 100 MHz, RBW {rbw_hz:g} Hz: {sweep.result.hops} hops, {whole_s:.1f} s, of "
            f"them {source.dwelt_s:.1f} s listened; our own {own_s:.2f} s, "
            f"{100 * own_s / source.dwelt_s:.1f} % of the dwelling"
        )
    assert own_s < 0.25 * source.dwelt_s


class _Quick(Stage):
    """The same noise at every hop, made once."""

    _noise: np.ndarray[tuple[int], np.dtype[np.complex128]] | None = None

    def _samples(self, size: int) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
        if self._noise is None or self._noise.size != size:
            self._noise = super()._samples(size)
        return self._noise


@pytest.mark.memory
def test_memory_stays_bounded_with_as_many_points_as_there_may_be(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """4 MHz in 2 Hz steps: two million points, and their highest levels too."""
    stage = _Quick(dc_dbfs=None, range_hz=(1e6, 10e6))
    span = Span(low_hz=2e6, high_hz=6.1e6)
    tracemalloc.start()
    sweep = sweep_of(stage, span, SweepSettings(rbw_hz=3.0, hold=True, seconds=1.5, stay_s=0.0))
    _, peak_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    points = sweep.result.points
    with capsys.disabled():
        print(f"\nsweep of {points} points: {peak_bytes / 1e6:.0f} MB at most")
    assert 0.9 * MOST_POINTS < points <= MOST_POINTS
    assert peak_bytes < 300e6
