"""A sweep, hop by hop and stay by stay; lazily, so that a face can record and show its course."""

from collections.abc import Generator, Iterator
from dataclasses import dataclass

from calib.correction import Correction
from sniff.errors import SourceError, UsageError
from sniff.model import Caution, Doubles, IQBlock, Source
from sniff.survey import CUT_SHORT
from sniff.sweep.blindness import (
    blind_spots,
    coarse_cautions,
    not_equalised_caution,
    overload_cautions,
)
from sniff.sweep.candidates import Candidate, Found, find_candidates
from sniff.sweep.folding import Folding
from sniff.sweep.grid import HopSpectrum, merged
from sniff.sweep.hops import HopPlan, Span, SweepSettings, plan_hops
from sniff.sweep.listening import HopListener
from sniff.sweep.passband import learn_shape
from sniff.sweep.stays import Visit, lines_of, stay, stay_cautions
from sniff.sweep.stitch import Stitched, stitch
from sniff.sweep.swept import Sweep, SweepResult, corrected, median_noise_dbfs
from sniff.sweep.tunings import plan_stays
from sniff.tuning import Tuning

INTERRUPTED = "interrupted"
"""Code of the caution that the user stopped a sweep."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hop:
    """One hop under way; its blocks must be read to their end.

    Attributes
    ----------
    center_hz : float
        Where the tuner really stands, indicated, Hz.
    index : int
        Number of its first sample since the source was opened.
    blocks : iterator of IQBlock
        As the source gives them; reading them measures.
    """

    center_hz: float
    index: int
    blocks: Iterator[IQBlock]


class SweepRun:
    """One sweep of a source: `hops` once, then `stays` once, then `result`.

    Parameters
    ----------
    source : Source
    span : Span
        True frequencies.
    settings : SweepSettings
    correction : Correction

    Raises
    ------
    UsageError, SourceError
        As `plan_hops`.
    """

    def __init__(
        self, source: Source, span: Span, settings: SweepSettings, correction: Correction
    ) -> None:
        info = source.info
        if settings.repeat < 1:
            raise UsageError(f"--repeat {settings.repeat} makes no pass; ask for 1 or more")
        if settings.repeat > 1 and not info.tunable:
            raise UsageError("--repeat is for a tuner; all that a recording holds is read at once")
        if not info.tunable and settings.seconds is not None:
            raise UsageError("--seconds is for a tuner; all that a recording holds is read")
        indicated = Span(
            low_hz=correction.indicate(span.low_hz), high_hz=correction.indicate(span.high_hz)
        )
        self._source = source
        self._settings = settings
        self._correction = correction
        self.plan: HopPlan = plan_hops(indicated, info, settings)
        self._found: dict[int, HopSpectrum] = {}
        self._overloaded_hz: list[float] = []
        self._cautions: list[Caution] = list(self.plan.cautions)
        self._seconds = 0.0
        self._stitched: Stitched | None = None
        self._peaks: Found | None = None
        self._tunings: tuple[Tuning, ...] = ()
        self._visits: list[Visit] = []
        self._stopped = False
        self._shape: Doubles | None = None

    @property
    def hop_count(self) -> int:
        """How many hops there will be, all passes together."""
        return len(self.plan.centers_hz) * self._settings.repeat

    def stop(self) -> None:
        """Let it end at the next block; what was seen till then is the result."""
        self._stopped = True

    def hops(self) -> Iterator[Hop]:
        """Tune to one after the other.

        A place where the tuner does not lock is passed over with a caution; when the source fails
        while it is listened to, the sweep ends there.

        Raises
        ------
        SourceError
            When not one hop could be heard.
        UsageError
            When every hop of a recording is too short for the RBW.
        """
        unlocked: list[SourceError] = []
        short: list[UsageError] = []
        trouble: SourceError | None = None
        for center_hz in self.plan.centers_hz * self._settings.repeat:
            if self._stopped or trouble is not None:
                break
            try:
                self._source.tune(center_hz)
            except SourceError as error:
                unlocked.append(error)
                continue
            try:
                trouble = yield from self._hop(short)
            except SourceError as error:
                trouble = error
        if not self._found and not self._stopped:
            causes: list[SourceError | UsageError] = [*unlocked, *short]
            if trouble is not None or causes:
                raise trouble or causes[0]
        if trouble is not None:
            self._cautions.append(Caution(code=CUT_SHORT, text=f"cut short: {trouble}"))
        elif unlocked and self._is_alive():
            text = f"{len(unlocked)} of {self.hop_count} hops passed over: {unlocked[0]}"
            self._cautions.append(Caution(code="tuning-failed", text=text))
        if self._stopped:
            text = "interrupted: what was not yet seen is missing"
            self._cautions.append(Caution(code=INTERRUPTED, text=text))
        elif short and trouble is None:
            text = f"{len(short)} of {self.hop_count} hops passed over: {short[0]}"
            self._cautions.append(Caution(code="too-short", text=text))

    def stay_count(self) -> int:
        """Join the hops, find what stands out, and tell how many stays that takes.

        Raises
        ------
        SourceError
            When there is no hop.
        """
        if not self._found:
            raise SourceError("the sweep was stopped before its first hop was heard")
        if self._peaks is None:
            self._stitched = stitch(list(self._found.values()), self._learned(), self.plan)
            self._peaks = find_candidates(
                self._stitched, false_alarm_rate=self._settings.false_alarm_rate
            )
            if self._may_stay:
                self._tunings = plan_stays(self._peaks.candidates, self._source.info)
        return len(self._tunings)

    def stays(self) -> Iterator[None]:
        """Look at what stood out once more, stay by stay.

        Raises
        ------
        SourceError
            When there is no hop.
        """
        self.stay_count()
        assert self._peaks is not None  # made by the line above
        for tuning in self._tunings:
            if self._stopped or not self._stay(tuning, self._peaks.candidates):
                break
            yield

    def result(self) -> Sweep:
        """What was seen.

        Raises
        ------
        ValueError
            When `stays` was not gone through.
        """
        stitched, peaks = self._stitched, self._peaks
        if stitched is None or peaks is None:
            raise ValueError("a sweep's stays come before its result")
        correction, settings = self._correction, self._settings
        stayed = sum(len(visit.numbers) for visit in self._visits)
        lines = lines_of(
            peaks.candidates,
            self._visits,
            correction,
            u_center_hz=self._source.info.u_center_hz,
            folding=Folding(
                centers_hz=tuple(hop.center_hz for hop in self._found.values()),
                rate_hz=self.plan.rate_hz,
                half_hz=self.plan.half_bins * self.plan.bin_hz,
                image_offset_hz=self._source.info.image_offset_hz,
                reach_hz=stitched.rbw_hz,
            ),
        )
        swept = corrected(
            Span(low_hz=stitched.hz(0), high_hz=stitched.hz(stitched.psd.size - 1)), correction
        )
        noise_dbfs = median_noise_dbfs(peaks.noise)
        result = SweepResult(
            start_hz=swept.low_hz,
            stop_hz=swept.high_hz,
            rbw_hz=stitched.rbw_hz,
            window=settings.window.value,
            bin_hz=stitched.bin_hz,
            points=stitched.psd.size,
            hops=len(self._found),
            passes=settings.repeat,
            seconds=self._seconds,
            stay_seconds=sum(visit.seconds for visit in self._visits),
            noise_dbfs_per_hz=noise_dbfs,
            false_alarm_rate=settings.false_alarm_rate,
            equalised=self._shape is not None,
            unobserved=tuple(corrected(one, correction) for one in stitched.unobserved),
            interpolated=tuple(corrected(one, correction) for one in stitched.joined),
            peaks=lines,
        )
        return Sweep(
            result=result,
            stitched=stitched,
            noise=peaks.noise,
            threshold=peaks.threshold,
            cautions=(
                *self._cautions,
                *overload_cautions(self._overloaded_hz),
                *coarse_cautions(noise_dbfs, self.plan.rate_hz, self._source.info.datatype),
                *blind_spots(result),
                *stay_cautions(peaks.candidates, stayed, asked=bool(self._visits)),
            ),
        )

    @property
    def _may_stay(self) -> bool:
        broken = any(caution.code == CUT_SHORT for caution in self._cautions)
        return self._settings.stay_s > 0 and not broken

    def _is_alive(self) -> bool:
        """Tell a tuner that does not lock somewhere from one that is gone."""
        try:
            self._source.tune(next(iter(self._found.values())).center_hz)
        except SourceError as error:
            self._cautions.append(Caution(code=CUT_SHORT, text=f"cut short: {error}"))
            return False
        return True

    def _hop(self, short: list[UsageError]) -> Generator[Hop, None, SourceError | None]:
        """One hop; gives what broke it off, if anything."""
        stream = self._source.stream(seconds=self.plan.seconds)
        first = next(stream, None)
        if first is None:
            return None
        listener = HopListener(
            first,
            stream,
            plan=self.plan,
            rail=self._source.info.rail,
            stopped=lambda: self._stopped,
        )
        hop = Hop(center_hz=first.center_hz, index=first.index, blocks=listener.blocks())
        yield hop
        for _ in hop.blocks:  # what the caller left unread is measured all the same
            pass
        self._seconds += listener.seconds
        if listener.overloaded:
            self._overloaded_hz.append(hop.center_hz)
        mine = listener.spectrum()
        if isinstance(mine, UsageError):
            short.append(mine)
        else:
            before = self._found.get(mine.center_bin)
            self._found[mine.center_bin] = mine if before is None else merged(before, mine)
        return listener.trouble

    def _learned(self) -> Doubles | None:
        self._shape = learn_shape(
            list(self._found.values()),
            half_bins=self.plan.half_bins,
            guard_bins=self.plan.guard_bins,
        )
        if self._shape is None:
            self._cautions.append(not_equalised_caution(len(self._found)))
        return self._shape

    def _stay(self, tuning: Tuning, candidates: tuple[Candidate, ...]) -> bool:
        try:
            visit = stay(self._source, tuning, candidates, self.plan, self._settings, self._shape)
        except UsageError:  # a recording's capture was too short: its lines stay as they were seen
            return True
        except SourceError as error:
            self._cautions.append(Caution(code=CUT_SHORT, text=f"cut short: {error}"))
            return False
        self._visits.append(visit)
        return True
