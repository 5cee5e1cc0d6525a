"""A recording as a source of IQ: block by block, as often as asked, in bounded memory."""

from collections.abc import Iterator
from dataclasses import replace
from math import isfinite
from typing import Protocol

import numpy as np

from sniff.errors import SourceError, UsageError
from sniff.model import ComplexSamples, IQBlock, SourceInfo
from sniff.reach import centers_in_words
from sniff.sources.ahead import NOTHING_AHEAD, Ahead
from sniff.sources.recording.captures import Capture, within
from sniff.units import format_frequency, format_seconds

BLOCK_SAMPLES = 2**18
"""Samples of a full block: 2 MiB of complex64, a tenth of a second at 2.4 MS/s."""


class SampleReader(Protocol):
    """Stored samples that can be reached at any place."""

    @property
    def stride(self) -> int:
        """Steps of `place` from one sample to the next."""
        ...

    @property
    def may_hold_nan(self) -> bool:
        """True when samples are stored as floating point."""
        ...

    def read(self, place: int, count: int) -> ComplexSamples:
        """Exactly `count` samples from `place` on, in new memory.

        Raises
        ------
        SourceError
            When they cannot be read.
        """
        ...

    def close(self) -> None:
        """Let go of the file; harmless when called twice."""
        ...


class RecordingTake:
    """A stretch of a recording at one centre; obeys `sniff.model.Take`.

    Not to be read by two threads at once: they would share the reader's buffer.
    """

    def __init__(
        self,
        *,
        name: str,
        captures: tuple[Capture, ...],
        rate_hz: float,
        reader: SampleReader,
        block_samples: int,
    ) -> None:
        self._name = name
        self._captures = captures
        self._rate_hz = rate_hz
        self._reader = reader
        self._block_samples = block_samples

    @property
    def center_hz(self) -> float:
        """Indicated centre, Hz."""
        return self._captures[0].center_hz

    @property
    def rate_hz(self) -> float:
        """Sample rate by the recorder's own clock, Hz."""
        return self._rate_hz

    @property
    def seconds(self) -> float:
        """Stored length, s; lost samples are not in it."""
        return sum(capture.samples for capture in self._captures) / self._rate_hz

    def blocks(self) -> Iterator[IQBlock]:
        """Read it from its beginning; no block reaches over the end of a capture.

        Raises
        ------
        SourceError
            When the file ends early or holds NaN or infinity.
        """
        for capture in self._captures:
            for done in range(0, capture.samples, self._block_samples):
                count = min(self._block_samples, capture.samples - done)
                samples = self._reader.read(capture.place + done * self._reader.stride, count)
                if self._reader.may_hold_nan:
                    self._refuse_not_finite(samples, capture.index + done)
                yield IQBlock(
                    samples=samples,
                    rate_hz=self._rate_hz,
                    center_hz=capture.center_hz,
                    index=capture.index + done,
                )

    def _refuse_not_finite(self, samples: ComplexSamples, index: int) -> None:
        finite = np.isfinite(samples)
        if not finite.all():
            at = int(np.argmin(finite))
            after = format_seconds((index + at) / self._rate_hz)
            raise SourceError(
                f"{self._name}: sample {index + at} ({after} from the start) is "
                f"{samples[at]:g}, not a number in range; the recording is damaged or of another "
                "datatype: read around it with --start and --seconds"
            )


