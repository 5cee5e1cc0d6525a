"""SigMF recordings, pair or archive: metadata and samples joined into a source."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

from sniff.errors import SourceError, UsageError
from sniff.model import Caution, SourceInfo
from sniff.reach import centers_in_words
from sniff.sources.recording.captures import Capture
from sniff.sources.recording.checksum import check_hash
from sniff.sources.recording.datatypes import Datatype, find_datatype
from sniff.sources.recording.given import (
    Given,
    center_fault,
    overridden,
    overridden_hz,
    rate_fault,
)
from sniff.sources.recording.raw import RawReader, odd_length
from sniff.sources.recording.sigmf_files import SigmfFiles, find_sigmf
from sniff.sources.recording.sigmf_metadata import CaptureFields, Metadata
from sniff.sources.recording.source import RecordingSource
from sniff.units import format_frequency, format_seconds

_CLOCKS_AGREE = timedelta(seconds=0.1)  # host clocks stamp buffers no better than this


def open_sigmf(
    path: Path, *, name: str, given: Given, verify: bool | None = None
) -> RecordingSource:
    """Open a SigMF recording by its metadata, its data or its archive.

    A given centre chooses among the captures when they have several, and replaces the file's own
    (with a caution) when they have one.

    Parameters
    ----------
    path : Path
    name : str
        As the user wrote it.
    given : Given
        What replaces the file's own word, each with a caution.
    verify : bool or None
        Whether to check the hash; None checks it unless the recording is long.

    Raises
    ------
    SourceError
        When the recording cannot be read.
    UsageError
        When rate or centre is neither in the file nor given, or no capture has that centre.
    """
    files = find_sigmf(path)
    metadata = files.metadata
    cautions: list[Caution] = []
    converter = metadata.ahead.converter
    if converter is not None and given.on_the_air and given.center_hz is not None:
        given = replace(given, center_hz=converter.behind(given.center_hz))
    datatype = _datatype(metadata, name, given, cautions)
    rate_hz = _rate_hz(metadata, name, given, cautions)
    centers_hz = _centers_hz(metadata.captures, name, given, cautions)
    captures = _captures(files, datatype, rate_hz, centers_hz, cautions)
    if not captures:
        raise SourceError(f"{name}: holds no whole sample")
    if metadata.unfinished:
        text = (
            "its recorder was stopped in the middle, or is still at it; what it vouched for till "
            "then is read, which lacks a second at the most"
        )
        cautions.append(Caution(code="unfinished", text=text))
    cautions += check_hash(files, verify=verify)
    info = SourceInfo(
        kind="recording",
        name=name,
        datatype=datatype.name,
        rail=datatype.rail,
        rate_hz=rate_hz,
        centers_hz=(),
        duration_s=None,
        tunable=False,
        image_offset_hz=metadata.image_offset_hz,
        gain_db=metadata.gain_db,
        serial=metadata.serial,
        start_utc=metadata.captures[0].start_utc,
        cautions=tuple(cautions),
    )
    if metadata.clock_hz is not None:
        info = replace(info, clock_hz=metadata.clock_hz)
    if metadata.usable_fraction is not None:
        info = replace(info, usable_fraction=metadata.usable_fraction)
    chosen_hz = _chosen_hz(captures, name, given, rate_hz)
    reader = RawReader(files.data_path, datatype)
    source = RecordingSource(info=info, captures=captures, reader=reader, ahead=metadata.ahead)
    source.tune(chosen_hz)
    return source


def _datatype(metadata: Metadata, name: str, given: Given, cautions: list[Caution]) -> Datatype:
    try:
        said = find_datatype(metadata.datatype)
    except ValueError as error:
        if given.datatype is None:
            raise SourceError(f"{name}: {error}") from None
        said = None
    if given.datatype is not None and given.datatype != said:
        cautions.append(overridden("datatype", said=metadata.datatype, used=given.datatype.name))
    chosen = given.datatype or said
    assert chosen is not None
    return chosen


def _rate_hz(metadata: Metadata, name: str, given: Given, cautions: list[Caution]) -> float:
    said_hz = metadata.rate_hz
    if given.rate_hz is not None:
        if said_hz is not None and said_hz != given.rate_hz:
            cautions.append(overridden_hz("rate", said_hz=said_hz, used_hz=given.rate_hz))
        return given.rate_hz
    if said_hz is None:
        raise UsageError(f"{name}: does not say its sample rate; give --rate")
    if fault := rate_fault(said_hz):
        raise SourceError(f"{name}: {fault}; give the right one with --rate")
    return said_hz


def _centers_hz(
    stated: tuple[CaptureFields, ...], name: str, given: Given, cautions: list[Caution]
) -> list[float]:
    """Centre of each capture, Hz: its own; the given one where it has none, or where all agree."""
    own_hz = [capture.center_hz for capture in stated]
    if given.center_hz is not None and len(set(own_hz)) == 1:
        said_hz = own_hz[0]
        if said_hz is None or abs(said_hz - given.center_hz) > 0.5:
            if said_hz is not None:
                cautions.append(overridden_hz("center", said_hz=said_hz, used_hz=given.center_hz))
            return [given.center_hz] * len(stated)
    centers_hz = []
    for said_hz in own_hz:
        center_hz = given.center_hz if said_hz is None else said_hz
        if center_hz is None:
            raise UsageError(f"{name}: does not say its centre; give --center")
        if fault := center_fault(center_hz):
            raise SourceError(f"{name}: {fault}; give the right one with --center")
        centers_hz.append(center_hz)
    return centers_hz


def _chosen_hz(captures: tuple[Capture, ...], name: str, given: Given, rate_hz: float) -> float:
    """The centre to begin at, Hz: the first, or of those that show the given one the nearest."""
    if given.center_hz is None:
        return captures[0].center_hz
    asked_hz = given.center_hz
    nearest = min(captures, key=lambda capture: abs(capture.center_hz - asked_hz))
    if abs(nearest.center_hz - asked_hz) < rate_hz / 2.0:
        return nearest.center_hz
    centers_hz = dict.fromkeys(capture.center_hz for capture in captures)
    raise UsageError(
        f"{name}: nothing was recorded about {format_frequency(asked_hz)}; --center chooses "
        f"among {centers_in_words(list(centers_hz))}"
    )


def _captures(
    files: SigmfFiles,
    datatype: Datatype,
    rate_hz: float,
    centers_hz: list[float],
    cautions: list[Caution],
) -> tuple[Capture, ...]:
    """Captures with what is stored of each; those of which nothing is are left out."""
    stated = files.metadata.captures
    stride = datatype.sample_bytes
    data_end = files.data_offset + files.data_bytes
    if not files.missing_bytes:
        data_end -= files.metadata.trailing_bytes
    indices = indices_of(stated, cautions)
    captures = []
    header_bytes = left_over = there = 0
    for number, fields in enumerate(stated):
        header_bytes += fields.header_bytes
        place = files.data_offset + header_bytes + fields.sample_start * stride
        samples, left_over = divmod(max(0, data_end - place), stride)
        if number + 1 < len(stated):
            samples = min(samples, stated[number + 1].sample_start - fields.sample_start)
        elif files.metadata.unfinished and fields.sample_count is not None:
            # What was written since may lie after a gap that the metadata do not tell of yet.
            samples, left_over = min(samples, fields.sample_count), 0
        if samples:
            there = fields.sample_start + samples
            captures.append(
                Capture(
                    center_hz=centers_hz[number],
                    index=indices[number],
                    samples=samples,
                    place=place,
                )
            )
    if captures and left_over:
        cautions.append(odd_length(left_over, datatype))
    missing = max(
        files.metadata.described_samples - there,
        -(-files.missing_bytes // stride),
    )
    if captures and missing > 0:
        cautions.append(
            Caution(
                code="truncated",
                text=f"the recording is cut short: its metadata speak of {there + missing} "
                f"samples, {there} ({format_seconds(there / rate_hz)}) are there",
            )
        )
    if stated[0].sample_start and captures:
        cautions.append(
            Caution(
                code="undescribed-samples",
                text=f"the first {stated[0].sample_start} samples belong to no capture and are "
                "left out",
            )
        )
    _compare_clocks(stated, indices, rate_hz, cautions)
    return tuple(captures)


def indices_of(stated: tuple[CaptureFields, ...], cautions: list[Caution]) -> list[int]:
    """Number of each capture's first sample since the dataset's first, losses counted.

    Adds to `cautions` when the recording contradicts itself.

    A capture without ``core:global_index`` takes its ``core:sample_start`` for it, as the
    specification says.
    """
    starts = [fields.sample_start for fields in stated]
    counted = [
        fields.sample_start if fields.global_index is None else fields.global_index
        for fields in stated
    ]
    ahead = [index - start for index, start in zip(counted, starts, strict=True)]
    if any(later < sooner for sooner, later in pairwise(ahead)):
        cautions.append(
            Caution(
                code="global-index",
                text="core:global_index runs backwards in the metadata and is not used; losses "
                "between captures are not counted",
            )
        )
        return starts
    return [index - ahead[0] for index in counted]


def _compare_clocks(
    stated: tuple[CaptureFields, ...],
    indices: list[int],
    rate_hz: float,
    cautions: list[Caution],
) -> None:
    """Say so when the captures' times of day tell of a gap that the sample numbers do not."""
    timed = [
        (index, fields.start_utc)
        for index, fields in zip(indices, stated, strict=True)
        if fields.start_utc is not None
    ]
    for (index, start), (later_index, later) in pairwise(timed):
        uncounted = later - start - timedelta(seconds=(later_index - index) / rate_hz)
        if abs(uncounted) > _CLOCKS_AGREE:
            cautions.append(
                Caution(
                    code="gap-uncounted",
                    text="the captures' times of day and their sample numbers disagree by "
                    f"{format_seconds(abs(uncounted).total_seconds())}; times are counted by "
                    "sample numbers, so a pause between captures is not in them",
                )
            )
            return
