"""What resolution a spectrum has: its settings, and the segment length that an RBW asks for."""

from dataclasses import dataclass
from itertools import count
from math import ceil, floor, isfinite, log10

import ducc0

from sniff.errors import UsageError
from sniff.units import format_frequency, format_span
from sniff.windows import Window

MIN_SEGMENT = 16
# Keeps all arrays of one estimate, holds included, near 100 MB.
MAX_SEGMENT = 2**20
# More overlap costs time and tells nothing new.
MAX_OVERLAP = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectrumSettings:
    """What must be equal for two spectra to be comparable.

    Attributes
    ----------
    window : Window
    segment : int or None
        Samples per segment; either this or `rbw_hz`.
    rbw_hz : float or None
        Resolution bandwidth wanted, Hz. The nearest fast length is taken, and the spectrum tells
        the true one.
    overlap : float or None
        Fraction of a segment shared with the next, 0 to `MAX_OVERLAP`; None for what suits the
        window.
    holds : bool
        Whether the largest and the smallest density of any one segment are kept.
    threads : int
        How many threads transform; the result does not depend on it.

    Raises
    ------
    UsageError
        When `rbw_hz` is not a finite number above zero.
    ValueError
        When anything else is out of range.
    """

    window: Window = Window.HANN
    segment: int | None = None
    rbw_hz: float | None = None
    overlap: float | None = None
    holds: bool = False
    threads: int = 1

    def __post_init__(self) -> None:
        if (self.segment is None) == (self.rbw_hz is None):
            raise ValueError(f"give segment or rbw_hz, not {self.segment=} and {self.rbw_hz=}")
        if self.segment is not None and not MIN_SEGMENT <= self.segment <= MAX_SEGMENT:
            raise ValueError(f"{self.segment=} must be {MIN_SEGMENT} to {MAX_SEGMENT}")
        if self.rbw_hz is not None and not (isfinite(self.rbw_hz) and self.rbw_hz > 0):
            raise UsageError(
                f"resolution bandwidth {self.rbw_hz:g} Hz must be a finite number above zero"
            )
        if self.overlap is not None and not 0 <= self.overlap <= MAX_OVERLAP:
            raise ValueError(f"{self.overlap=} must be 0 to {MAX_OVERLAP}")
        if self.threads < 1:
            raise ValueError(f"{self.threads=} must be at least 1")

    def segment_at(self, rate_hz: float) -> int:
        """Samples per segment at this sample rate.

        Raises
        ------
        UsageError
            When `rbw_hz` is out of reach at this rate.
        """
        if self.segment is not None:
            return self.segment
        assert self.rbw_hz is not None  # one of the two is set, see above
        return segment_for_rbw(self.rbw_hz, rate_hz, self.window)

    def hop_of(self, segment: int) -> int:
        """Samples from the beginning of one segment to that of the next."""
        overlap = self.window.recommended_overlap if self.overlap is None else self.overlap
        return max(1, round(segment * (1.0 - overlap)))


def segment_for_rbw(rbw_hz: float, rate_hz: float, window: Window) -> int:
    """The even segment length, fast for an FFT, whose RBW is nearest to the one wanted.

    Such lengths lie at most 5 % apart from 256 on, so that the RBW is met within 2.5 % there
    (8 % below). The true RBW is ``window.enbw_bins * rate_hz / length``.

    Parameters
    ----------
    rbw_hz : float
        Equivalent noise bandwidth wanted, Hz.
    rate_hz : float
        Sample rate, Hz.
    window : Window

    Raises
    ------
    UsageError
        When no length from `MIN_SEGMENT` to `MAX_SEGMENT` does it; names the limit.
    """
    ideal = window.enbw_bins * rate_hz / rbw_hz
    if ideal < MIN_SEGMENT:
        limit = f"at most {format_span(_finer(window.enbw_bins * rate_hz / MIN_SEGMENT))}"
    elif ideal > MAX_SEGMENT:
        limit = f"at least {format_span(_coarser(window.enbw_bins * rate_hz / MAX_SEGMENT))}"
    else:
        below = next(n for n in count(2 * floor(ideal / 2), -2) if _is_fast(n))
        above = next(n for n in count(2 * ceil(ideal / 2), 2) if _is_fast(n))
        return below if ideal / below <= above / ideal else above
    raise UsageError(
        f"a resolution bandwidth of {format_span(rbw_hz)} is out of reach at "
        f"{format_frequency(rate_hz)} sample rate with this window; ask for {limit}"
    )


def finest_rbw(samples: int, rate_hz: float, window: Window) -> float:
    """The finest RBW, Hz, for which `samples` (>= `MIN_SEGMENT`) make a segment.

    Rounded up to the two digits in which `format_span` shows it, so that what is advised works.
    """
    length = next(n for n in count(2 * (samples // 2), -2) if _is_fast(n))
    return _coarser(window.enbw_bins * rate_hz / min(length, MAX_SEGMENT))


def _is_fast(n: int) -> bool:
    return bool(ducc0.fft.good_size(n) == n)


def _coarser(rbw_hz: float) -> float:
    step = 10.0 ** (floor(log10(rbw_hz)) - 1)
    return ceil(rbw_hz / step) * step


def _finer(rbw_hz: float) -> float:
    step = 10.0 ** (floor(log10(rbw_hz)) - 1)
    return floor(rbw_hz / step) * step
