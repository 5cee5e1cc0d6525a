"""What sits between the loop and the dongle: a converter and a pad, taken out of the samples.

Behind this room all is as if the dongle itself stood at the loop: centres are frequencies on the
air, an inverted spectrum is turned back, and levels are those before the pad.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calib.correction import Converter
from sniff.model import Caution, IQBlock, Source, SourceInfo, Take
from sniff.units import format_frequency


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """What sits ahead.

    Attributes
    ----------
    converter : Converter or None
    pad_db : float
        Attenuation, dB; negative for a preamplifier.
    """

    converter: Converter | None = None
    pad_db: float = 0.0

    def __str__(self) -> str:
        parts = [] if self.pad_db == 0 else [f"a pad of {self.pad_db:g} dB"]
        if self.converter is not None:
            parts.append(in_words(self.converter))
        return " and ".join(parts) or "nothing"


NOTHING_AHEAD = Ahead()


def in_words(converter: Converter) -> str:
    """A converter in words."""
    shift = format_frequency(abs(converter.shift_hz))
    if converter.inverted:
        return f"an inverting converter with its LO at {shift}"
    if converter.shift_hz == 0:
        return "no converter"
    return f"a converter that shifts by {'-' if converter.shift_hz < 0 else '+'}{shift}"


def as_received(source: Source) -> tuple[Source, Ahead]:
    """A source as the receiver hears it, and what that leaves out."""
    if isinstance(source, AheadSource):
        return source.inner, source.ahead
    return source, NOTHING_AHEAD


def as_heard(block: IQBlock, ahead: Ahead) -> IQBlock:
    """A block of an `AheadSource` as the receiver sent it: the way back."""
    if ahead == NOTHING_AHEAD:
        return block
    samples, center_hz = block.samples, block.center_hz
    if ahead.converter is not None:
        center_hz = ahead.converter.behind(center_hz)
        if ahead.converter.inverted:
            samples = samples.conj()
    if ahead.pad_db != 0:
        samples = samples / np.float32(10.0 ** (ahead.pad_db / 20.0))
    return IQBlock(samples=samples, rate_hz=block.rate_hz, center_hz=center_hz, index=block.index)


class AheadSource:
    """A source with a converter or a pad ahead of it; obeys `sniff.model.Source`.

    Parameters
    ----------
    inner : Source
        Closed with this one.
    ahead : Ahead
    cautions : tuple of Caution
        Added to the inner source's.
    """

    def __init__(self, inner: Source, ahead: Ahead, *, cautions: tuple[Caution, ...] = ()) -> None:
        self.inner = inner
        self.ahead = ahead
        self._converter = ahead.converter or Converter(shift_hz=0.0)
        self._cautions = cautions
        self._scale = np.float32(10.0 ** (ahead.pad_db / 20.0))

    @property
    def info(self) -> SourceInfo:
        """What the inner source says, as seen from ahead."""
        inner, ahead_hz = self.inner.info, self._converter.ahead
        span = None
        if inner.range_hz is not None:
            low_hz, high_hz = sorted(ahead_hz(edge_hz) for edge_hz in inner.range_hz)
            span = (max(low_hz, 0.0), high_hz)
        return replace(
            inner,
            rail=inner.rail * float(self._scale),
            # Scaled samples are no longer the converter's own codes.
            datatype=inner.datatype if self.ahead.pad_db == 0 else "cf32_le",
            centers_hz=tuple(ahead_hz(center_hz) for center_hz in inner.centers_hz),
            range_hz=span,
            converter_hz=self._converter.shift_hz,
            u_converter_hz=self._converter.u_hz,
            inverted=self._converter.inverted,
            pad_db=self.ahead.pad_db,
            cautions=inner.cautions + self._cautions,
        )

    def tune(self, center_hz: float) -> float:
        """Set the centre on the air, Hz; return what came of it."""
        return self._converter.ahead(self.inner.tune(self._converter.behind(center_hz)))

    def set_gain(self, gain_db: float | None) -> float | None:
        """As the inner source."""
        return self.inner.set_gain(gain_db)

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        """As the inner source, taken back through pad and converter."""
        return map(self._ahead, self.inner.stream(seconds=seconds, start_s=start_s))

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> Take:
        """As the inner source, taken back through pad and converter."""
        return _AheadTake(self.inner.take(seconds=seconds, start_s=start_s), self)

    def close(self) -> None:
        """Close the inner source."""
        self.inner.close()

    def ahead_hz(self, heard_hz: float) -> float:
        """What is on the air where the inner source hears this, Hz."""
        return self._converter.ahead(heard_hz)

    def _ahead(self, block: IQBlock) -> IQBlock:
        samples = block.samples
        if self._converter.inverted:
            samples = samples.conj()
        if self.ahead.pad_db != 0:
            samples = samples * self._scale
        return IQBlock(
            samples=samples,
            rate_hz=block.rate_hz,
            center_hz=self._converter.ahead(block.center_hz),
            index=block.index,
        )


class _AheadTake:
    def __init__(self, inner: Take, source: AheadSource) -> None:
        self._inner = inner
        self._source = source

    @property
    def center_hz(self) -> float:
        return self._source.ahead_hz(self._inner.center_hz)

    @property
    def rate_hz(self) -> float:
        return self._inner.rate_hz

    @property
    def seconds(self) -> float:
        return self._inner.seconds

    def blocks(self) -> Iterator[IQBlock]:
        return map(self._source._ahead, self._inner.blocks())
