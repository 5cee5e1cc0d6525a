"""A sweep's samples kept as it goes: SigMF with one capture per hop."""

from collections.abc import Iterable, Iterator
from datetime import timedelta
from pathlib import Path

from calib.correction import Correction
from sniff.cli.recording import fields_of
from sniff.model import Source
from sniff.sources.ahead import Ahead, as_heard, as_received
from sniff.sources.opening import files_of
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
                pieces=(as_heard(block, ahead) for block in hop.blocks),
                index=hop.index,
                start_utc=None if start_utc is None else start_utc + timedelta(seconds=start_s),
            )

    return write_sigmf(
        stem,
        captures(),
        rate_hz=info.rate_hz,
        datatype=info.datatype,
        fields={
            **fields_of(info, ahead, correction=correction),
            "core:description": "a sweep, one capture per hop",
        },
        overwrite=overwrite,
    )


def _behind(air_hz: float, ahead: Ahead) -> float:
    return air_hz if ahead.converter is None else ahead.converter.behind(air_hz)
