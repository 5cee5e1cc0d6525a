"""Captures of a recording: which samples belong to which centre, and which were lost between."""

from collections.abc import Iterable
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """A gap-free run of stored samples at one centre.

    Attributes
    ----------
    center_hz : float
        Indicated centre, Hz.
    index : int
        Number of the first sample since the recording's start, lost samples counted too.
    samples : int
        How many are stored.
    place : int
        Where the reader finds the first one, in the reader's own counting (bytes or frames).
    """

    center_hz: float
    index: int
    samples: int
    place: int

    @property
    def end_index(self) -> int:
        """Number of the sample after the last."""
        return self.index + self.samples


def within(
    captures: Iterable[Capture], *, center_hz: float, first: int, end: int | None, stride: int
) -> tuple[Capture, ...]:
    """The parts of those captures that are at a centre and inside a stretch of the recording.

    Parameters
    ----------
    captures : iterable of Capture
    center_hz : float
        Exactly the centre of the captures wanted.
    first, end : int
        Sample numbers, the last excluded; no `end` means all there is.
    stride : int
        The reader's steps of `place` for one sample.
    """
    parts = []
    for capture in captures:
        begin = max(first, capture.index)
        stop = capture.end_index if end is None else min(end, capture.end_index)
        if capture.center_hz == center_hz and begin < stop:
            skipped = begin - capture.index
            parts.append(
                replace(
                    capture,
                    index=begin,
                    samples=stop - begin,
                    place=capture.place + skipped * stride,
                )
            )
    return tuple(parts)
