"""Labels that a SigMF recording carries, on the source's own time axis."""

from dataclasses import dataclass
from pathlib import Path

from sniff.errors import UsageError
from sniff.sources.recording.sigmf import indices_of
from sniff.sources.recording.sigmf_files import ARCHIVE, DATA, METADATA, find_sigmf


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A label at a moment, s since the recording's first sample, lost samples counted."""

    at_s: float
    text: str


def read_labels(name: str, *, rate_hz: float) -> tuple[Label, ...]:
    """The labelled annotations of a recording, in order of time.

    Parameters
    ----------
    name : str
        As the user wrote it after ``--from``.
    rate_hz : float
        Of the source that was opened on it.

    Raises
    ------
    UsageError
        When it is no SigMF recording: only those carry annotations.
    SourceError
        When it cannot be read.
    """
    path = Path(name)
    if path.suffix.lower() not in (METADATA, DATA, ARCHIVE):
        raise UsageError(f"{name}: only a SigMF recording carries annotations; give a list of taps")
    metadata = find_sigmf(path).metadata
    captures = list(zip(metadata.captures, indices_of(metadata.captures, []), strict=True))
    labels = []
    for annotation in metadata.annotations:
        before = [each for each in captures if each[0].sample_start <= annotation.sample_start]
        fields, index = before[-1] if before else captures[0]
        at = index + annotation.sample_start - fields.sample_start
        labels.append(Label(at_s=at / rate_hz, text=annotation.label))
    return tuple(sorted(labels, key=lambda label: label.at_s))
