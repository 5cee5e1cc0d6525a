"""The oscillator of a set under test: its frequency, amplitude and phase against time."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sniff.model import Doubles
from sniff.sources.bench.clock import ChunkTime
from sniff.sources.bench.contact import Contact, joint_edges, keying_edges
from sniff.sources.bench.grid import ROW, Process, emitter_stream, generator, linear
from sniff.sources.bench.hand import Hand
from sniff.sources.bench.modulation import Speech, sine, tone_cycles
from sniff.sources.bench.schema import Emitter

_WANDER_PERIODS = np.geomspace(1 / 8, 8, 8)
"""Periods that a wander is made of, in units of `Emitter.wander_s`."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Motion:
    """What an oscillator does in one chunk, beyond turning at its nominal frequency.

    Attributes
    ----------
    cycles : ndarray of float64, shape (ROWS + 1,)
        Cycles gained since the beginning, at the knots.
    hz : ndarray of float64, shape (ROWS + 1,)
        Present deviation at the knots, Hz.
    fine_cycles : ndarray of float64, shape (CHUNK,), or None
        Further phase of each sample, cycles: modulation, starts.
    amplitude : ndarray of float32, shape (CHUNK,), or float
        1 is undisturbed.
    """

    cycles: Doubles
    hz: Doubles
    fine_cycles: Doubles | None
    amplitude: npt.NDArray[np.float32] | float


class Oscillator:
    """A crystal with its tolerance, drift and wander, and all that is done to it.

    Parameters
    ----------
    emitter : Emitter
        What the scene says.
    seed, number : int
        Seed of the bench, and number of the emitter in the scene.
    """

    def __init__(self, emitter: Emitter, *, seed: int, number: int) -> None:
        self.nominal_hz = emitter.oscillator_hz
        self._emitter = emitter
        rng = generator(seed, emitter_stream(number, Process.WANDER))
        self._wander_s = emitter.wander_s * _WANDER_PERIODS * rng.uniform(0.9, 1.1, 8)
        self._wander_start = rng.random(8)
        self._hand = Hand(emitter.hand) if emitter.hand else None
        self._contact = _contact(emitter, seed=seed, number=number)
        modulation = emitter.modulation
        self._speech = (
            Speech(
                modulation.speech_deviation_hz,
                generator(seed, emitter_stream(number, Process.SPEECH)),
            )
            if modulation.speech_deviation_hz > 0
            else None
        )

    def motion(self, time: ChunkTime) -> Motion:
        """Work out a chunk; chunks must be asked for in order of time."""
        cycles, hz = self._crystal(time.true_s)
        fine = self._modulation(time)
        amplitude = self._row_amplitude(time.true_s)
        if self._hand:
            pulled, pull_hz = self._hand.pull(time.true_s)
            cycles, hz = cycles + pulled, hz + pull_hz
        samples: Doubles | float = 1.0 if amplitude is None else linear(amplitude, ROW)
        if self._contact:
            from_s, to_s = float(time.true_s[0]), float(time.true_s[-1])
            self._contact.forget(from_s)
            if self._contact.is_steady(from_s, to_s):
                switched, phase = self._contact.course(time.true_s[:1])
                samples = samples * float(switched[0])
                cycles = cycles + phase[0]
            else:
                switched, phase = self._contact.course(time.sample_true_s())
                samples = samples * switched
                fine = phase if fine is None else fine + phase
        return Motion(
            cycles=cycles,
            hz=hz,
            fine_cycles=fine,
            amplitude=samples if isinstance(samples, float) else samples.astype(np.float32),
        )

    def _crystal(self, true_s: Doubles) -> tuple[Doubles, Doubles]:
        """Cycles gained and deviation in Hz by tolerance, warming up and wander."""
        emitter = self._emitter
        warm = np.exp(-true_s / emitter.warm_up_s)
        warmed_s = -np.expm1(-true_s / emitter.warm_up_s) * emitter.warm_up_s
        ppm = emitter.off_ppm + emitter.warm_up_ppm * warm
        ppm_s = emitter.off_ppm * true_s + emitter.warm_up_ppm * warmed_s
        if emitter.wander_ppm > 0:
            # Equal parts, each of variance 1/2, so that the sum has the variance asked for.
            part_ppm = emitter.wander_ppm * np.sqrt(2.0 / _WANDER_PERIODS.size)
            for period_s, start in zip(self._wander_s, self._wander_start, strict=True):
                angle = 2 * np.pi * (true_s / period_s + start)
                ppm = ppm + part_ppm * np.cos(angle)
                ppm_s = ppm_s + part_ppm * period_s / (2 * np.pi) * np.sin(angle)
        scale = 1e-6 * self.nominal_hz
        return ppm_s * scale, ppm * scale

    def _modulation(self, time: ChunkTime) -> Doubles | None:
        parts = [tone_cycles(tone, time) for tone in self._emitter.modulation.tones]
        if self._speech:
            parts.append(self._speech.cycles(time))
        return sum(parts[1:], parts[0]) if parts else None

    def _row_amplitude(self, true_s: Doubles) -> Doubles | None:
        """Amplitude at the knots by hum and hand, None where there is neither."""
        modulation = self._emitter.modulation
        amplitude: Doubles | None = None
        if modulation.hum_percent > 0:
            amplitude = 1 + modulation.hum_percent / 100 * sine(modulation.hum_hz * true_s)
        if self._hand:
            loss = 10 ** (-self._hand.loss_db(true_s) / 20)
            amplitude = loss if amplitude is None else amplitude * loss
        return amplitude


def _contact(emitter: Emitter, *, seed: int, number: int) -> Contact | None:
    stream = emitter_stream(number, Process.CONTACT)
    if emitter.joint is not None:
        edges = joint_edges(emitter.joint, generator(seed, stream, 0))
    elif emitter.keying is not None:
        edges = keying_edges(emitter.keying)
    else:
        return None
    return Contact(
        edges,
        closed=emitter.joint is not None,
        start_up=emitter.start_up,
        oscillator_hz=emitter.oscillator_hz,
        rng=generator(seed, stream, 1),
    )
