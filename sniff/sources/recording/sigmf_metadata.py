"""SigMF metadata as checked values: the schema is the `sigmf` package's, the sense is ours."""

import json
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from functools import cache
from typing import Any

from calib.correction import Converter
from sniff.errors import SourceError
from sniff.sources.ahead import NOTHING_AHEAD, Ahead

EXTENSION = "sniff"
"""Namespace of our own fields."""

_LARGEST_DB = 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureFields:
    """One entry of ``captures``.

    Attributes
    ----------
    sample_start : int
        Number of its first sample in the dataset.
    global_index : int or None
        The same in the stream the recording was made of, where that was counted.
    center_hz : float or None
    header_bytes : int
        Bytes before its first sample that are none.
    start_utc : datetime or None
    sample_count : int or None
        How many samples the recorder wrote, where it was ours.
    """

    sample_start: int
    global_index: int | None
    center_hz: float | None
    header_bytes: int
    start_utc: datetime | None
    sample_count: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AnnotationFields:
    """A labelled entry of ``annotations``; `sample_start` counts as that of the captures does."""

    sample_start: int
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Metadata:
    """What a reader needs of SigMF metadata.

    Attributes
    ----------
    datatype : str
    rate_hz : float or None
    dataset : str or None
        Name of the file with the samples, when it is not the usual one.
    sha512 : str or None
        Hash of that whole file, lower case.
    trailing_bytes : int
        Bytes at its end that are no samples.
    captures : tuple of CaptureFields
        At least one; `sample_start` counts from the dataset's beginning.
    described_samples : int
        End of what captures and annotations speak of.
    serial : str or None
    image_offset_hz, clock_hz, usable_fraction : float or None
        Our own fields on the instrument.
    gain_db : float or None
        Our own: the tuner's gain, where it was not automatic.
    ahead : Ahead
        Our own: what lay ahead of the receiver, and is still in frequencies and levels.
    unfinished : bool
        Our own: the recorder has not come to its end.
    annotations : tuple of AnnotationFields
        Those with a label.
    """

    datatype: str
    rate_hz: float | None
    dataset: str | None
    sha512: str | None
    trailing_bytes: int
    captures: tuple[CaptureFields, ...]
    described_samples: int
    serial: str | None
    image_offset_hz: float | None
    clock_hz: float | None
    usable_fraction: float | None
    gain_db: float | None = None
    ahead: Ahead = NOTHING_AHEAD
    unfinished: bool = False
    annotations: tuple[AnnotationFields, ...] = ()


def parse_metadata(text: bytes, *, name: str) -> Metadata:
    """Read and check the text of a ``.sigmf-meta``.

    Raises
    ------
    SourceError
        When it is not JSON, not SigMF, needs an extension that is not known here, or describes
        several interleaved channels.
    """
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SourceError(f"{name}: is not JSON: {error}") from None
    _check_schema(document, name)
    top = document["global"]
    for extension in top.get("core:extensions", ()):
        if not extension["optional"] and extension["name"] != EXTENSION:
            raise SourceError(
                f"{name}: cannot be read without the extension {extension['name']!r}, which is "
                "not known here"
            )
    if int(top.get("core:num_channels", 1)) != 1:
        raise SourceError(
            f"{name}: has {top['core:num_channels']} interleaved channels; only one can be read"
        )
    dataset = top.get("core:dataset")
    if dataset is not None and re.search(r"[/\\:]", dataset):
        raise SourceError(f"{name}: core:dataset {dataset!r} must be a bare file name")
    offset = int(top.get("core:offset", 0))
    captures = tuple(
        _capture_fields(entry, offset, name)
        for entry in document["captures"] or [{"core:sample_start": offset}]
    )
    return Metadata(
        datatype=top["core:datatype"],
        rate_hz=_number(top.get("core:sample_rate")),
        dataset=dataset,
        sha512=top["core:sha512"].lower() if "core:sha512" in top else None,
        trailing_bytes=int(top.get("core:trailing_bytes", 0)),
        captures=captures,
        described_samples=_described_samples(captures, document["annotations"], offset),
        serial=_own(top, "serial", str, name),
        image_offset_hz=_own_number(top, "tuner_image_offset_hz", name),
        clock_hz=_own_number(top, "clock_hz", name),
        usable_fraction=_own_number(top, "usable_fraction", name, largest=1.0),
        gain_db=_own_number(top, "gain_db", name, largest=_LARGEST_DB, signed=True),
        ahead=_ahead(top, name),
        unfinished=top.get(f"{EXTENSION}:unfinished") is True,
        annotations=tuple(
            AnnotationFields(
                sample_start=int(entry["core:sample_start"]) - offset,
                label=str(entry["core:label"]),
            )
            for entry in document["annotations"]
            if "core:label" in entry
        ),
    )


