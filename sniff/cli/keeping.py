"""``--keep-iq``: a live measurement keeps its samples in the job."""

from collections.abc import Mapping
from typing import Any

import click

from sniff.cli.recording import fields_of
from sniff.errors import UsageError
from sniff.model import Source, SourceInfo
from sniff.sources.ahead import AheadSource, as_received
from sniff.sources.kept import KeptSource
from sniff.sources.recording.live import LiveRecorder


def kept(source: Source, given: Mapping[str, Any]) -> Source:
    """The same source, which writes what is taken from it when it is closed.

    Raises
    ------
    UsageError
        When it is a recording already.
    """
    receiver, ahead = as_received(source)
    if receiver.info.duration_s is not None:
        raise UsageError("--keep-iq: what is measured is a recording already; leave it out")

    def recorder(info: SourceInfo) -> LiveRecorder:
        return LiveRecorder(
            given["keep_stem"],
            rate_hz=info.rate_hz,
            datatype=info.datatype,
            fields=fields_of(info, ahead, asked_hz=given["center"]),
            start_utc=info.start_utc,
        )

    keeping = KeptSource(receiver, recorder, tell=_say)
    if isinstance(source, AheadSource):
        # What the receiver sent is recorded; what lies ahead of it is told in the metadata.
        source.inner = keeping
        return source
    return keeping


def _say(trouble: str) -> None:
    click.echo(f"sniff: samples not kept: {trouble}", err=True)
