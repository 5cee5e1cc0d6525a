"""Signals in closed form for the tests: tones, noise, quantisation, blocks."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.model import IQBlock
from sniff.zoom import Zoom, Zoomed

CENTER_HZ = 100e6
RATE_HZ = 256e3


def tone(
    samples: int,
    *,
    offset_hz: float,
    amplitude: float = 0.3,
    rate_hz: float = RATE_HZ,
    phase: float = 0.0,
    drift_hz_per_s: float = 0.0,
) -> npt.NDArray[np.complex128]:
    """A carrier; with drift, `offset_hz` is its frequency in the middle."""
    t = np.arange(samples) / rate_hz
    middle = t - samples / rate_hz / 2
    turns = offset_hz * t + drift_hz_per_s * middle**2 / 2
    return amplitude * np.exp(1j * (2 * np.pi * turns + phase))


def phasors(cycles: npt.NDArray[np.float64]) -> npt.NDArray[np.complex64]:
    """Unit phasors; whole turns are taken off before the numbers are shortened."""
    angles = (2.0 * np.pi * (cycles - np.rint(cycles))).astype(np.float32)
    out = np.empty(angles.shape, np.complex64)
    np.cos(angles, out=out.real)
    np.sin(angles, out=out.imag)
    return out


def noise(rng: np.random.Generator, samples: int, *, power: float) -> npt.NDArray[np.complex128]:
    """White complex noise of total power `power`, FS²."""
    parts = rng.standard_normal((samples, 2)) * np.sqrt(power / 2)
    return parts.view(np.complex128).ravel()


def eight_bit(samples: npt.NDArray[np.complex128]) -> npt.NDArray[np.complex128]:
    """What an 8-bit converter with mid-point 127.5 makes of it."""
    codes = np.clip(np.round(samples.view(np.float64) * 127.5 + 127.5), 0, 255)
    return ((codes - 127.5) / 127.5).view(np.complex128)


def block(
    samples: npt.NDArray[np.complexfloating],
    *,
    index: int = 0,
    rate_hz: float = RATE_HZ,
    center_hz: float = CENTER_HZ,
) -> IQBlock:
    """One block of it."""
    return IQBlock(
        samples=np.array(samples, dtype=np.complex64),
        rate_hz=rate_hz,
        center_hz=center_hz,
        index=index,
    )


@dataclass(frozen=True, kw_only=True)
class MemoryTake:
    """A take that lies in memory."""

    parts: tuple[IQBlock, ...]

    @property
    def center_hz(self) -> float:
        return self.parts[0].center_hz

    @property
    def rate_hz(self) -> float:
        return self.parts[0].rate_hz

    @property
    def seconds(self) -> float:
        return sum(part.samples.size for part in self.parts) / self.rate_hz

    def blocks(self) -> Iterator[IQBlock]:
        return iter(self.parts)


def take_of(
    samples: npt.NDArray[np.complexfloating],
    *,
    rate_hz: float = RATE_HZ,
    center_hz: float = CENTER_HZ,
) -> MemoryTake:
    """A gap-free take of one block."""
    return MemoryTake(parts=(block(samples, rate_hz=rate_hz, center_hz=center_hz),))


def zoomed(zoom: Zoom, *blocks: IQBlock) -> list[tuple[Zoomed, ...]]:
    """All stretches that a zoom makes of some blocks."""
    stretches = [stretch for part in blocks for stretch in zoom.push(part)]
    return [*stretches, *zoom.finish()]
