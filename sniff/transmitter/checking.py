"""The whole check of a transmitter: find it, measure it, judge it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calib.correction import Correction
from sniff.errors import SourceError
from sniff.frontend import RailCount, coarse_caution
from sniff.model import Caution, IQBlock, Mark, Source, SourceInfo, Take
from sniff.modulation.carrier import measure_carrier
from sniff.modulation.extent import Extent
from sniff.modulation.measured import MeasuredCarrier, Unmeasured
from sniff.survey import CUT_SHORT, LookSettings
from sniff.transmitter.finding import Sought, seek, seen_carriers
from sniff.transmitter.judging import judge
from sniff.transmitter.nouns import CarrierRequest, CarrierResult, Transmitter
from sniff.units import format_dbfs, format_frequency, format_seconds, format_share, format_span
from sniff.verdict import Outcome


def check_transmitter(
    source: Source,
    request: CarrierRequest,
    *,
    look: LookSettings,
    correction: Correction,
    seconds: float | None,
    start_s: float = 0.0,
) -> Transmitter:
    """Find the carrier that is meant, measure it and judge it.

    Raises
    ------
    SourceError
        When no channel is within what the source can show, or the source fails.
    UsageError
        As `sniff.survey.examine`.
    """
    sought = seek(
        source, request, look=look, correction=correction, seconds=seconds, start_s=start_s
    )
    info = source.info
    front_end = _front_end(sought, info)
    if not sought.signals:
        return _none_found(sought, request, front_end)
    cut = next((signal for signal in sought.rivals if signal.cut), None)
    if cut is not None:
        result = _undecided(request, _cut_words(cut, sought), observed_s=sought.take.seconds)
        return Transmitter(result=result, measured=None, cautions=front_end)
    carriers = seen_carriers(sought, correction)
    if len(carriers) > 1:
        listed = ", ".join(
            f"{format_frequency(each.frequency_hz, 2 * each.u_hz)} ({format_dbfs(each.level_dbfs)})"
            for each in carriers
        )
        why = (
            f"{len(carriers)} carriers could be meant: {listed}; a narrower --search, or turn the "
            "others off"
        )
        result = _undecided(request, why, observed_s=sought.take.seconds)
        return Transmitter(
            result=replace(result, carriers=carriers), measured=None, cautions=front_end
        )
    signal = sought.signals[0]
    watched = _Watched(sought.take)
    measured = measure_carrier(
        watched,
        spectrum=sought.view.spectrum,
        floor=sought.view.floor,
        extent=signal,
        peak=sought.peak_of(signal),
        settings=request.settings,
        others=(*sought.signals[1:], *sought.beside),
    )
    cautions = front_end + watched.cautions()
    if isinstance(measured, Unmeasured):
        result = _undecided(request, measured.why, observed_s=sought.take.seconds)
        result = replace(result, carriers=carriers)
        return Transmitter(result=result, measured=None, cautions=cautions)
    result, noted = judge(
        measured,
        request,
        correction,
        u_center_hz=info.u_center_hz,
        observed_s=sought.take.seconds,
    )
    result, more = _with_doubts(result, measured, sought, request)
    return Transmitter(result=result, measured=measured, cautions=cautions + noted + more)


def _undecided(request: CarrierRequest, why: str, *, observed_s: float) -> CarrierResult:
    """An answer without a frequency: undecided even where no tolerance was given."""
    only = request.channels[0] if len(request.channels) == 1 else None
    tolerance = request.tolerance
    return CarrierResult(
        verdict=Outcome.UNDECIDED,
        why=why,
        nominal_hz=None if only is None else only.frequency_hz,
        tolerance_hz=None if only is None or tolerance is None else tolerance.at(only.frequency_hz),
        observed_s=observed_s,
        x_db=request.settings.x_db,
    )


def _none_found(
    sought: Sought, request: CarrierRequest, cautions: tuple[Caution, ...]
) -> Transmitter:
    would_see_dbfs = sought.would_see_dbfs
    why = f"no carrier; one of {format_dbfs(would_see_dbfs)} would have been seen"
    false = sought.false_lines()
    on_center = [peak for peak in false if Mark.DC in peak.marks]
    if on_center:
        place = format_frequency(on_center[0].indicated_hz)
        why = (
            f"no carrier but what stands on the receiver's own centre, {place}, where one cannot "
            "be told from the receiver's offset: tune aside with --center"
        )
    elif false:
        marks = false[0].marks[0].value
        place = format_frequency(false[0].indicated_hz)
        why = f"{why}; what stands at {place} is marked {marks}"
    result = _undecided(request, why, observed_s=sought.take.seconds)
    result = replace(result, would_see_dbfs=would_see_dbfs)
    return Transmitter(result=result, measured=None, cautions=cautions)


def _cut_words(signal: Extent, sought: Sought) -> str:
    spectrum = sought.view.spectrum
    edge = "lower" if signal.low_hz < spectrum.first_hz + 3 * spectrum.bin_hz else "upper"
    return (
        f"a signal reaches the {edge} edge of what was recorded, "
        f"{format_frequency(spectrum.rate_hz)} wide: neither its mean frequency nor its deviation "
        "is known; a higher --rate, or --center nearer to it"
    )


def _with_doubts(
    result: CarrierResult,
    measured: MeasuredCarrier,
    sought: Sought,
    request: CarrierRequest,
) -> tuple[CarrierResult, tuple[Caution, ...]]:
    """Take back what a doubt about the signal as a whole forbids."""
    cautions: list[Caution] = []
    if measured.decided.doubtful:
        text = (
            "amplitude and frequency move together, as when a second carrier stands in the same "
            f"channel, within {format_span(measured.channel.width_hz)}"
        )
        result = replace(
            result,
            verdict=Outcome.UNDECIDED,
            why=f"{text}: --width narrower, or turn the other off, or say --modulation",
        )
    if sought.view.overloaded:
        result = replace(
            result,
            occupied_bandwidth_hz=None,
            x_db_bandwidth_hz=None,
            x_db_reference=None,
            adjacent=(),
        )
        text = "bandwidths and adjacent channels are not given: overload widens a signal"
        cautions.append(Caution(code="overload-widths", text=text))
    asked_hz, own_hz = request.settings.width_hz, measured.channel.width_hz
    if asked_hz is not None and own_hz < 0.999 * asked_hz:
        text = f"the recording holds no more than {format_span(own_hz)} about the carrier"
        cautions.append(Caution(code="narrower", text=text))
    if any(each.lower_db is None or each.upper_db is None for each in measured.neighbours):
        text = "an adjacent channel lies beyond the edge of what was recorded"
        cautions.append(Caution(code="adjacent-out-of-view", text=text))
    if not measured.complete:
        text = (
            f"what it carries was measured over the first {format_seconds(measured.kept_s)}; its "
            "frequency over all of the time"
        )
        cautions.append(Caution(code="first-part", text=text))
    if measured.on.keyed and measured.decided.kind.value != "keyed":
        text = (
            f"it was on {format_share(measured.on.share)} of the time, and measured then: "
            f"{measured.on.times} stretch{'' if measured.on.times == 1 else 'es'}"
        )
        cautions.append(Caution(code="part-time", text=text))
    return result, tuple(cautions)


def _front_end(sought: Sought, info: SourceInfo) -> tuple[Caution, ...]:
    """Whether the converter had too much, or too little, to work with."""
    noted: list[Caution | None] = []
    if sought.view.overloaded:
        rails = RailCount(info.rail)
        for block in sought.take.blocks():
            rails.push(block)
        noted.append(rails.caution())
    noise_power = float(np.median(sought.view.floor.density)) * sought.view.spectrum.rate_hz
    noted.append(coarse_caution(info.datatype, noise_power=noise_power))
    return tuple(caution for caution in noted if caution is not None)


@dataclass(slots=True)
class _Gaps:
    count: int = 0
    samples: int = 0


class _Watched:
    """A take that remembers its gaps, and how it ended, while it is read."""

    def __init__(self, take: Take) -> None:
        self._take = take
        self._gaps = _Gaps()
        self._trouble: str | None = None

    @property
    def center_hz(self) -> float:
        """Indicated centre, Hz."""
        return self._take.center_hz

    @property
    def rate_hz(self) -> float:
        """Sample rate, Hz."""
        return self._take.rate_hz

    @property
    def seconds(self) -> float:
        """Observed length, s."""
        return self._take.seconds

    def blocks(self) -> Iterator[IQBlock]:
        """Read it from its beginning; when its source fails after some, till then."""
        self._gaps, self._trouble = _Gaps(), None
        next_index: int | None = None
        try:
            for block in self._take.blocks():
                if next_index is not None and block.index > next_index:
                    self._gaps.count += 1
                    self._gaps.samples += block.index - next_index
                next_index = block.end_index
                yield block
        except SourceError as error:
            if next_index is None:
                raise
            self._trouble = str(error)

    def cautions(self) -> tuple[Caution, ...]:
        """What was odd in the last reading."""
        noted: list[Caution] = []
        if self._trouble is not None:
            noted.append(Caution(code=CUT_SHORT, text=f"cut short: {self._trouble}"))
        if self._gaps.count:
            lost_s = self._gaps.samples / self.rate_hz
            text = f"{self._gaps.count} gaps, {lost_s:.3g} s in all, were not observed"
            noted.append(Caution(code="gaps", text=text))
        return tuple(noted)
