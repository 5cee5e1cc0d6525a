"""Which estimator a carrier's frequency is taken from: the one for what it carries."""

from dataclasses import dataclass

import numpy as np

from sniff.model import ComplexSamples, IQBlock, Peak
from sniff.modulation.classify import Kind
from sniff.modulation.mean_frequency import MeanFrequency
from sniff.modulation.on_times import OnTimes
from sniff.refine import Estimate, combine, refine
from sniff.zoom import MIN_HOP, Zoom

_AM_FRAMES_HZ = 25.0
_STRONGEST_SAMPLES = 2**18


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """All from which a carrier's frequency may be taken.

    Attributes
    ----------
    zero_hz : float
        Indicated frequency of the channel's zero, Hz.
    means : list of MeanFrequency
        Of each stretch in which it was on.
    on : OnTimes
    peak : Peak or None
        Its line, refined, where one was.
    parts : list of ndarray of complex64
        The channel's samples of those stretches; empty when too weak to follow the phase.
    rate_hz : float
        Of the channel, Hz.
    noise_power : float
        In the channel, FS².
    """

    zero_hz: float
    means: list[MeanFrequency]
    on: OnTimes
    peak: Peak | None
    parts: list[ComplexSamples]
    rate_hz: float
    noise_power: float

    def by(self, kind: Kind) -> tuple[Estimate, str, str]:
        """Frequency, by which estimator, and why by that one, for what the carrier carries."""
        peak, follows = self.peak, bool(self.parts)
        if peak is not None and (not follows or (kind is Kind.NONE and peak.steady)):
            estimate = Estimate(
                indicated_hz=peak.indicated_hz,
                u_hz=peak.u_indicated_hz,
                power=self.on.power,
                steady=peak.steady,
                seconds=sum(run.seconds for run in self.on.runs),
            )
            steady = "it is one steady line"
            weak = "its channel holds too much noise to follow the phase"
            return estimate, "line", steady if follows or peak.steady else weak
        if kind is Kind.AM:
            line = self._line()
            if line is not None:
                return line, "carrier line", "amplitude modulation leaves the carrier where it is"
        if kind is Kind.KEYED:
            return self._mean(), "during the marks", "it is keyed on and off"
        if kind is Kind.FM:
            why = "its phase swings about the carrier's"
            return self._mean(), "mean of the instantaneous frequency", why
        why = "it was not there throughout" if self.on.keyed else "it is not one steady line"
        return self._mean(), "mean of the instantaneous frequency", why

    def _mean(self) -> Estimate:
        """All stretches together; what they disagree by goes into u."""
        each = [
            Estimate(
                indicated_hz=self.zero_hz + mean.offset_hz,
                u_hz=mean.u_hz,
                power=self.on.power,
                steady=True,
                seconds=mean.seconds,
            )
            for mean in self.means
        ]
        joined = combine(each)
        assert joined is not None  # there is at least one
        return joined

    def _line(self) -> Estimate | None:
        """The carrier's line in a filter so narrow that its sidebands are out."""
        longest = max(self.parts, key=lambda part: part.size)
        hop = max(MIN_HOP, min(longest.size // 16, round(self.rate_hz / _AM_FRAMES_HZ)))
        near_hz = self.zero_hz + self._strongest_hz(longest)
        each: list[Estimate] = []
        for part in self.parts:
            zoom = Zoom([near_hz], hop=hop)
            block = IQBlock(samples=part, rate_hz=self.rate_hz, center_hz=self.zero_hz, index=0)
            for (stretch,) in [*zoom.push(block), *zoom.finish()]:
                found = refine(
                    stretch,
                    noise_density=self.noise_power / self.rate_hz,
                    search_hz=stretch.rate_hz / 2.0,
                )
                if found is not None:
                    each.append(found)
        return combine(each)

    def _strongest_hz(self, part: ComplexSamples) -> float:
        """Highest bin of a part's transform, from the channel's zero, Hz."""
        part = part[:_STRONGEST_SAMPLES]
        power = np.abs(np.fft.fft(part * np.hanning(part.size)))
        return float(np.fft.fftfreq(part.size, 1.0 / self.rate_hz)[int(power.argmax())])
