"""The bench as a source: it can be tuned, its time goes on, and it is the same every time."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np

from calib.tuner import RTL_CLOCK_HZ, resampler_rate
from sniff.errors import SourceError
from sniff.model import Caution, ComplexSamples, Doubles, IQBlock, SourceInfo
from sniff.sources.bench.converter import digitize, loop_gains_db
from sniff.sources.bench.field import Field
from sniff.sources.bench.grid import CHUNK, ROW, SEEDS
from sniff.sources.bench.pacer import Pacer
from sniff.sources.bench.placing import placed_emitters
from sniff.sources.bench.receiver import (
    GAINS_DB,
    Receiver,
    nearest_gain_db,
    tuner_range_hz,
    tuning_for,
)
from sniff.sources.bench.schema import IfAmplifier, Scene, TunerKind
from sniff.sources.spool import SpooledTake

_BLOCK = 4 * CHUNK
_PACED_BLOCK_S = 0.05

_MOVING_LEVEL = Caution(
    code="levels-not-fixed",
    text="the IF amplifier is automatic: levels follow what else is heard and cannot be compared",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Rendered:
    """The last chunk made, kept because the next block may begin within it."""

    chunk: int
    samples: ComplexSamples
    loop_db: Doubles


class BenchSource:
    """A scene, seen through its dongle; obeys `sniff.model.Source`.

    The same calls give the same samples, however long the blocks are: its time is counted in
    samples, and nothing happens between two calls.

    Parameters
    ----------
    scene : Scene
        What is on the bench.
    name : str
        As the user wrote it.
    rate_hz, center_hz, gain_db : float, optional
        In place of the scene's.
    seed : int, optional
        In place of the scene's.
    pacer : Pacer, optional
        To run in real time.
    block_samples : int, optional
        Length of a block.

    Raises
    ------
    SourceError
        When the dongle cannot do what is asked of it.
    """

    def __init__(
        self,
        scene: Scene,
        *,
        name: str,
        rate_hz: float | None = None,
        center_hz: float | None = None,
        gain_db: float | None = None,
        seed: int | None = None,
        pacer: Pacer | None = None,
        block_samples: int | None = None,
    ) -> None:
        self._scene = scene
        self._name = name
        self._pacer = pacer
        try:
            self._rate_hz = resampler_rate(scene.rate_hz if rate_hz is None else rate_hz)
        except ValueError as error:
            raise SourceError(f"{name}: {error}") from None
        self._block = block_samples or (
            min(_BLOCK, round(_PACED_BLOCK_S * self._rate_hz)) if pacer else _BLOCK
        )
        self._seed = scene.seed if seed is None else self._checked(seed)
        self._field = Field(scene, seed=self._seed, rate_hz=self._rate_hz)
        self._takes: list[SpooledTake] = []
        self._closed = False
        self._next = 0
        self._loop_db = 0.0
        self._rendered: _Rendered | None = None
        wanted_db = scene.gain_db if gain_db is None else gain_db
        self._automatic = wanted_db is None
        self._receiver = self._tuned(scene.center_hz if center_hz is None else center_hz)
        self._set(self._with_gain(self._receiver, wanted_db))

    @property
    def info(self) -> SourceInfo:
        """What it says of itself, at this moment."""
        dongle = self._scene.dongle
        low_if = dongle.tuner is TunerKind.LOW_IF
        moving = dongle.if_amplifier is IfAmplifier.AUTOMATIC
        return SourceInfo(
            kind="bench",
            name=self._name,
            datatype="cu8",
            rail=1.0,
            rate_hz=self._rate_hz,
            centers_hz=(self._receiver.tuning.center_hz,),
            duration_s=None,
            tunable=True,
            range_hz=tuner_range_hz(dongle, self._rate_hz),
            clock_hz=float(RTL_CLOCK_HZ),
            image_offset_hz=2 * self._receiver.tuning.if_hz if low_if else None,
            gain_db=None if self._automatic else self._receiver.gain_db,
            cautions=(_MOVING_LEVEL,) if moving else (),
        )

    def tune(self, center_hz: float) -> float:
        """Set the centre, and return the indicated centre that came of it, Hz.

        Raises
        ------
        SourceError
            When it lies outside the tuner's range.
        """
        self._check_open()
        self._set_with_same_gain(self._tuned(center_hz, self._receiver.gain_db))
        return self._receiver.tuning.center_hz

    def set_gain(self, gain_db: float | None) -> float | None:
        """Set the tuner's gain to the nearest step, None for automatic; return what came of it.

        Automatic gain takes, at each tuning, the highest step at which all that may emit stays
        below the scene's target level.
        """
        self._check_open()
        self._automatic = gain_db is None
        self._set(self._with_gain(self._receiver, gain_db))
        return None if self._automatic else self._receiver.gain_db

    def place_loop(self, place: str | None, number: int) -> None:
        """Place the loop for the given time; None: where it is without a place.

        Raises
        ------
        SourceError
            When the scene has no such place.
        """
        self._check_open()
        try:
            emitters = placed_emitters(self._scene, place=place, number=number, seed=self._seed)
        except ValueError as error:
            raise SourceError(f"{self._name}: {error}") from None
        self._field.hear(emitters)
        self._set_with_same_gain(self._receiver)

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        """Read once, block by block, from where it is; `start_s` means nothing here.

        It goes on over a retuning, from the next block on and with the gap in its `index`.
        """
        return self._blocks(self._samples(seconds), fixed=None)

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> SpooledTake:
        """A stretch that can be read again; kept on disk till `close`.

        Raises
        ------
        SourceError
            When no length is given: a bench has no end of its own.
        """
        if seconds is None:
            raise SourceError(f"{self._name}: a live source has no end; say how many seconds")
        take = SpooledTake(
            self._blocks(self._samples(seconds), fixed=self._receiver),
            center_hz=self._receiver.tuning.center_hz,
            rate_hz=self._rate_hz,
            datatype="cu8",
        )
        self._takes.append(take)
        return take

    def skip(self, seconds: float) -> None:
        """Let time go by unheard: what is passed over is not made, so it passes at once."""
        self._check_open()
        self._pass_over(round(seconds * self._rate_hz))

    def close(self) -> None:
        """Remove what was kept; harmless when called twice."""
        self._closed = True
        for take in self._takes:
            take.close()
        self._takes.clear()

    def _checked(self, seed: int) -> int:
        if not 0 <= seed < SEEDS:
            raise SourceError(f"{self._name}: seed {seed} must lie from 0 to {SEEDS - 1}")
        return seed

    def _samples(self, seconds: float | None) -> int | None:
        self._check_open()
        if seconds is None:
            return None
        if not isfinite(seconds) or seconds <= 0:
            raise SourceError(f"{self._name}: {seconds:g} s cannot be read; ask for more than 0")
        return max(1, round(seconds * self._rate_hz))

    def _check_open(self) -> None:
        if self._closed:
            raise SourceError(f"{self._name}: it was closed; open it again")

    def _tuned(self, center_hz: float, gain_db: float = GAINS_DB[0]) -> Receiver:
        dongle = self._scene.dongle
        try:
            tuning = tuning_for(dongle, center_hz, self._rate_hz)
        except ValueError as error:
            raise SourceError(f"{self._name}: {error}") from None
        return Receiver(
            dongle=dongle,
            tuning=tuning,
            rate_hz=self._rate_hz,
            gain_db=gain_db,
        )

    def _with_gain(self, receiver: Receiver, gain_db: float | None) -> Receiver:
        if gain_db is not None:
            if not isfinite(gain_db):
                raise SourceError(f"{self._name}: gain {gain_db} dB is not a number")
            return replace(receiver, gain_db=nearest_gain_db(gain_db))
        steps = [replace(receiver, gain_db=step_db) for step_db in GAINS_DB]
        target_dbfs = self._scene.dongle.target_dbfs
        fitting = [step for step in steps if self._field.expected_dbfs(step) <= target_dbfs]
        return fitting[-1] if fitting else steps[0]

    def _set_with_same_gain(self, receiver: Receiver) -> None:
        self._set(self._with_gain(receiver, None if self._automatic else receiver.gain_db))

    def _set(self, receiver: Receiver) -> None:
        """Change the setting, and pass over what comes while it settles."""
        self._receiver = receiver
        self._pass_over(round(self._scene.dongle.settle_s * self._rate_hz))

    def _pass_over(self, samples: int) -> None:
        if self._rendered:
            row = (self._next - self._rendered.chunk * CHUNK) // ROW
            self._loop_db = float(self._rendered.loop_db[row])
        self._rendered = None
        self._next += samples

    def _blocks(self, samples: int | None, fixed: Receiver | None) -> Iterator[IQBlock]:
        given = 0
        while samples is None or given < samples:
            self._check_open()
            if fixed is not None and self._receiver is not fixed:
                raise SourceError(
                    f"{self._name}: it was set anew before a take was read; read it first"
                )
            size = self._block if samples is None else min(self._block, samples - given)
            if self._pacer:
                self._pacer.wait((self._next + size) / self._rate_hz)
            block = IQBlock(
                samples=self._read(size),
                rate_hz=self._rate_hz,
                center_hz=self._receiver.tuning.center_hz,
                index=self._next,
            )
            self._next += size
            given += size
            yield block

    def _read(self, size: int) -> ComplexSamples:
        """The next samples, put together from chunks."""
        parts = []
        place = self._next
        end = self._next + size
        while place < end:
            chunk, inside = divmod(place, CHUNK)
            part = self._chunk(chunk, inside)[inside : inside + end - place]
            parts.append(part)
            place += part.size
        return np.concatenate(parts)

    def _chunk(self, chunk: int, inside: int) -> ComplexSamples:
        """A whole chunk; what lies before `inside` was not heard in this setting."""
        if self._rendered and self._rendered.chunk == chunk:
            return self._rendered.samples
        dongle = self._scene.dongle
        samples = self._field.chunk(chunk, self._receiver)
        first_row = inside // ROW
        loop_db = np.full(CHUNK // ROW + 1, self._loop_db)
        if dongle.if_amplifier is IfAmplifier.AUTOMATIC:
            loop_db[first_row:] = loop_gains_db(
                samples[first_row * ROW :], self._loop_db, dongle=dongle, rate_hz=self._rate_hz
            )
            gains = (10 ** (loop_db[:-1] / 20)).astype(np.float32)
            samples = (samples.reshape(-1, ROW) * gains[:, np.newaxis]).reshape(-1)
        self._loop_db = float(loop_db[-1])
        self._rendered = _Rendered(
            chunk=chunk, samples=digitize(samples, dongle=dongle), loop_db=loop_db
        )
        return self._rendered.samples
