"""From a spectrum to what is drawn: clock-corrected megahertz, dBFS, no more points than paper."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import sqrt
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
from matplotlib.axis import Axis
from matplotlib.ticker import FuncFormatter, MaxNLocator

from calib.correction import Correction
from sniff.look import Look, LookResult, SeenLine
from sniff.model import Doubles
from sniff.units import format_frequency, format_parts, format_ppm, format_seconds, format_span

U_WORDS = "± is U (k = 2)".replace(" ", "\N{NO-BREAK SPACE}")

Hertz = TypeVar("Hertz", float, Doubles)

_LEAST_POWER = 1e-30
"""-300 dBFS stands for digital silence, which has no logarithm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How an indicated axis becomes a true one.

    Attributes
    ----------
    factor : float
        True over indicated frequency; 1 when nothing is known.
    offset_hz : float
        Added to that when a converter sits ahead of the instrument, Hz.
    words : str
        What the axis says of it.
    statement : str
        The sentence for the small print.
    """

    factor: float
    words: str
    statement: str
    offset_hz: float = 0.0

    def true_hz(self, indicated_hz: Hertz) -> Hertz:
        """From the indicated axis to the true one."""
        return indicated_hz * self.factor + self.offset_hz

    def indicated_hz(self, true_hz: float) -> float:
        """And back."""
        return (true_hz - self.offset_hz) / self.factor


def scale_of(looks: Iterable[Look], clock: Correction | None) -> Scale:
    """The clock correction that was applied, as given or as the lines found tell it.

    Each line found carries its frequency on both scales; their ratio is the correction, and the
    part of its variance that the indication does not explain is the clock's (JCGM 100:2008, 5.1.2,
    read backwards).
    """
    if clock is not None:
        scale = _corrected(clock.factor, clock.ppm, clock.u_ppm, f", {clock.origin}")
        return replace(scale, offset_hz=clock.offset_hz)
    lines = [line for look in looks for line in look.result.peaks if line.indicated_hz > 0]
    if not lines:
        return Scale(factor=1.0, words="as indicated", statement="clock: not corrected")
    sharpest = min(lines, key=lambda line: line.u_indicated_hz)
    factor = sharpest.frequency_hz / sharpest.indicated_hz
    return _corrected(factor, (factor - 1.0) * 1e6, _clock_u_ppm(sharpest, factor), "")


def _clock_u_ppm(line: SeenLine, factor: float) -> float:
    variance = line.u_hz**2 - (line.u_indicated_hz * factor) ** 2
    return sqrt(max(0.0, variance)) / line.indicated_hz * 1e6


def _corrected(factor: float, ppm: float, u_ppm: float, origin: str) -> Scale:
    expanded_ppm = 2.0 * u_ppm
    return Scale(
        factor=factor,
        words="clock-corrected",
        statement=f"clock {format_ppm(ppm, expanded_ppm)} ± {format_parts(expanded_ppm)}{origin}",
    )


def how_taken(result: LookResult) -> str:
    """Resolution, averages, length and window of a look, for the small print."""
    averages = "1 segment" if result.averages == 1 else f"{result.averages} averages"
    return (
        f"RBW {format_span(result.rbw_hz)} · {averages} · "
        f"{format_seconds(result.seconds)} · window {result.window}"
    )


def tunings_in_words(looks: Iterable[Look]) -> list[str]:
    """Where was tuned to and how, a line for each way of looking."""
    tunings: dict[str, list[str]] = {}
    for look in looks:
        center = format_frequency(look.result.center_hz, look.result.rate_hz / 10.0)
        tunings.setdefault(how_taken(look.result), []).append(center)
    # Of several places the same tunings are there again.
    unlike = {how: list(dict.fromkeys(at)) for how, at in tunings.items()}
    return [
        f"{'tuning' if len(at) == 1 else f'{len(at)} tunings'} at {', '.join(at)}: {how}"
        for how, at in unlike.items()
    ]


def to_dbfs(power: npt.NDArray[Any]) -> Doubles:
    """Power (FS²) in dBFS; NaN stays NaN, zero becomes -300 dBFS."""
    return 10.0 * np.log10(np.maximum(np.asarray(power, dtype=np.float64), _LEAST_POWER))


def thin(x: Doubles, y: Doubles, *, columns: int) -> tuple[Doubles, Doubles]:
    """Lowest and highest point of each column of paper: looks like all points, is far fewer.

    Parameters
    ----------
    x, y : ndarray of float64, shape (n,)
        A trace.
    columns : int
        Columns to keep two points of; a trace of at most twice as many passes unchanged.

    Returns
    -------
    tuple of ndarray
        x and y of the points kept, in order.
    """
    group = y.size // columns
    if group <= 2:
        return x, y
    whole = y.size // group * group
    blocks = y[:whole].reshape(-1, group)
    keep = np.sort(np.stack([blocks.argmin(axis=1), blocks.argmax(axis=1)]), axis=0)
    kept = (keep + group * np.arange(blocks.shape[0])).T.ravel()
    # The points after the last whole group are fewer than one group: all are kept.
    kept = np.concatenate([kept, np.arange(whole, y.size)])
    return x[kept], y[kept]


def level_range(traces: Iterable[Doubles], levels: Iterable[float]) -> tuple[float, float]:
    """Lowest and highest level of a picture, dBFS: the noise's foot, the lines and some air.

    The foot is the lower 2 % of each trace and not its minimum: single deep bins would squeeze the
    picture.
    """
    feet, tops = [], []
    for trace in traces:
        finite = trace[np.isfinite(trace)]
        if finite.size:
            feet.append(float(np.quantile(finite, 0.02)))
            tops.append(float(finite.max()))
    heights = [level for level in levels if np.isfinite(level)]
    if not feet and not heights:
        return -150.0, 0.0
    low, high = min([*feet, *heights]), max([*tops, *heights])
    air = max(4.0, 0.06 * (high - low))
    return low - air, high + 1.5 * air


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruler:
    """How a quantity lies on an axis: from which zero, in which unit.

    Attributes
    ----------
    zero, unit : float
        The axis shows ``(quantity - zero) / unit``; all three in Hz, or all three in s.
    most_ticks : int
        No more ticks than this.
    """

    zero: float = 0.0
    unit: float = 1e6
    most_ticks: int = 8

    def place(self, quantity: Any) -> Any:
        """Place on the axis of a quantity or an array of them."""
        return (quantity - self.zero) / self.unit

    def mark(self, axis: Axis) -> None:
        """Set ticks with as many digits as their step needs, and no offset."""
        axis.set_major_locator(
            MaxNLocator(self.most_ticks, steps=[1, 2, 2.5, 5, 10], min_n_ticks=2)
        )
        axis.set_major_formatter(FuncFormatter(lambda value, _: _tick(value, axis)))


def ruler_about(expected_hz: float, span_hz: float) -> tuple[Ruler, str]:
    """A ruler that counts from an expected frequency, so that an error can be read off it.

    Returns
    -------
    tuple of Ruler and str
        The ruler, and the words for its axis.
    """
    unit_hz, unit = (1e3, "kHz") if span_hz >= 3e3 else (1.0, "Hz")
    ruler = Ruler(zero=expected_hz, unit=unit_hz, most_ticks=7)
    return ruler, f"{unit} from {format_frequency(expected_hz)}"


def ruler_of_time(seconds: float) -> tuple[Ruler, str]:
    """A ruler in the unit that suits a stretch of time, and the unit's name."""
    unit_s, unit = (
        (3600.0, "h") if seconds > 10800 else (60.0, "min") if seconds > 600 else (1.0, "s")
    )
    return Ruler(unit=unit_s), unit


def _tick(value: float, axis: Axis) -> str:
    ticks = np.asarray(axis.get_majorticklocs(), dtype=np.float64)
    step = float(np.min(np.diff(ticks))) if ticks.size > 1 else 1.0
    # By trial, since a step of 0.25 needs one digit more than its size tells.
    decimals = next((n for n in range(9) if abs(step - round(step, n)) < 1e-3 * step), 9)
    text = f"{value:.{decimals}f}"
    return (text.lstrip("-") if float(text) == 0 else text).replace("-", "\N{MINUS SIGN}")
