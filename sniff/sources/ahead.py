"""What sits between the loop and the dongle: a converter and a pad, taken out of the samples.

Behind this room all is as if the dongle itself stood at the loop: centres are frequencies on the
air, an inverted spectrum is turned back, and levels are those before the pad.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from calib.correction import Converter
from sniff.model import IQBlock, Source, SourceInfo, Take


class AheadSource:
    """A source with a converter or a pad ahead of it; obeys `sniff.model.Source`.

    Parameters
    ----------
    inner : Source
        Closed with this one.
    converter : Converter or None
    pad_db : float
        Attenuation ahead, dB; negative for a preamplifier.
    """

    def __init__(self, inner: Source, *, converter: Converter | None, pad_db: float) -> None:
        self._inner = inner
        self._converter = converter or Converter(shift_hz=0.0)
        self._pad_db = pad_db
        self._scale = np.float32(10.0 ** (pad_db / 20.0))

    @property
    def info(self) -> SourceInfo:
        """What the inner source says, as seen from ahead."""
        inner, ahead = self._inner.info, self._converter.ahead
        span = None
        if inner.range_hz is not None:
            low_hz, high_hz = sorted(ahead(edge_hz) for edge_hz in inner.range_hz)
            span = (max(low_hz, 0.0), high_hz)
        return replace(
            inner,
            rail=inner.rail * float(self._scale),
            # Scaled samples are no longer the converter's own codes.
            datatype=inner.datatype if self._pad_db == 0 else "cf32_le",
            centers_hz=tuple(ahead(center_hz) for center_hz in inner.centers_hz),
            range_hz=span,
            converter_hz=self._converter.shift_hz,
            inverted=self._converter.inverted,
            pad_db=self._pad_db,
        )

    def tune(self, center_hz: float) -> float:
        """Set the centre on the air, Hz; return what came of it."""
        return self._converter.ahead(self._inner.tune(self._converter.behind(center_hz)))

    def set_gain(self, gain_db: float | None) -> float | None:
        """As the inner source."""
        return self._inner.set_gain(gain_db)

    def stream(self, *, seconds: float | None, start_s: float = 0.0) -> Iterator[IQBlock]:
        """As the inner source, taken back through pad and converter."""
        return map(self._ahead, self._inner.stream(seconds=seconds, start_s=start_s))

    def take(self, *, seconds: float | None, start_s: float = 0.0) -> Take:
        """As the inner source, taken back through pad and converter."""
        return _AheadTake(self._inner.take(seconds=seconds, start_s=start_s), self)

    def close(self) -> None:
        """Close the inner source."""
        self._inner.close()

    def ahead_hz(self, heard_hz: float) -> float:
        """What is on the air where the inner source hears this, Hz."""
        return self._converter.ahead(heard_hz)

    def _ahead(self, block: IQBlock) -> IQBlock:
        samples = block.samples
        if self._converter.inverted:
            samples = samples.conj()
        if self._pad_db != 0:
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
