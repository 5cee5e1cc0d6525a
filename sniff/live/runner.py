"""The measuring thread of the live page: reads the source, asks the engine, tells what is new."""

import contextlib
import queue
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Protocol

from sniff.errors import BenchError, SourceError
from sniff.live.commands import Gain, Show, TapAsked, Tune
from sniff.live.engine import Engine, LineEvent
from sniff.live.memory import Memory
from sniff.live.nouns import Frame
from sniff.model import IQBlock, Source
from sniff.strength import gain_step_db
from sniff.taps.nouns import Tap, TapResult

_BOARD_PER_S = 10.0
_PIECE_S = 1.0 / 60.0
_VERDICT_EVERY_S = 0.5
_KEY_LATE_S = 0.05  # from the finger to here, on a local network


def pieces(block: IQBlock) -> Iterator[IQBlock]:
    """A block in pieces short enough for thirty frames a second and a quick ear."""
    most = max(1, int(block.rate_hz * _PIECE_S))
    for first in range(0, block.samples.size, most):
        yield replace(block, samples=block.samples[first : first + most], index=block.index + first)


class Listener(Protocol):
    """What is told of what happens; called in the measuring thread."""

    def frame(self, frame: Frame, *, board: bool) -> None:
        """A frame; `board` when its rows are worth sending."""
        ...

    def event(self, event: LineEvent) -> None:
        """A line went or came."""
        ...

    def taps(self, row: int, result: TapResult) -> None:
        """What the taps on a line say now."""
        ...

    def state(self, state: "SourceState") -> None:
        """The tuning changed, or the source came to its end or failed."""
        ...

    def said(self, words: str) -> None:
        """Something that the user should read."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceState:
    """The source as it is now.

    Attributes
    ----------
    center_hz, rate_hz : float
        Indicated, Hz.
    gain_db : float or None
    rbw_hz : float
    span_hz : float or None
    hold : bool
    running : bool
    why : str
        When it does not run.
    """

    center_hz: float
    rate_hz: float
    gain_db: float | None
    rbw_hz: float
    span_hz: float | None
    hold: bool
    running: bool
    why: str = ""


class Runner:
    """Runs a source through an engine in a thread of its own.

    Parameters
    ----------
    source : Source
    engine : Engine
    memory : Memory
    listener : Listener
    paced : bool
        Whether a source that could go faster must keep to real time.
    """

    def __init__(
        self,
        source: Source,
        engine: Engine,
        memory: Memory,
        listener: Listener,
        *,
        paced: bool,
    ) -> None:
        self._source = source
        self._engine = engine
        self._memory = memory
        self._listener = listener
        self._paced = paced
        self._asked: queue.SimpleQueue[Tune | Show | Gain | TapAsked] = queue.SimpleQueue()
        self._kept: queue.SimpleQueue[tuple[float, Callable[[list[IQBlock]], None]]] = (
            queue.SimpleQueue()
        )
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="measuring", daemon=True)
        self._board_s = self._verdict_s = 0.0
        self._tapped: set[int] = set()

    @property
    def now_s(self) -> float:
        """As in `Engine`."""
        return self._engine.now_s

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End, and wait for it."""
        self._stop.set()
        self._thread.join(timeout=5.0)

    def ask(self, command: Tune | Show | Gain | TapAsked) -> None:
        """Do this between two blocks; from any thread."""
        self._asked.put(command)

    def remember(self, seconds: float, then: Callable[[list[IQBlock]], None]) -> None:
        """Hand over the last seconds between two blocks; from any thread."""
        self._kept.put((seconds, then))

    def _run(self) -> None:
        while not self._stop.is_set():
            self._tell_state(running=True)
            why = self._listen()
            if why is None:  # the tuning was changed
                continue
            self._tell_state(running=False, why=why)
            while not self._stop.is_set() and not self._obey(wait_s=0.2):
                self._hand_over()

    def _listen(self) -> str | None:
        """Read until something ends it; None when the source was tuned elsewhere."""
        begun_s, first_s = time.monotonic(), None
        try:
            with contextlib.closing(self._source.stream(seconds=None)) as blocks:  # type: ignore[type-var]
                for block in (piece for whole in blocks for piece in pieces(whole)):
                    if self._paced:  # a block is there when its last sample was taken, not before
                        first_s = block.start_s if first_s is None else first_s
                        ahead_s = block.end_index / block.rate_hz - first_s
                        self._stop.wait(max(0.0, begun_s + ahead_s - time.monotonic()))
                    if self._stop.is_set():
                        return "stopped"
                    self._take_in(block)
                    self._hand_over()
                    if self._obey():
                        return None
        except BenchError as error:
            return str(error)
        return "the recording is at its end"

    def _take_in(self, block: IQBlock) -> None:
        self._memory.push(block)
        step = self._engine.push(block)
        for event in step.events:
            self._listener.event(event)
        now_s = self._engine.now_s
        if step.frame is not None:
            board = bool(step.events) or abs(now_s - self._board_s) >= 1.0 / _BOARD_PER_S
            if board:
                self._board_s = now_s
            self._listener.frame(step.frame, board=board)
        if self._tapped and abs(now_s - self._verdict_s) >= _VERDICT_EVERY_S:
            self._verdict_s = now_s
            for row in self._tapped:
                result = self._engine.verdict(row)
                if result is not None:
                    self._listener.taps(row, result)

    def _hand_over(self) -> None:
        with contextlib.suppress(queue.Empty):
            seconds, then = self._kept.get_nowait()
            then(self._memory.last(seconds))

    def _obey(self, *, wait_s: float | None = None) -> bool:
        """Do all that was asked; True when the stream must begin anew."""
        anew = False
        while True:
            try:
                command = (
                    self._asked.get_nowait() if wait_s is None else self._asked.get(timeout=wait_s)
                )
            except queue.Empty:
                return anew
            wait_s = None
            try:
                anew = self._do(command) or anew
            except BenchError as error:
                self._listener.said(str(error))

    def _do(self, command: Tune | Show | Gain | TapAsked) -> bool:
        if isinstance(command, TapAsked):
            at_s = max(0.0, self._engine.now_s - _KEY_LATE_S)
            self._engine.tap(Tap(at_s=at_s, spot=command.spot, by=command.by), row=command.row)
            self._tapped.add(command.row)
            return False
        if isinstance(command, Show):
            self._engine.show(span_hz=command.span_hz, rbw_hz=command.rbw_hz, hold=command.hold)
            self._tell_state(running=True)
            return False
        if isinstance(command, Gain):
            before_db = self._source.info.gain_db
            self._source.set_gain(command.gain_db)
            self._engine.gained(gain_step_db(self._source.info.gain_db, before_db))
            return True
        info = self._source.info
        if not info.tunable and len(info.centers_hz) < 2:
            raise SourceError("a recording stays where it was tuned")
        self._source.tune(command.center_hz)
        return True

    def _tell_state(self, *, running: bool, why: str = "") -> None:
        info = self._source.info
        view = self._engine.view
        self._listener.state(
            SourceState(
                center_hz=info.centers_hz[0],
                rate_hz=info.rate_hz,
                gain_db=info.gain_db,
                rbw_hz=view.rbw_hz(info.rate_hz),
                span_hz=view.span_hz,
                hold=view.hold,
                running=running,
                why=why,
            )
        )
