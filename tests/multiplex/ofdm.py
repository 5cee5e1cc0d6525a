"""Synthetic multiplexes from their published parameters, as a dongle with a clock error hears them.

By cause: every carrier at its true frequency, every symbol at its true time, sampled at the
instants that a clock fast by so much makes, and mixed with an LO that is higher by as much. No
interpolation: each symbol is the sum of its carriers at the instants of the samples.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.signals import phasors
from tests.values import ofdm as published


@dataclass(frozen=True, kw_only=True)
class Sent:
    """Symbols of a multiplex, in true time.

    Attributes
    ----------
    places : ndarray of int, shape (carriers,)
        Of those that are in view, spacings from the channel's centre.
    cells : ndarray of complex64, shape (symbols, carriers)
    starts_s, lengths_s : ndarray of float64, shape (symbols,)
    guard_s, spacing_hz : float
    """

    places: npt.NDArray[np.int64]
    cells: npt.NDArray[np.complex64]
    starts_s: npt.NDArray[np.float64]
    symbol_s: float
    guard_s: float
    spacing_hz: float


def dab(rng: np.random.Generator, *, seconds: float, view_hz: tuple[float, float]) -> Sent:
    """Mode I: a null symbol, then 76 symbols of differentially coded carriers; none at 0, and only
    those within the view, Hz from the channel's centre."""
    facts = published.DAB
    t_s = 1.0 / facts["rate_hz"]
    frames = int(np.ceil(seconds / facts["frame_s"])) + 1
    half = facts["carriers"] // 2
    places = np.concatenate([np.arange(-half, 0), np.arange(1, half + 1)])
    places = places[
        (places * facts["spacing_hz"] > view_hz[0]) & (places * facts["spacing_hz"] < view_hz[1])
    ]
    steps = rng.integers(0, 4, (frames, facts["symbols"], places.size))
    steps[:, 1:] = 2 * steps[:, 1:] + 1  # pi/4-DQPSK: odd multiples of 45 degrees
    phases = np.cumsum(steps, axis=1) * np.pi / 4.0
    cells = np.exp(1j * phases).astype(np.complex64).reshape(-1, places.size)
    in_frame_t = facts["null_t"] + np.arange(facts["symbols"]) * facts["symbol_t"]
    starts_t = np.arange(frames)[:, None] * facts["frame_t"] + in_frame_t
    return Sent(
        places=places,
        cells=cells,
        # The first sample falls anywhere in a frame.
        starts_s=(starts_t.ravel() - rng.uniform(0, facts["frame_t"])) * t_s,
        symbol_s=facts["symbol_t"] * t_s,
        guard_s=facts["guard_t"] * t_s,
        spacing_hz=facts["spacing_hz"],
    )


def dvbt(
    rng: np.random.Generator,
    *,
    seconds: float,
    mode: int,
    guard_part: int,
    pilots: tuple[int, ...],
    view_hz: tuple[float, float],
) -> Sent:
    """64-QAM data with scattered and continual pilots; only carriers within the view, Hz from the
    channel's centre."""
    useful_s, _, carriers, _ = published.DVBT_8MHZ[mode]
    symbol_s = useful_s * (1.0 + 1.0 / guard_part)
    symbols = int(np.ceil(seconds / symbol_s)) + 2
    places = np.arange(carriers) - carriers // 2
    seen = (places / useful_s > view_hz[0]) & (places / useful_s < view_hz[1])
    places = places[seen]
    levels = np.array([-7, -5, -3, -1, 1, 3, 5, 7]) / np.sqrt(42.0)
    draw = rng.integers(0, 8, (2, symbols, places.size))
    cells = (levels[draw[0]] + 1j * levels[draw[1]]).astype(np.complex64)
    signs = np.where(rng.integers(0, 2, places.size), published.DVBT_BOOST, -published.DVBT_BOOST)
    numbers = places + carriers // 2
    for shift in range(4):
        at = numbers % published.DVBT_SCATTERED_EVERY == 3 * shift
        cells[shift::4, at] = signs[at]
    at = np.isin(places, pilots)
    cells[:, at] = signs[at]
    return Sent(
        places=places,
        cells=cells,
        starts_s=np.arange(symbols) * symbol_s - rng.uniform(0, symbol_s),
        symbol_s=symbol_s,
        guard_s=useful_s / guard_part,
        spacing_hz=1.0 / useful_s,
    )


def heard(
    sent: Sent,
    rng: np.random.Generator,
    *,
    seconds: float,
    channel_hz: float,
    center_hz: float,
    rate_hz: float,
    ppm: float,
    snr_db: float,
    echo: tuple[float, complex] | None = None,
) -> npt.NDArray[np.complex64]:
    """What a dongle tuned to an indicated `center_hz` samples at an indicated `rate_hz`.

    `snr_db` is that of the multiplex's power in view over the noise in the whole span; `echo` is a
    delay, s, and an amplitude.
    """
    factor = 1.0 + ppm * 1e-6
    step_s = 1.0 / (rate_hz * factor)
    count = round(seconds * rate_hz)
    out = np.zeros(count, np.complex64)
    offset_hz = channel_hz - center_hz * factor
    spacing = sent.places * sent.spacing_hz
    # The dongle's filter keeps out what the sampler would fold into the span.
    passed = np.abs(spacing + offset_hz) < 0.48 * rate_hz
    spacing, cells = spacing[passed], sent.cells[:, passed]
    length = int(np.ceil(sent.symbol_s / step_s)) + 1
    n = np.arange(length)
    kernel = phasors(np.outer(spacing, n * step_s))
    carrier = phasors(offset_hz * step_s * np.arange(count))
    for delay_s, gain in [(0.0, 1.0 + 0j), *([echo] if echo else [])]:
        starts_s = sent.starts_s + delay_s
        first = np.ceil(starts_s / step_s).astype(np.int64)
        end = np.ceil((starts_s + sent.symbol_s) / step_s).astype(np.int64)
        late_s = first * step_s - starts_s
        turned = cells * phasors(np.outer(late_s - sent.guard_s, spacing))
        for batch in range(0, first.size, 256):
            rows = turned[batch : batch + 256] @ kernel
            for row, a, b in zip(rows, first[batch:], end[batch:], strict=False):
                low, high = max(a, 0), min(b, count)
                if low < high:
                    at = low - a
                    out[low:high] += np.complex64(gain) * row[at : at + high - low]
    out *= carrier
    power = float((np.abs(out) ** 2).mean())
    noise = np.sqrt(power / 10 ** (snr_db / 10) / 2.0)
    out += (noise * rng.standard_normal((count, 2))).astype(np.float32).view(np.complex64).ravel()
    return np.asarray(out * np.float32(0.2 / np.sqrt(power)), np.complex64)
