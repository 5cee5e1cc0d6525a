"""All that comes to the converter: the lines of every emitter by every way, and noise."""

from dataclasses import dataclass

import numpy as np

from sniff.model import ComplexSamples
from sniff.sources.bench.clock import ChunkTime, DongleClock
from sniff.sources.bench.grid import CHUNK
from sniff.sources.bench.noise import lo_phase, thermal
from sniff.sources.bench.oscillator import Oscillator
from sniff.sources.bench.receiver import Path, Receiver
from sniff.sources.bench.schema import Emitter, Scene, TunerKind
from sniff.sources.bench.wave import Wave, sampled

_MIRROR_TURNS = 0.11
"""Phase of a zero-IF tuner's mirror: gain and phase errors of I and Q in equal parts."""

_SILENT = 1e-9
"""Amplitude below which an oscillator counts as dead."""


_Ways = tuple[tuple[Path, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Audible:
    """What of the scene one setting hears: kept, since it is the same in every chunk.

    Attributes
    ----------
    receiver : Receiver
        The setting.
    lines : tuple
        Of each emitter in turn: multiple, and the ways by which it comes with their levels.
    own : tuple
        Of each of the dongle's own lines: frequency in Hz, and the same.
    """

    receiver: Receiver
    lines: tuple[tuple[tuple[int, _Ways], ...], ...]
    own: tuple[tuple[float, _Ways], ...]


class Field:
    """The scene, as the dongle's converter sees it.

    Parameters
    ----------
    scene : Scene
        What is on the bench.
    seed : int
        Seed of all random processes.
    rate_hz : float
        Sample rate by the dongle's own clock, Hz.
    """

    def __init__(self, scene: Scene, *, seed: int, rate_hz: float) -> None:
        dongle = scene.dongle
        self._clock = DongleClock(
            error_ppm=dongle.error_ppm,
            warm_up_ppm=dongle.warm_up_ppm,
            warm_up_s=dongle.warm_up_s,
        )
        self._emitters = scene.emitters
        self._oscillators = tuple(
            Oscillator(emitter, seed=seed, number=number)
            for number, emitter in enumerate(scene.emitters)
        )
        self._seed = seed
        self._rate_hz = rate_hz
        self._audible: _Audible | None = None

    def hear(self, emitters: tuple[Emitter, ...]) -> None:
        """Hear the emitters as loud as these are, which are the scene's in all else."""
        self._emitters = emitters
        self._audible = None

    def chunk(self, number: int, receiver: Receiver) -> ComplexSamples:
        """Samples before the IF amplifier's own control and the converter, shape (CHUNK,).

        Full scale is 1.0 at the IF amplifier's frozen gain. Chunks must be asked for in order of
        time.
        """
        time = ChunkTime.of(number, clock=self._clock, rate_hz=self._rate_hz)
        total = self._lines(time, receiver)
        turned = np.empty(CHUNK, np.complex64)
        turned.real = 1.0
        turned.imag = lo_phase(receiver.lo_phase_response, seed=self._seed, chunk=number)
        total *= turned
        total += thermal(
            receiver.noise_response, rms=receiver.noise_rms, seed=self._seed, chunk=number
        )
        if receiver.dongle.tuner is TunerKind.ZERO_IF:
            size = 10 ** (-receiver.dongle.mirror_rejection_db / 20)
            total += np.complex64(size * np.exp(2j * np.pi * _MIRROR_TURNS)) * total.conj()
        return total

    def expected_dbfs(self, receiver: Receiver) -> float:
        """Level at the converter when every oscillator runs, dBFS: what an automatic gain meets."""
        noise_dbfs = 20 * np.log10(receiver.noise_rms)
        lines = (
            level_dbfs
            for emitter in self._emitters
            for line in emitter.lines
            for _, level_dbfs in receiver.heard(line.times * emitter.oscillator_hz, line.level_dbfs)
        )
        levels = np.array([noise_dbfs, *lines])
        return 10 * float(np.log10(np.sum(10 ** (levels / 10))))

    def _lines(self, time: ChunkTime, receiver: Receiver) -> ComplexSamples:
        audible = self._audible_in(receiver)
        total = np.zeros(CHUNK, np.complex64)
        for oscillator, lines in zip(self._oscillators, audible.lines, strict=True):
            if not lines:
                continue
            motion = oscillator.motion(time)
            if isinstance(motion.amplitude, float) and motion.amplitude < _SILENT:
                continue
            for times, ways in lines:
                wave = Wave.of_line(motion, times * oscillator.nominal_hz, times, time)
                for path, level_dbfs in ways:
                    total += sampled(wave, level_dbfs, path, time)
        for own_hz, ways in audible.own:
            for path, level_dbfs in ways:
                total += sampled(Wave.of_own_clock(own_hz), level_dbfs, path, time)
        return total

    def _audible_in(self, receiver: Receiver) -> "_Audible":
        if self._audible is None or self._audible.receiver is not receiver:
            self._audible = _Audible(
                receiver=receiver,
                lines=tuple(_audible_lines(emitter, receiver) for emitter in self._emitters),
                own=tuple((hz, receiver.heard(hz, dbfs)) for hz, dbfs in receiver.own_lines),
            )
        return self._audible


def _audible_lines(emitter: Emitter, receiver: Receiver) -> tuple[tuple[int, _Ways], ...]:
    heard = (
        (line.times, receiver.heard(line.times * emitter.oscillator_hz, line.level_dbfs))
        for line in emitter.lines
    )
    return tuple((times, ways) for times, ways in heard if ways)
