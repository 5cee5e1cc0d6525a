"""The dongle as a source of IQ."""

import weakref
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from math import isfinite

import numpy as np

from calib.tuner import RTL_CLOCK_HZ, Tuning, resampler_rate
from sniff.errors import SourceError
from sniff.model import IQBlock, SourceInfo
from sniff.sources.dongle.assembly import Assembler, RawBlock
from sniff.sources.dongle.cautions import cautions_of
from sniff.sources.dongle.gain import GainTrial, best_gain_db, nearest_step_db, trial
from sniff.sources.dongle.session import Session
from sniff.sources.dongle.settling import SettlingRule
from sniff.sources.spool import SpooledTake

_USABLE_FRACTION = 0.8
_BLOCK_S = 0.05
_RETRY_S = 0.25
_TRIAL_S = 0.02


class DongleSource:
    """A dongle; obeys `sniff.model.Source`. Use `open_dongle`.

    It sends from opening to closing, listened to or not, so `index` is time since it was opened:
    what was not heard (between two streams, while it was unplugged) is a gap like any other. One
    stream can be read at a time. `tune`, `set_gain` and `close` may be called from any thread.

    Parameters
    ----------
    session : Session
        Closed with the source.
    name : str
        As the user wrote it.
    wait : bool
        When the dongle goes away during a stream, wait for it to come back.
    rule : SettlingRule
        What is passed over after opening and after each change.
    """

    def __init__(self, session: Session, *, name: str, wait: bool, rule: SettlingRule) -> None:
        self._session = session
        self._name = name
        self._wait = wait
        self._rule = rule
        self._rate_hz = resampler_rate(session.settings.rate_hz)
        self._start_utc = datetime.now(timezone.utc) - timedelta(
            seconds=session.index_now() / self._rate_hz
        )
        # Weakly: a take that nobody holds any more has removed its file.
        self._takes: weakref.WeakSet[SpooledTake] = weakref.WeakSet()

    @property
    def info(self) -> SourceInfo:
        """What it says of itself, at this moment."""
        tuner = self._session.tuner
        tuning = self._session.tuning
        width_hz = tuner.width_hz or self._session.settings.bandwidth_hz
        return SourceInfo(
            kind="dongle",
            name=self._name,
            datatype="cu8",
            rail=1.0,
            rate_hz=self._rate_hz,
            centers_hz=(tuning.center_hz,),
            duration_s=None,
            tunable=True,
            range_hz=tuner.range_hz,
            clock_hz=float(RTL_CLOCK_HZ),
            image_offset_hz=2 * tuning.if_hz if tuner.low_if and tuning.if_hz else None,
            usable_fraction=min(_USABLE_FRACTION, width_hz / self._rate_hz),
            u_center_hz=tuning.u_center_hz,
            gain_db=self.gain_db,
            serial=self._session.strings.serial or None,
            start_utc=self._start_utc,
            cautions=cautions_of(self._session.settings, tuner, tuning, lost=self._session.lost),
        )

    @property
    def tuning(self) -> Tuning:
        """What tuner and NCO do now; `u_center_hz` is not zero where they are not known."""
        return self._session.tuning

    @property
    def gains_db(self) -> tuple[float, ...]:
        """Steps of the tuner's gain, dB; none in direct sampling."""
        return self._session.gains_db

    @property
    def gain_db(self) -> float | None:
        """Gain now, dB; None for automatic, and in direct sampling."""
        gain_db = self._session.settings.gain_db
        return None if gain_db is None else nearest_step_db(self.gains_db, gain_db)

    @property
    def lost_samples(self) -> int:
        """Samples lost while a stream was read; the gaps in `index` tell where."""
        return self._session.lost

    def tune(self, center_hz: float) -> float:
        """Set the centre, and return the indicated centre that came of it, Hz.

        Raises
        ------
        SourceError
            When the tuner cannot reach it, or the dongle fails.
        """
        if not isfinite(center_hz):
            raise SourceError(f"{self._name}: {center_hz} Hz is not a frequency")
        request_hz = round(center_hz)
        # A synthesiser that is set to where it stands unlocks for nothing, as at each placing of
        # the loop.
        if request_hz != self._session.settings.request_hz:
            self._session.change(lambda link: link.tune(request_hz), request_hz=request_hz)
        return self._session.tuning.center_hz

    def set_gain(self, gain_db: float | None) -> float | None:
        """Set the tuner's gain to the nearest step, None for automatic; return what came of it.

        By hand, the IF amplifier is held too, so that levels can be compared.

        Raises
        ------
        SourceError
            When the dongle fails, or the gain is not a number.
        """
        if gain_db is not None and not isfinite(gain_db):
            raise SourceError(f"{self._name}: gain {gain_db} dB is not a number")
        step_db = None if gain_db is None else nearest_step_db(self.gains_db, gain_db)

        self._session.change(lambda link: link.set_gain(step_db), gain_db=step_db)
        return step_db

    def find_gain(self) -> float | None:
        """Set the largest gain that neither clips nor compresses here and now; see `best_gain_db`.

        Returns
        -------
        float or None
            The gain, dB; None in direct sampling, which has none.

        Raises
        ------
        SourceError
            When the dongle fails.
        """
        if not self.gains_db:
            return None

        def listen(gain_db: float) -> GainTrial:
            self.set_gain(gain_db)
            blocks = list(self.stream_raw(seconds=_TRIAL_S))
            return trial(gain_db, np.concatenate([block.native for block in blocks]))

        return self.set_gain(best_gain_db(self.gains_db, listen))

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        """Read once, block by block, from now on; `start_s` means nothing here.

        The seconds begin with the first settled sample, and lost samples count.

        Raises
        ------
        DongleLostError
            When the dongle goes away or falls silent, after all that it sent till then.
        SourceError
            When it cannot be read.
        """
        return (block.to_iq() for block in self.stream_raw(seconds=seconds))

    def stream_raw(self, *, seconds: float | None) -> Iterator[RawBlock]:
        """As `stream`, in the bytes of the dongle."""
        return self._blocks(self._samples(seconds), fixed=None)

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> SpooledTake:
        """A stretch that can be read again; kept on disk till `close`.

        Raises
        ------
        SourceError
            When no length is given: a dongle has no end of its own.
        """
        if seconds is None:
            raise SourceError(f"{self._name}: a live source has no end; say how many seconds")
        raw = self._blocks(self._samples(seconds), fixed=self._session.setting_count)
        take = SpooledTake(
            (block.to_iq() for block in raw),
            center_hz=self._session.tuning.center_hz,
            rate_hz=self._rate_hz,
            datatype="cu8",
        )
        self._takes.add(take)
        return take

    def close(self) -> None:
        """Let go of the dongle, and remove what was kept; harmless when called twice."""
        self._session.close()
        for take in self._takes:
            take.close()

    def _samples(self, seconds: float | None) -> int | None:
        if seconds is None:
            return None
        if not isfinite(seconds) or seconds <= 0:
            raise SourceError(f"{self._name}: {seconds:g} s cannot be read; ask for more than 0")
        return max(1, round(seconds * self._rate_hz))

    def _blocks(self, samples: int | None, fixed: int | None) -> Iterator[RawBlock]:
        session = self._session
        assembler = Assembler(
            rate_hz=self._rate_hz,
            block=round(_BLOCK_S * self._rate_hz),
            samples=samples,
            rule=self._rule,
        )
        stream = session.begin()
        try:
            while not assembler.done:
                if fixed is not None and session.setting_count != fixed:
                    raise SourceError(
                        f"{self._name}: it was set anew before a take was read; read it first"
                    )
                try:
                    heard = session.hear(stream)
                except SourceError:
                    yield from assembler.flush()
                    if not self._wait or stream != session.stream:
                        raise
                    if assembler.is_past(session.index_now()):
                        return
                    if session.wait_closed(_RETRY_S):
                        raise
                    continue
                if heard is not None:
                    yield from assembler.push(*heard)
                    if assembler.settled_generation is not None:
                        session.has_settled(assembler.settled_generation)
        finally:
            session.finish(stream)
