"""A sweep's samples kept as it goes: SigMF with one capture per hop."""

from collections.abc import Iterable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

from calib.correction import Correction
from sniff.model import IQBlock, Source
from sniff.sources.ahead import Ahead, as_received
from sniff.sources.opening import files_of
from sniff.sources.recording.sigmf_metadata import EXTENSION
from sniff.sources.recording.target import check_room, check_stem
from sniff.sources.recording.write import CaptureToWrite, write_sigmf
from sniff.sweep.run import Hop


def check_target(stem: Path, source: str) -> None:
    """Refuse, before anything is heard, a name that cannot be written.

    Raises
    ------
    UsageError, SourceError
        With what to do.
    """
    check_stem(stem, source_files=files_of(source))
    check_room(stem)


def recorded(
    hops: Iterable[Hop], stem: Path, source: Source, correction: Correction, *, overwrite: bool
) -> Path:
    """Go through the hops, and write what they hear as the receiver hears it.

    What lies ahead of the receiver is told in the metadata, and taken out again on reading.

    Raises
    ------
    UsageError
        When a recording of that name is there.
    SourceError
        When it cannot be written, or there was no hop.
    """
    receiver, ahead = as_received(source)
    info = receiver.info
    start_utc = info.start_utc

    def captures() -> Iterator[CaptureToWrite]:
        for hop in hops:
            start_s = hop.index / info.rate_hz
            yield CaptureToWrite(
                center_hz=_behind(hop.center_hz, ahead),
                pieces=(_as_heard(block, ahead) for block in hop.blocks),
                index=hop.index,
                start_utc=None if start_utc is None else start_utc + timedelta(seconds=start_s),
            )

    return write_sigmf(
        stem,
        captures(),
        rate_hz=info.rate_hz,
        datatype=info.datatype,
        fields=_fields(receiver, ahead, correction),
        overwrite=overwrite,
    )


def _behind(air_hz: float, ahead: Ahead) -> float:
    return air_hz if ahead.converter is None else ahead.converter.behind(air_hz)


def _as_heard(block: IQBlock, ahead: Ahead) -> IQBlock:
    samples = block.samples
    if ahead.converter is not None and ahead.converter.inverted:
        samples = samples.conj()
    if ahead.pad_db != 0:
        samples = samples / np.float32(10.0 ** (ahead.pad_db / 20.0))
    return IQBlock(
        samples=samples,
        rate_hz=block.rate_hz,
        center_hz=_behind(block.center_hz, ahead),
        index=block.index,
    )


def _fields(receiver: Source, ahead: Ahead, correction: Correction) -> dict[str, Any]:
    info, converter = receiver.info, ahead.converter
    stated = {
        "gain_db": info.gain_db,
        "serial": info.serial,
        "tuner_image_offset_hz": info.image_offset_hz,
        "clock_hz": info.clock_hz,
        "usable_fraction": info.usable_fraction,
        "converter_hz": None if converter is None else converter.shift_hz,
        "inverted": None if converter is None else converter.inverted,
        "u_converter_hz": None if converter is None else converter.u_hz or None,
        "pad_db": ahead.pad_db or None,
        "clock_ppm": correction.ppm,
        "clock_u_ppm": correction.u_ppm,
        "clock_origin": correction.origin,
    }
    own = {f"{EXTENSION}:{key}": value for key, value in stated.items() if value is not None}
    hardware = info.kind if info.serial is None else f"{info.kind} {info.serial}"
    return {"core:hw": hardware, "core:description": "a sweep, one capture per hop", **own}
