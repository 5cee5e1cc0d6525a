"""The shared nouns: what flows from a source to a verdict. Frozen, arrays sealed."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

ComplexSamples = npt.NDArray[np.complex64]
Doubles = npt.NDArray[np.float64]


def _seal(array: npt.NDArray[Any]) -> None:
    array.flags.writeable = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """Something the reader of a result must know before trusting it."""

    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IQBlock:
    """A gap-free run of IQ samples at one tuning.

    Attributes
    ----------
    samples : ndarray of complex64, shape (n,)
        Full scale: ``|I + jQ| = 1`` is 0 dBFS. Sealed on construction.
    rate_hz : float
        Samples per second by the source's own, uncorrected clock.
    center_hz : float
        Indicated frequency of 0 Hz in the samples: what the tuner really did, not what was asked.
    index : int
        Number of the first sample since the source was opened, lost samples counted too. A block
        whose `index` is not the end of the one before tells of a gap.
    """

    samples: ComplexSamples
    rate_hz: float
    center_hz: float
    index: int

    def __post_init__(self) -> None:
        if self.samples.ndim != 1 or self.samples.dtype != np.complex64:
            raise ValueError(
                f"samples must be 1-D complex64, not {self.samples.ndim}-D {self.samples.dtype}"
            )
        if not self.rate_hz > 0:
            raise ValueError(f"{self.rate_hz=} must be above zero")
        _seal(self.samples)

    @property
    def end_index(self) -> int:
        """Number of the sample after the last."""
        return self.index + self.samples.size

    @property
    def start_s(self) -> float:
        """Time of the first sample since the source was opened, s."""
        return self.index / self.rate_hz


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectrum:
    """A Welch estimate, frequencies from low to high.

    Attributes
    ----------
    psd : ndarray of float64, shape (n,)
        Mean power density, FS²/Hz: white noise of total power P reads P / rate everywhere.
    max_hold, min_hold : ndarray of float64, shape (n,), or None
        Largest and smallest density of any one segment, FS²/Hz.
    center_hz, rate_hz : float
        Indicated frequency of bin n // 2, and the span of all bins, Hz.
    window : str
        Name of the window.
    enbw_bins : float
        Equivalent noise bandwidth of the window, bins.
    averages : int
        Number of segments averaged.
    effective_averages : float
        Number of independent segments with the same variance (Welch 1967).
    samples : int
        Number of samples that entered.
    """

    psd: Doubles
    max_hold: Doubles | None = None
    min_hold: Doubles | None = None
    center_hz: float
    rate_hz: float
    window: str
    enbw_bins: float
    averages: int
    effective_averages: float
    samples: int

    def __post_init__(self) -> None:
        for array in (self.psd, self.max_hold, self.min_hold):
            if array is not None:
                _seal(array)

    @property
    def bin_hz(self) -> float:
        """Distance of two bins, Hz."""
        return self.rate_hz / self.psd.size

    @property
    def rbw_hz(self) -> float:
        """Resolution bandwidth: the window's equivalent noise bandwidth, Hz."""
        return self.enbw_bins * self.bin_hz

    @property
    def first_hz(self) -> float:
        """Indicated frequency of bin 0, Hz."""
        return self.center_hz - (self.psd.size // 2) * self.bin_hz

    @property
    def frequencies_hz(self) -> Doubles:
        """Indicated frequency of each bin, Hz, shape (n,)."""
        return self.first_hz + self.bin_hz * np.arange(self.psd.size, dtype=np.float64)

    @property
    def seconds(self) -> float:
        """Length of what entered, s."""
        return self.samples / self.rate_hz

    @property
    def tone_power(self) -> Doubles:
        """Power a steady tone in each bin would have, FS², shape (n,): density times RBW."""
        return np.asarray(self.psd * self.rbw_hz, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """Spectrum against time, in rows of bounded number.

    Attributes
    ----------
    tone_power : ndarray of float32, shape (rows, columns)
        Mean over the row's time, largest over the column's bins, FS².
    row_s : float
        Length of a row, s.
    start_s : float
        Time of the first row's beginning since the source was opened, s.
    first_hz, column_hz : float
        Indicated frequency of column 0 and distance of two columns, Hz.
    """

    tone_power: npt.NDArray[np.float32]
    row_s: float
    start_s: float
    first_hz: float
    column_hz: float

    def __post_init__(self) -> None:
        _seal(self.tone_power)


class Mark(str, Enum):
    """Why a peak may not be a signal on the air or on the loop."""

    DC = "dc"
    IMAGE = "image"
    OWN_SPUR = "own-spur"
    EDGE = "edge"
    OVERLOAD = "overload"


NOT_SIGNALS = frozenset({Mark.DC, Mark.IMAGE, Mark.OVERLOAD})
"""Marks of what the receiver made itself; never offered as a signal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """A line as the instrument indicates it, before any clock correction.

    Attributes
    ----------
    indicated_hz : float
        Frequency on the uncorrected scale, Hz.
    u_indicated_hz : float
        Standard uncertainty (k = 1) of `indicated_hz` by noise, wander and modulation; the
        clock's is not in it.
    level_dbfs : float
        Mean power of the line over the look, dBFS.
    snr_db : float
        Level over the noise in one RBW, dB.
    width_hz : float
        Width at half power beyond what the window alone makes, Hz; 0 for a pure line.
    steady : bool
        True for one frequency and one level over the whole look.
    marks : tuple of Mark
        What the front end may have made of it.
    """

    indicated_hz: float
    u_indicated_hz: float
    level_dbfs: float
    snr_db: float
    width_hz: float
    steady: bool = True
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceInfo:
    """What a source says of itself.

    Attributes
    ----------
    kind : str
        ``recording``, ``bench`` or ``dongle``.
    name : str
        As the user wrote it.
    datatype : str
        SigMF name of the native sample type, such as ``cu8``.
    rail : float
        Largest |I| or |Q| that the native type can hold, full scale 1.0.
    rate_hz : float
        Sample rate by the source's own clock, Hz.
    centers_hz : tuple of float
        Indicated centres: of all captures of a recording, or the present one of a tuner.
    duration_s : float or None
        Length; None for a source without end.
    tunable : bool
        True when `Source.tune` may be given any frequency in `range_hz`.
    range_hz : tuple of float or None
        Lowest and highest centre of a tunable source, Hz.
    clock_hz : float or None
        The instrument's clock, whose multiples may show as own spurs.
    image_offset_hz : float or None
        A low-IF tuner also hears, weaker, what is this far above: twice its IF, Hz.
    usable_fraction : float
        Part of the span, about the centre, in which levels can be trusted.
    u_center_hz : float
        Standard uncertainty (k = 1) of the indicated centre, where it is not known what the tuner
        made of what it was asked, Hz.
    converter_hz : float
        Shift of a converter ahead of the tuner: what is on the air is heard this much higher, Hz.
    u_converter_hz : float
        Standard uncertainty (k = 1) of that converter's LO, Hz.
    inverted : bool
        Whether that converter turns the spectrum round: `converter_hz` minus the air is heard.
    pad_db : float
        Attenuation ahead of the tuner, already added to all levels; negative for a preamplifier.
    gain_db : float or None
        Gain of the tuner, dB; None when it is automatic, or there is none.
    serial : str or None
        Serial number of the dongle.
    start_utc : datetime or None
        Time of the first sample, aware UTC.
    cautions : tuple of Caution
        What was odd when it was opened.
    """

    kind: str
    name: str
    datatype: str
    rail: float
    rate_hz: float
    centers_hz: tuple[float, ...]
    duration_s: float | None
    tunable: bool
    range_hz: tuple[float, float] | None = None
    clock_hz: float | None = 28.8e6
    image_offset_hz: float | None = None
    usable_fraction: float = 0.8
    u_center_hz: float = 0.0
    converter_hz: float = 0.0
    u_converter_hz: float = 0.0
    inverted: bool = False
    pad_db: float = 0.0
    gain_db: float | None = None
    serial: str | None = None
    start_utc: datetime | None = None
    cautions: tuple[Caution, ...] = ()


class Take(Protocol):
    """A stretch of IQ at one tuning that can be read more than once, always the same."""

    @property
    def center_hz(self) -> float:
        """Indicated centre, Hz."""
        ...

    @property
    def rate_hz(self) -> float:
        """Sample rate by the source's own clock, Hz."""
        ...

    @property
    def seconds(self) -> float:
        """Observed length, s: of what is there, not of what was asked."""
        ...

    def blocks(self) -> Iterator[IQBlock]:
        """Read it from its beginning."""
        ...


class Source(Protocol):
    """Where IQ comes from: a recording, the simulated bench, a dongle."""

    @property
    def info(self) -> SourceInfo:
        """What it says of itself, at this moment."""
        ...

    def tune(self, center_hz: float) -> float:
        """Set the centre, and return the indicated centre that came of it, Hz.

        A recording goes to its captures that show this frequency, by the nearest centre.

        Raises
        ------
        SourceError
            When it cannot be tuned there.
        """
        ...

    def set_gain(self, gain_db: float | None) -> float | None:
        """Set the tuner's gain to the nearest step, None for automatic; return what came of it.

        Raises
        ------
        SourceError
            On a recording.
        """
        ...

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        """Read once, block by block; a live source goes on where it is and ignores `start_s`.

        Raises
        ------
        SourceError
            When `start_s` lies past the end, or the source fails.
        """
        ...

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> Take:
        """A stretch that can be read again; a live source keeps it on disk till `close`."""
        ...

    def close(self) -> None:
        """Let go of device and files; harmless when called twice."""
        ...