class RecordingSource:
    """A recording; obeys `sniff.model.Source`.

    Opened at its first capture's centre; `tune` goes to others. `start_s` and `seconds` count
    along the recording's time, lost samples and other centres included, as `IQBlock.start_s` does.

    Parameters
    ----------
    info : SourceInfo
        `centers_hz` is filled in from the captures, and `duration_s` too.
    captures : tuple of Capture
        In the order of their index, at least one.
    reader : SampleReader
        Closed with the source.
    ahead : Ahead
        What the file says lay ahead of the receiver: still in it, `open_source` takes it out.
    block_samples : int
        Samples of a full block.
    """

    def __init__(
        self,
        *,
        info: SourceInfo,
        captures: tuple[Capture, ...],
        reader: SampleReader,
        ahead: Ahead = NOTHING_AHEAD,
        block_samples: int = BLOCK_SAMPLES,
    ) -> None:
        self.ahead = ahead
        self._end_index = captures[-1].end_index
        self._info = replace(
            info,
            centers_hz=tuple(dict.fromkeys(capture.center_hz for capture in captures)),
            duration_s=self._end_index / info.rate_hz,
        )
        self._captures = captures
        self._reader = reader
        self._block_samples = block_samples
        self._center_hz = captures[0].center_hz

    @property
    def info(self) -> SourceInfo:
        """What the recording says of itself."""
        return self._info

    def tune(self, center_hz: float) -> float:
        """Go to the captures that show a frequency, by the nearest centre; return that, Hz.

        Raises
        ------
        SourceError
            When none is there.
        """
        nearest = min(self._info.centers_hz, key=lambda center: abs(center - center_hz))
        if not abs(nearest - center_hz) < self._info.rate_hz / 2.0:
            there = centers_in_words(self._info.centers_hz)
            raise SourceError(
                f"{self._info.name}: nothing was recorded about "
                f"{format_frequency(center_hz)}; it was tuned to {there}"
            )
        self._center_hz = nearest
        return nearest

    def set_gain(self, gain_db: float | None) -> float | None:
        """Refuse: the gain of a recording is what it was.

        Raises
        ------
        SourceError
            Always.
        """
        raise SourceError(f"{self._info.name}: the gain of a recording cannot be changed")

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        """Read a stretch at the present centre; raises as `take` does."""
        return self.take(seconds=seconds, start_s=start_s).blocks()

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> RecordingTake:
        """The stretch of the recording's time that begins at `start_s`, at the present centre.

        Parameters
        ----------
        seconds : float or None
            Length, s; what lies past the end is left out. None reads to the end.
        start_s : float
            Time since the recording's start, s.

        Raises
        ------
        UsageError
            When the length is not above zero or the start is negative.
        SourceError
            When the start lies past the end, or nothing was recorded at this centre in that time.
        """
        rate_hz = self._info.rate_hz
        if not (isfinite(start_s) and start_s >= 0):
            raise UsageError(f"a start of {start_s:g} s makes no sense; it must not be negative")
        if seconds is not None and not (isfinite(seconds) and seconds * rate_hz >= 0.5):
            raise UsageError(
                f"a length of {seconds:g} s makes no sense; ask for one sample or more"
            )
        first = round(start_s * rate_hz)
        if first >= self._end_index:
            raise SourceError(
                f"{self._info.name}: the start at {format_seconds(start_s)} lies past the end; "
                f"the recording is {format_seconds(self._end_index / rate_hz)} long"
            )
        end = None if seconds is None else first + max(1, round(seconds * rate_hz))
        parts = within(
            self._captures,
            center_hz=self._center_hz,
            first=first,
            end=end,
            stride=self._reader.stride,
        )
        if not parts:
            raise SourceError(self._nothing_there())
        return RecordingTake(
            name=self._info.name,
            captures=parts,
            rate_hz=rate_hz,
            reader=self._reader,
            block_samples=self._block_samples,
        )

    def close(self) -> None:
        """Close the file; harmless when called twice."""
        self._reader.close()

    def _nothing_there(self) -> str:
        own = [capture for capture in self._captures if capture.center_hz == self._center_hz]
        first_s = own[0].index / self._info.rate_hz
        end_s = own[-1].end_index / self._info.rate_hz
        return (
            f"{self._info.name}: nothing was recorded at {format_frequency(self._center_hz)} in "
            f"that time; its captures lie between {format_seconds(first_s)} and "
            f"{format_seconds(end_s)}"
        )
