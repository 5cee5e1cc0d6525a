"""How wide a signal is: occupied and x-dB bandwidth, Carson's estimate, adjacent channels."""

from dataclasses import dataclass

import numpy as np

from sniff.model import Doubles, Spectrum

OCCUPIED_SHARE = 0.99
"""Share of the power within the occupied bandwidth (ITU Radio Regulations, No. 1.153: 0.5 %
outside on either side)."""


_LOBE_BINS = 4  # of a Blackman-Harris window, on either side


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of spectrum on the indicated scale, Hz."""

    low_hz: float
    high_hz: float

    @property
    def width_hz(self) -> float:
        """Width, Hz."""
        return self.high_hz - self.low_hz


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjacent:
    """Power in the channels beside the signal's own.

    Attributes
    ----------
    offset_hz, width_hz : float
        From the carrier to the middle of the neighbour, and width of all three, Hz.
    lower_db, upper_db : float or None
        Power there over power in the own channel, dB; None where the recording does not reach.
    lower_is_noise, upper_is_noise : bool
        True where it is no more than the receiver's noise: the ratio is then an upper limit.
    """

    offset_hz: float
    width_hz: float
    lower_db: float | None
    upper_db: float | None
    lower_is_noise: bool
    upper_is_noise: bool


def occupied(
    spectrum: Spectrum, noise: Doubles, within: Span, *, share: float = OCCUPIED_SHARE
) -> Span | None:
    """The occupied bandwidth by the beta/2 method (ITU-R SM.443-4, annex 1).

    The receiver's noise is taken off first: it is no part of the signal's power.

    Parameters
    ----------
    spectrum : Spectrum
    noise : ndarray of float64, shape of `spectrum.psd`
        Receiver noise, FS²/Hz.
    within : Span
        Where the signal is; beyond, only noise is.
    share : float
        Of the power that lies inside.

    Returns
    -------
    Span or None
        None when nothing stands over the noise.
    """
    chosen = _bins(spectrum, within)
    over = spectrum.psd[chosen] - noise[chosen]
    # Summed from outside: noise that was taken off may leave small falls, which are ironed out.
    summed = np.maximum.accumulate(np.concatenate([[0.0], np.cumsum(over)]))
    if summed[-1] <= 0:
        return None
    edges_hz = spectrum.frequencies_hz[chosen] - spectrum.bin_hz / 2.0
    edges_hz = np.append(edges_hz, edges_hz[-1] + spectrum.bin_hz)
    outside = (1.0 - share) / 2.0 * summed[-1]
    steps = summed + np.arange(summed.size) * 1e-15 * summed[-1]  # so that it can be inverted
    low_hz, high_hz = np.interp([outside, summed[-1] - outside], steps, edges_hz)
    return Span(low_hz=float(low_hz), high_hz=float(high_hz))


def x_db_span(spectrum: Spectrum, within: Span, *, x_db: float, power: float | None) -> Span | None:
    """The stretch beyond which everything is at least `x_db` below a reference.

    ITU-R SM.328, 1.14 (from memory): discrete lines or density below a stated zero level.

    Parameters
    ----------
    spectrum : Spectrum
    within : Span
        Where the signal is.
    x_db : float
        dB.
    power : float or None
        The reference for a spectrum of lines: that of the unmodulated carrier, FS²; None to take
        the highest density, for a spectrum like noise.

    Returns
    -------
    Span or None
        None when nothing reaches that level.
    """
    chosen = _bins(spectrum, within)
    hz = spectrum.frequencies_hz[chosen]
    top = spectrum.tone_power[chosen]
    # A line's power is that of its whole lobe: between two bins each of them shows less.
    lobe = np.ones(2 * _LOBE_BINS + 1) * spectrum.bin_hz
    level = top if power is None else np.convolve(spectrum.psd[chosen], lobe, mode="same")
    reference = float(top.max()) if power is None else power
    reached = np.flatnonzero(level >= reference * 10.0 ** (-x_db / 10.0))
    if reached.size == 0:
        return None
    first, last = int(reached[0]), int(reached[-1])
    if power is not None:
        first += int(top[first : first + 2 * _LOBE_BINS + 1].argmax())
        back = max(0, last - 2 * _LOBE_BINS)
        last = back + int(top[back : last + 1].argmax())
    return Span(low_hz=float(hz[first]), high_hz=float(hz[last]))


def carson_hz(*, peak_deviation_hz: float, audio_hz: float) -> float:
    """Carson's estimate of the bandwidth, ``2 (D + M)`` (J. R. Carson 1922, Proc. IRE 10; 47 CFR
    2.202(g) with K = 1). The 99 % bandwidth may be wider."""
    return 2.0 * (peak_deviation_hz + audio_hz)


def adjacent(
    spectrum: Spectrum,
    noise: Doubles,
    *,
    within: Span,
    carrier_hz: float,
    offset_hz: float,
    width_hz: float,
) -> Adjacent:
    """Power in the two channels beside the signal's own, over that in its own.

    Parameters
    ----------
    spectrum : Spectrum
    noise : ndarray of float64, shape of `spectrum.psd`
        Receiver noise, FS²/Hz; it is not taken off.
    within : Span
        What the spectrum shows without loss.
    carrier_hz : float
        Indicated, Hz.
    offset_hz, width_hz : float
        As in `Adjacent`.
    """
    own, _ = _power(spectrum, noise, within, carrier_hz, width_hz) or (0.0, 0.0)
    ratios: list[tuple[float | None, bool]] = []
    for middle_hz in (carrier_hz - offset_hz, carrier_hz + offset_hz):
        found = _power(spectrum, noise, within, middle_hz, width_hz)
        if found is None or own <= 0:
            ratios.append((None, False))
        else:
            ratio_db = float(10.0 * np.log10(max(found[0] / own, 1e-30)))
            ratios.append((ratio_db, found[0] < 2.0 * found[1]))
    (lower_db, lower_is_noise), (upper_db, upper_is_noise) = ratios
    return Adjacent(
        offset_hz=offset_hz,
        width_hz=width_hz,
        lower_db=lower_db,
        upper_db=upper_db,
        lower_is_noise=lower_is_noise,
        upper_is_noise=upper_is_noise,
    )


def _power(
    spectrum: Spectrum, noise: Doubles, within: Span, middle_hz: float, width_hz: float
) -> tuple[float, float] | None:
    """Power in a channel and the noise's part of it, FS²; None where the spectrum ends before."""
    span = Span(low_hz=middle_hz - width_hz / 2.0, high_hz=middle_hz + width_hz / 2.0)
    if span.low_hz < within.low_hz or span.high_hz > within.high_hz:
        return None
    chosen = _bins(spectrum, span)
    bins = chosen.stop - chosen.start
    scale = width_hz / max(bins, 1)  # a channel holds no whole number of bins
    return float(spectrum.psd[chosen].sum()) * scale, float(noise[chosen].sum()) * scale


def _bins(spectrum: Spectrum, span: Span) -> slice:
    first = int(np.ceil((span.low_hz - spectrum.first_hz) / spectrum.bin_hz))
    last = int(np.floor((span.high_hz - spectrum.first_hz) / spectrum.bin_hz))
    first = min(max(first, 0), spectrum.psd.size - 1)
    return slice(first, max(first + 1, min(last + 1, spectrum.psd.size)))
