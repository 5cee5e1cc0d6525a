"""A small tunable source with planted lines: narrow, so that many sweeps are cheap."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from sniff.errors import SourceError
from sniff.model import IQBlock, SourceInfo
from tests.signals import MemoryTake

RATE_HZ = 48e3
NOISE_DBFS_PER_HZ = -100.0
STEP_HZ = 61.3
"""Of its synthesiser: it never stands where it was asked."""

Power = Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]]


def flat(offset_hz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """A pass-band without a shape."""
    return np.ones_like(offset_hz)


def rolling_off(offset_hz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Power gain that falls by 3 dB at 0.4 of the rate, lopsided on purpose."""
    place = offset_hz / RATE_HZ + 0.02
    return 10.0 ** (-0.3 * (place / 0.42) ** 4)


@dataclass(kw_only=True)
class Stage:
    """Lines of (true frequency, level) over white noise, seen through a pass-band; obeys `Source`.

    Where `unlocked` says so it does not lock; it fails after so many tunings, or within the last
    block of one.
    """

    lines: tuple[tuple[float, float], ...] = ()
    seed: int = 1
    shape: Power = flat
    dc_dbfs: float | None = -40.0
    range_hz: tuple[float, float] = (1e6, 10e6)
    unlocked: Callable[[float], bool] = lambda _: False
    fails_after: int | None = None
    fails_within: int | None = None
    noise_dbfs_per_hz: float = NOISE_DBFS_PER_HZ
    center_hz: float = 2e6
    index: int = 0
    tunings: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._rng = np.random.default_rng(self.seed)

    @property
    def info(self) -> SourceInfo:
        return SourceInfo(
            kind="stage",
            name="stage",
            datatype="cf32_le",
            rail=1.0,
            rate_hz=RATE_HZ,
            centers_hz=(self.center_hz,),
            duration_s=None,
            tunable=True,
            range_hz=self.range_hz,
            clock_hz=None,
        )

    def tune(self, center_hz: float) -> float:
        if self.unlocked(center_hz):
            raise SourceError(f"stage: no lock at {center_hz:.0f} Hz")
        self.center_hz = np.floor(center_hz / STEP_HZ) * STEP_HZ
        self.tunings.append(self.center_hz)
        return self.center_hz

    def set_gain(self, gain_db: float | None) -> float | None:
        return gain_db

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        assert seconds is not None
        if self.fails_after is not None and len(self.tunings) > self.fails_after:
            raise SourceError("stage: unplugged")
        size = round(seconds * RATE_HZ)
        for number, part in enumerate(np.array_split(self._samples(size), 3)):
            if number == 2 and self.fails_within == len(self.tunings):
                raise SourceError("stage: unplugged")
            yield IQBlock(
                samples=part.astype(np.complex64),
                rate_hz=RATE_HZ,
                center_hz=self.center_hz,
                index=self.index,
            )
            self.index += part.size

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> MemoryTake:
        return MemoryTake(parts=tuple(self.stream(seconds=seconds)))

    def close(self) -> None:
        pass

    def _samples(self, size: int) -> npt.NDArray[np.complex128]:
        density = 10.0 ** (self.noise_dbfs_per_hz / 10.0)
        parts = self._rng.standard_normal((size, 2)) * np.sqrt(density * RATE_HZ / 2.0)
        samples = parts.view(np.complex128).ravel()
        if self.shape is not flat:
            gain = np.sqrt(self.shape(np.fft.fftfreq(size, 1.0 / RATE_HZ)))
            samples = np.fft.ifft(np.fft.fft(samples) * gain)
        seconds = (self.index + np.arange(size)) / RATE_HZ
        for hz, dbfs in self.lines:
            offset_hz = hz - self.center_hz
            if abs(offset_hz) < RATE_HZ / 2.0:
                gain = self.shape(np.array([offset_hz]))[0]
                amplitude = np.sqrt(gain * 10.0 ** (dbfs / 10.0))
                # A carrier's own phase at this moment, whatever was tuned to before.
                samples = samples + amplitude * np.exp(2j * np.pi * offset_hz * seconds)
        if self.dc_dbfs is not None:
            samples = samples + 10.0 ** (self.dc_dbfs / 20.0)
        return samples
