"""Carriers: which of those heard is which, by the pattern that their standard gives them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor

import numpy as np
import numpy.typing as npt

from sniff.model import ComplexSamples, Doubles, IQBlock
from sniff.multiplex.systems import Rhythm, System

_MOST_SAMPLES = 2**19  # 4 MB
_MOST_SYMBOLS = 200
_FEWEST_SYMBOLS = 12
_INTO_GUARD = 0.6  # between its echoes at the beginning and the next symbol's
_CLEAR = 8.0  # standard deviations of the best place
_RUNNER_UP = 0.6  # of the best; a second place nearer than that leaves it open
_FEWEST_PILOTS = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """Amplitudes of carriers in successive symbols.

    Attributes
    ----------
    values : ndarray of complex64, shape (symbols, carriers)
    first : int
        Number of carrier 0 from the tuner's centre, in spacings.
    follows : ndarray of bool, shape (symbols - 1,)
        Whether a symbol comes right after the one before, without a null symbol between.
    """

    values: ComplexSamples
    first: int
    follows: npt.NDArray[np.bool_]


def first_stretch(blocks: Iterable[IQBlock], samples: int) -> IQBlock | None:
    """The first samples without a gap, at most so many."""
    parts: list[ComplexSamples] = []
    count = 0
    first: IQBlock | None = None
    for block in blocks:
        if first is None:
            first = block
        if block.index != first.index + count:
            break
        parts.append(block.samples)
        count += block.samples.size
        if count >= samples:
            break
    if first is None:
        return None
    return IQBlock(
        samples=np.concatenate(parts)[:samples],
        rate_hz=first.rate_hz,
        center_hz=first.center_hz,
        index=first.index,
    )


def demodulate(
    heard: IQBlock,
    rhythm: Rhythm,
    *,
    stretch: float,
    start_s: float,
    turn: float,
    band_hz: tuple[float, float],
) -> Cells | None:
    """Split a stretch into symbols and these into carriers.

    Parameters
    ----------
    heard : IQBlock
    rhythm : Rhythm
    stretch : float
        Indicated over true time.
    start_s : float
        When one of the periods in it begins, indicated s since the source was opened.
    turn : float
        Offset of all carriers from whole spacings of the tuner's centre, spacings.
    band_hz : tuple of float
        What of the span is used, from the centre, Hz.

    Returns
    -------
    Cells or None
        None where too few whole symbols were observed.
    """
    useful_s, period_s = rhythm.useful_s * stretch, rhythm.period_s * stretch
    first = ceil(band_hz[0] * useful_s - turn)
    last = floor(band_hz[1] * useful_s - turn)
    length = floor(useful_s * heard.rate_hz)
    into_s = _INTO_GUARD * rhythm.guard_s * stretch
    starts_s = _starts(heard, rhythm, stretch, start_s, period_s) + into_s
    offsets = np.ceil(starts_s * heard.rate_hz).astype(np.int64) - heard.index
    inside = (offsets >= 0) & (offsets + length <= heard.samples.size)
    starts_s, offsets = starts_s[inside][:_MOST_SYMBOLS], offsets[inside][:_MOST_SYMBOLS]
    if starts_s.size < _FEWEST_SYMBOLS or last - first < 8:
        return None
    carriers_hz = (np.arange(first, last + 1) + turn) / useful_s
    samples = heard.samples - heard.samples.mean()
    rows = np.stack([samples[offset : offset + length] for offset in offsets])
    n = np.arange(length)
    kernel = np.exp(-2j * np.pi * np.outer(n / heard.rate_hz, carriers_hz)).astype(np.complex64)
    values = rows @ kernel / np.float32(length)
    # A symbol begins between samples: its first sample's phase is told by how late that is.
    late_s = (offsets + heard.index) / heard.rate_hz - starts_s
    values *= np.exp(-2j * np.pi * np.outer(late_s, carriers_hz)).astype(np.complex64)
    usual_s = useful_s + rhythm.guard_s * stretch
    follows = np.abs(np.diff(starts_s) - usual_s) < 0.01 * rhythm.guard_s
    return Cells(values=values, first=first, follows=follows)


def _starts(
    heard: IQBlock, rhythm: Rhythm, stretch: float, start_s: float, period_s: float
) -> Doubles:
    """Beginnings of the symbols in a stretch, s."""
    end_s = heard.end_index / heard.rate_hz
    periods = np.arange(
        floor((heard.start_s - start_s) / period_s) - 1, ceil((end_s - start_s) / period_s) + 1
    )
    starts_s = start_s + periods[:, None] * period_s + np.array(rhythm.starts_s) * stretch
    return np.asarray(starts_s.ravel(), np.float64)


def samples_needed(rhythm: Rhythm, rate_hz: float) -> int:
    """How many samples tell the carriers apart."""
    symbols_s = _MOST_SYMBOLS * rhythm.period_s / len(rhythm.starts_s)
    return min(_MOST_SAMPLES, ceil(symbols_s * rate_hz))


def which_carrier(cells: Cells, system: System, places: Sequence[int]) -> int | None:
    """Where the channel's centre lies.

    Parameters
    ----------
    cells : Cells
    system : System
    places : sequence of int
        Where it may lie, spacings from the tuner's centre.

    Returns
    -------
    int or None
        One of the places; None where the pattern does not tell.
    """
    if len(places) == 0:
        return None
    count = cells.values.shape[1]
    if system.pilots:
        scores, clear = _by_pilots(cells, system, places, count)
    else:
        scores, clear = _by_gaps(cells, system, places, count)
    best = int(scores.argmax())
    if not clear[best]:
        return None
    others = np.delete(scores, best)
    if others.size and others.max() > _RUNNER_UP * scores[best]:
        return None
    return int(places[best])


def _by_pilots(
    cells: Cells, system: System, places: Sequence[int], count: int
) -> tuple[Doubles, npt.NDArray[np.bool_]]:
    """Continual pilots come back the same from symbol to symbol, data do not."""
    now, then = cells.values[1:][cells.follows], cells.values[:-1][cells.follows]
    power = (np.abs(cells.values) ** 2).mean(axis=0) * now.shape[0]
    alike = (now * np.conj(then)).sum(axis=0) / np.maximum(power, 1e-30)
    scores = np.zeros(len(places))
    clear = np.zeros(len(places), dtype=bool)
    for number, place in enumerate(places):
        at = np.array(system.pilots) + place - cells.first
        at = at[(at >= 0) & (at < count)]
        if at.size < _FEWEST_PILOTS:
            continue
        # All carriers turn alike from one symbol to the next, so the sum is coherent.
        scores[number] = abs(alike[at].sum()) / at.size
        clear[number] = scores[number] * np.sqrt(at.size * now.shape[0]) > _CLEAR
    return scores, clear


def _by_gaps(
    cells: Cells, system: System, places: Sequence[int], count: int
) -> tuple[Doubles, npt.NDArray[np.bool_]]:
    """Steps of the power from carrier to carrier: at both edges, and about the empty middle."""
    levels = 10.0 * np.log10((np.abs(cells.values) ** 2).mean(axis=0) + 1e-30)
    steps = np.diff(levels)  # steps[i]: from carrier i to i + 1
    scatter = 1.4826 * float(np.median(np.abs(steps - np.median(steps)))) + 1e-9
    reach = system.reach
    wanted = [(-reach - 1, 1.0), (reach, -1.0)]
    if system.middle_empty:
        wanted += [(-1, -1.0), (0, 1.0)]
    scores = np.zeros(len(places))
    clear = np.zeros(len(places), dtype=bool)
    for number, place in enumerate(places):
        seen = [
            sign * steps[at]
            for offset, sign in wanted
            if 0 <= (at := offset + place - cells.first) < steps.size
        ]
        if len(seen) < 2:
            continue
        scores[number] = float(np.sum(seen)) / np.sqrt(len(seen))
        # Each of them must be there: one deep step alone is another thing's.
        clear[number] = scores[number] > _CLEAR * scatter and min(seen) > 2.0 * scatter
    return scores, clear
