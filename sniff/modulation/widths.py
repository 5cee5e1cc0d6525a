"""The fine spectrum of a channel, and the widths that are read from it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sniff.errors import UsageError
from sniff.model import Doubles, IQBlock, Spectrum
from sniff.modulation.bandwidth import Adjacent, Span, adjacent, occupied
from sniff.modulation.channel import ChannelFilter, widest_hz
from sniff.resolution import SpectrumSettings, finest_rbw
from sniff.spectrum import Welch
from sniff.windows import Window

_POINTS = 2000.0  # resolution bandwidths in a channel
_BEYOND = 1.05
_BESIDE = (6, 18)  # bins from a line that are free of its lobe


@dataclass(frozen=True, slots=True, kw_only=True)
class Widths:
    """How wide a signal is.

    Attributes
    ----------
    spectrum : Spectrum or None
        Of the channel and its neighbours; None when the take was too short.
    noise : ndarray of float64 or None
        Receiver noise in it, FS²/Hz.
    occupied : Span or None
        On the indicated scale.
    neighbours : tuple of Adjacent
    """

    spectrum: Spectrum | None
    noise: Doubles | None
    occupied: Span | None
    neighbours: tuple[Adjacent, ...]


class WidthMeter:
    """A fine spectrum of the channel and its neighbours, grown block by block.

    Parameters
    ----------
    own : Span
        The channel.
    channel_rate_hz : float
        Samples per second of the channel's own filter, Hz.
    neighbours_hz : sequence of (float, float)
        Offset and width of adjacent channels, Hz.
    seconds : float
        Expected length, s.
    rate_hz, center_hz : float
        Of the blocks to come, Hz.
    """

    def __init__(
        self,
        own: Span,
        *,
        channel_rate_hz: float,
        neighbours_hz: Sequence[tuple[float, float]],
        seconds: float,
        rate_hz: float,
        center_hz: float,
    ) -> None:
        self._own = own
        self._neighbours_hz = tuple(neighbours_hz)
        middle_hz = (own.low_hz + own.high_hz) / 2.0
        self._held = own
        self._wider: ChannelFilter | None = None
        fine_rate_hz = channel_rate_hz
        if neighbours_hz:
            reach_hz = _BEYOND * max(offset + width / 2.0 for offset, width in neighbours_hz)
            reach_hz = max(reach_hz, own.width_hz / 2.0)
            room_hz = rate_hz / 2.0 - abs(middle_hz - center_hz)
            width_hz = min(2.0 * reach_hz, 2.0 * room_hz, widest_hz(rate_hz))
            self._held = Span(low_hz=middle_hz - width_hz / 2.0, high_hz=middle_hz + width_hz / 2.0)
            self._wider = ChannelFilter(
                middle_hz, width_hz=width_hz, rate_hz=rate_hz, center_hz=center_hz
            )
            fine_rate_hz = self._wider.rate_hz
        window = Window.BLACKMAN_HARRIS
        samples = max(16, int(0.8 * seconds * fine_rate_hz))
        rbw_hz = max(own.width_hz / _POINTS, finest_rbw(samples, fine_rate_hz, window))
        self._welch = Welch(
            SpectrumSettings(window=window, rbw_hz=rbw_hz),
            rate_hz=fine_rate_hz,
            center_hz=middle_hz,
        )
        self._dc_hz = center_hz

    def push(self, block: IQBlock, parts: Sequence[IQBlock]) -> None:
        """Take in the next block of the take, and what the channel's own filter made of it."""
        for part in parts if self._wider is None else self._wider.push(block):
            self._welch.push(part)

    def result(self, density: float, carrier_hz: float) -> Widths:
        """What was measured.

        Parameters
        ----------
        density : float
            Receiver noise, FS²/Hz.
        carrier_hz : float
            Indicated, Hz.
        """
        try:
            spectrum = _without_line(self._welch.result(), self._dc_hz)
        except UsageError:  # no gap-free stretch is as long as one segment
            return Widths(spectrum=None, noise=None, occupied=None, neighbours=())
        noise = np.full(spectrum.psd.size, density)
        beyond = (spectrum.frequencies_hz < self._held.low_hz) | (
            spectrum.frequencies_hz > self._held.high_hz
        )
        noise[beyond] = 0.0  # where the filter's own slope is
        return Widths(
            spectrum=spectrum,
            noise=noise,
            occupied=occupied(spectrum, noise, self._own),
            neighbours=tuple(
                adjacent(
                    spectrum,
                    noise,
                    within=self._held,
                    carrier_hz=carrier_hz,
                    offset_hz=offset_hz,
                    width_hz=width_hz,
                )
                for offset_hz, width_hz in self._neighbours_hz
            ),
        )


def _without_line(spectrum: Spectrum, hz: float) -> Spectrum:
    """Take the receiver's own offset at its centre out: there the density is that beside it."""
    at = round((hz - spectrum.first_hz) / spectrum.bin_hz)
    if not _BESIDE[1] <= at < spectrum.psd.size - _BESIDE[1]:
        return spectrum
    psd = spectrum.psd.copy()
    sides = [psd[at - _BESIDE[1] : at - _BESIDE[0]], psd[at + _BESIDE[0] : at + _BESIDE[1]]]
    beside = float(np.median(np.concatenate(sides)))
    span = slice(at - _BESIDE[0], at + _BESIDE[0] + 1)
    psd[span] = np.minimum(psd[span], beside)
    return replace(spectrum, psd=psd)
