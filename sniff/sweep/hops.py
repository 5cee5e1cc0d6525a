"""The hop plan: which tunings show a span, every place of it in one of them off the DC spike."""

from dataclasses import dataclass
from math import ceil, floor

from sniff.errors import SourceError, UsageError
from sniff.model import Caution, SourceInfo
from sniff.peaks import DEFAULT_FALSE_ALARM_RATE
from sniff.resolution import SpectrumSettings, segment_for_rbw
from sniff.units import format_frequency, format_seconds, format_span
from sniff.windows import Window

MOST_POINTS = 2**21
"""Points of a sweep, at the most: keeps all its arrays below 300 MB."""

LEAST_SEGMENT = 64
"""Fewer bins to a hop leave no room between its spike and its edges."""

LEAST_DWELL_S = 0.05
_LEAST_SEGMENTS = 40  # averaged at each hop, unless the user says how long
_MARGIN_SHARE = 0.02  # of half the usable span: tuners do not stand exactly where they were asked
_MORE_GUARD_BINS = 4  # beyond the window's main lobe, where there are bins to spare


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of frequencies, Hz."""

    low_hz: float
    high_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepSettings:
    """How to sweep.

    Attributes
    ----------
    rbw_hz : float
        Resolution bandwidth wanted, Hz.
    window : Window
    seconds : float or None
        How long to listen at each hop, s; None for what the RBW needs, at least `LEAST_DWELL_S`.
    stay_s : float
        How long to stay at each group of lines to refine them, s; 0 refines none.
    repeat : int
        How many passes over the span.
    hold : bool
        Whether to keep the highest level of any moment too, and to seek lines in it.
    false_alarm_rate : float
        Chance that a sweep over noise alone shows any line.
    """

    rbw_hz: float
    window: Window = Window.HANN
    seconds: float | None = None
    stay_s: float = 0.25
    repeat: int = 1
    hold: bool = False
    false_alarm_rate: float = DEFAULT_FALSE_ALARM_RATE


@dataclass(frozen=True, slots=True, kw_only=True)
class HopPlan:
    """Which centres to tune to, and what of each hop counts.

    Grid point k lies at exactly ``k * bin_hz`` on the indicated scale.

    Attributes
    ----------
    spectrum : SpectrumSettings
        Of each hop.
    rate_hz, bin_hz : float
        Sample rate, and distance of two grid points, Hz.
    first_bin, last_bin : int
        The span on the grid, both ends included.
    half_bins : int
        Points on either side of a hop's centre whose level can be trusted.
    guard_bins : int
        Points on either side of the centre that the DC spike may cover.
    centers_hz : tuple of float
        Indicated centres to ask for, rising.
    seconds : float or None
        How long to listen at each, s; None for all that a recording holds.
    cautions : tuple of Caution
        What of the span was cut off.
    """

    spectrum: SpectrumSettings
    rate_hz: float
    bin_hz: float
    first_bin: int
    last_bin: int
    half_bins: int
    guard_bins: int
    centers_hz: tuple[float, ...]
    seconds: float | None
    cautions: tuple[Caution, ...] = ()

    @property
    def points(self) -> int:
        """Grid points of the span."""
        return self.last_bin - self.first_bin + 1


def plan_hops(span: Span, info: SourceInfo, settings: SweepSettings) -> HopPlan:
    """Plan the hops of a sweep.

    Two neighbours overlap by half of the usable span and a little more, so that each shows what
    the other's spike covers.

    Parameters
    ----------
    span : Span
        On the indicated scale.
    info : SourceInfo
        What a tuner reaches, or which centres a recording holds.
    settings : SweepSettings

    Raises
    ------
    UsageError
        When the span is empty, the RBW out of reach for it, or the time at a hop too short.
    SourceError
        When the source shows nothing of the span.
    """
    rate_hz = info.rate_hz
    segment = segment_for_rbw(settings.rbw_hz, rate_hz, settings.window)
    if segment < LEAST_SEGMENT:
        widest = settings.window.enbw_bins * rate_hz / LEAST_SEGMENT
        raise UsageError(
            f"a resolution bandwidth of {format_span(settings.rbw_hz)} is too wide to stitch at "
            f"{format_frequency(rate_hz)} sample rate; ask for at most {_rounded_down(widest)}"
        )
    bin_hz = rate_hz / segment
    half = floor(info.usable_fraction * segment / 2.0)
    lobe = len(settings.window.coefficients) + 1
    guard = max(lobe, min(lobe + _MORE_GUARD_BINS, segment // 64))
    margin = ceil(_MARGIN_SHARE * half) + 1
    shown = _shown(span, info, reach_hz=(half - margin) * bin_hz)
    first_bin, last_bin = floor(shown.low_hz / bin_hz), ceil(shown.high_hz / bin_hz)
    _check_points(shown, last_bin - first_bin + 1, settings)
    centers_hz: tuple[float, ...]
    if info.tunable:
        bins = _centers(
            first_bin, last_bin, half=half - margin, step=half - margin - guard, guard=guard
        )
        low_hz, high_hz = info.range_hz or (0.0, float("inf"))
        wanted = [min(max(center * bin_hz, low_hz), high_hz) for center in bins]
        centers_hz = tuple(dict.fromkeys(wanted))
    else:
        reach_hz = half * bin_hz
        centers_hz = tuple(
            sorted(
                center
                for center in info.centers_hz
                if center + reach_hz > shown.low_hz and center - reach_hz < shown.high_hz
            )
        )
    return HopPlan(
        spectrum=SpectrumSettings(window=settings.window, segment=segment, holds=settings.hold),
        rate_hz=rate_hz,
        bin_hz=bin_hz,
        first_bin=first_bin,
        last_bin=last_bin,
        half_bins=half,
        guard_bins=guard,
        centers_hz=centers_hz,
        seconds=_dwell(segment, settings, info),
        cautions=_cut(span, shown, info),
    )


def _centers(first: int, last: int, *, half: int, step: int, guard: int) -> list[float]:
    """Centres in bins: the lowest sees the span's beginning, each sees its neighbours' spikes."""
    lowest = first + half
    if last <= lowest - guard:
        return [float(lowest)]
    hops = max(2, 1 + ceil((last - half - lowest) / step))
    return [lowest + step * number for number in range(hops)]


def _shown(span: Span, info: SourceInfo, *, reach_hz: float) -> Span:
    """What of the span the source can show, Hz."""
    if not 0.0 <= span.low_hz < span.high_hz:
        raise UsageError(
            f"a span from {format_frequency(span.low_hz)} to {format_frequency(span.high_hz)} is "
            "empty; give the lower end first, as in 60M:110M"
        )
    if info.tunable:
        low_hz, high_hz = info.range_hz or (0.0, float("inf"))
    else:
        low_hz, high_hz = min(info.centers_hz), max(info.centers_hz)
    low_hz, high_hz = max(0.0, low_hz - reach_hz), high_hz + reach_hz
    shown = Span(low_hz=max(span.low_hz, low_hz), high_hz=min(span.high_hz, high_hz))
    if not shown.low_hz < shown.high_hz:
        below = info.kind == "dongle" and span.high_hz < low_hz
        raise SourceError(
            f"{info.name}: {format_frequency(span.low_hz)} to {format_frequency(span.high_hz)} "
            f"lies outside what {'it shows' if info.tunable else 'this recording holds'}, "
            f"{format_frequency(low_hz, 1e4)} to {format_frequency(high_hz, 1e4)}"
            f"{'; --direct q goes below the tuner' if below else ''}"
        )
    return shown


def _check_points(shown: Span, points: int, settings: SweepSettings) -> None:
    if points <= MOST_POINTS:
        return
    width_hz = shown.high_hz - shown.low_hz
    finest_hz = 1.03 * settings.window.enbw_bins * width_hz / MOST_POINTS
    raise UsageError(
        f"{format_span(width_hz)} at a resolution bandwidth of {format_span(settings.rbw_hz)} are "
        f"{points} points, of which {MOST_POINTS} can be held; ask for --rbw "
        f"{_rounded_up(finest_hz)} or wider, or a narrower span"
    )


def _dwell(segment: int, settings: SweepSettings, info: SourceInfo) -> float | None:
    if not info.tunable:
        return None
    segment_s = segment / info.rate_hz
    if 0.0 < settings.stay_s < segment_s:
        raise UsageError(_too_short("--stay", "each line", settings.stay_s, segment_s, settings))
    if settings.seconds is None:
        hop = 1.0 - settings.window.recommended_overlap
        return max(LEAST_DWELL_S, (_LEAST_SEGMENTS * hop + 1.0) * segment_s)
    if settings.seconds < segment_s:
        raise UsageError(_too_short("--seconds", "each hop", settings.seconds, segment_s, settings))
    return settings.seconds


def _too_short(
    option: str, where: str, seconds: float, needed_s: float, settings: SweepSettings
) -> str:
    return (
        f"{option} {format_seconds(seconds)} at {where} is too short for a resolution bandwidth of "
        f"{format_span(settings.rbw_hz)}, which needs {_rounded_up(needed_s, unit='s')}"
    )


def _cut(span: Span, shown: Span, info: SourceInfo) -> tuple[Caution, ...]:
    lost = []
    if shown.low_hz > span.low_hz:
        lost.append(f"below {format_frequency(shown.low_hz, 1e4)}")
    if shown.high_hz < span.high_hz:
        lost.append(f"above {format_frequency(shown.high_hz, 1e4)}")
    if not lost:
        return ()
    who = "the tuner does not reach" if info.tunable else "the recording does not hold"
    text = f"the span was cut: {who} what lies {' and '.join(lost)}"
    return (Caution(code="span-cut", text=text),)


def _rounded_up(value: float, *, unit: str = "Hz") -> str:
    """Two digits, never less than the value: what is advised must work."""
    from math import log10

    step = 10.0 ** (floor(log10(value)) - 1)
    up = ceil(value / step - 1e-9) * step
    return format_span(up) if unit == "Hz" else format_seconds(up)


def _rounded_down(hz: float) -> str:
    from math import log10

    step = 10.0 ** (floor(log10(hz)) - 1)
    return format_span(floor(hz / step) * step)