def _check_schema(document: Any, name: str) -> None:
    # Imported here: the schema and its validator take a tenth of a second.
    from sigmf import validate as standard

    try:
        error = standard.jsonschema.exceptions.best_match(_validator().iter_errors(document))
        if error is not None:
            raise error
        with warnings.catch_warnings():
            # Fields of an extension that is not declared are read over, not judged.
            warnings.simplefilter("ignore", DeprecationWarning)
            standard.validate(document, {})  # what no schema can say: the order of captures
    except standard.jsonschema.exceptions.ValidationError as error:
        where = ".".join(str(part) for part in error.absolute_path)
        reason = " ".join(error.message.split())
        if len(reason) > 160:  # the message holds the whole value, which may be the whole file
            reason = f"... {reason[-150:]}"
        raise SourceError(
            f"{name}: is not SigMF: {where + ': ' if where else ''}{reason}"
        ) from None


@cache
def _validator() -> Any:
    """The validator of the package's schema; whether that is a schema is not checked each time."""
    from sigmf import schema, validate

    found = schema.get_schema()
    return validate.jsonschema.validators.validator_for(found)(found)


def _capture_fields(entry: Mapping[str, Any], offset: int, name: str) -> CaptureFields:
    start = int(entry["core:sample_start"]) - offset
    if start < 0:
        raise SourceError(
            f"{name}: a capture at sample {entry['core:sample_start']} lies before the dataset's "
            f"first, {offset}"
        )
    stated = entry.get("core:global_index")
    when = entry.get("core:datetime")
    return CaptureFields(
        sample_start=start,
        global_index=None if stated is None else int(stated),
        center_hz=_number(entry.get("core:frequency")),
        header_bytes=int(entry.get("core:header_bytes", 0)),
        start_utc=None if when is None else parse_utc(when),
        sample_count=_own(entry, "sample_count", int, name),
    )


def _described_samples(
    captures: tuple[CaptureFields, ...], annotations: list[dict[str, Any]], offset: int
) -> int:
    ends = [capture.sample_start + (capture.sample_count or 0) for capture in captures]
    ends += [
        int(entry["core:sample_start"]) - offset + int(entry.get("core:sample_count", 0))
        for entry in annotations
    ]
    return max(ends)


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _own(fields: Mapping[str, Any], key: str, kind: type, name: str) -> Any:
    """A field of our own extension, which no schema has checked."""
    value = fields.get(f"{EXTENSION}:{key}")
    is_other = isinstance(value, bool) and kind is not bool  # a bool is an int, too
    if value is not None and (not isinstance(value, kind) or is_other):
        raise SourceError(f"{name}: {EXTENSION}:{key} is {value!r}, not {kind.__name__}")
    return value


def _own_number(
    fields: Mapping[str, Any], key: str, name: str, *, largest: float = 1e12, signed: bool = False
) -> float | None:
    value = fields.get(f"{EXTENSION}:{key}")
    if value is None:
        return None
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if signed and (not number or not -largest <= value <= largest):
        raise SourceError(
            f"{name}: {EXTENSION}:{key} is {value!r}; it must lie within ±{largest:g}"
        )
    if not signed and (not number or not 0 < value <= largest):
        raise SourceError(
            f"{name}: {EXTENSION}:{key} is {value!r}; it must be above 0 and at most {largest:g}"
        )
    return float(value)


def _ahead(top: Mapping[str, Any], name: str) -> Ahead:
    shift_hz = _own_number(top, "converter_hz", name, signed=True)
    pad_db = _own_number(top, "pad_db", name, largest=_LARGEST_DB, signed=True) or 0.0
    if shift_hz is None:
        return Ahead(pad_db=pad_db)
    converter = Converter(
        shift_hz=shift_hz,
        inverted=_own(top, "inverted", bool, name) or False,
        u_hz=_own_number(top, "u_converter_hz", name) or 0.0,
    )
    return Ahead(converter=converter, pad_db=pad_db)


_UTC = re.compile(r"(\d{4}-\d\d-\d\d)[Tt](\d\d:\d\d:\d\d)(\.\d+)?[Zz]")


def parse_utc(text: str) -> datetime | None:
    """Read an RFC 3339 time in UTC with any number of digits; None when it is not one.

    A leap second (``23:59:60``) is not one: `datetime` cannot hold it.
    """
    found = _UTC.fullmatch(text)
    if not found:
        return None
    try:
        whole = datetime.fromisoformat(f"{found[1]}T{found[2]}+00:00")
    except ValueError:
        return None
    return whole.astimezone(timezone.utc) + timedelta(seconds=float(found[3] or 0.0))
