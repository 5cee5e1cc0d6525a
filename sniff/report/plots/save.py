"""Figures as files: a picture is there whole, or not at all."""

import secrets
from contextlib import suppress
from io import BytesIO
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from sniff.errors import SourceError, UsageError
from sniff.report.plots.style import context

FORMATS = ("png", "svg", "pdf")

# Without a date the same result gives the same bytes.
_METADATA: dict[str, dict[str, Any]] = {
    "png": {"Software": "sniff"},
    "svg": {"Date": None, "Creator": "sniff"},
    "pdf": {"CreationDate": None, "Creator": "sniff", "Producer": None},
}


def render(figure: Figure, file_format: str) -> bytes:
    """A figure as the bytes of a PNG, SVG or PDF file.

    Raises
    ------
    ValueError
        When `file_format` is not one of `FORMATS`.
    """
    if file_format not in FORMATS:
        raise ValueError(f"{file_format=} is not one of {FORMATS}")
    target = BytesIO()
    with context():
        figure.savefig(target, format=file_format, metadata=_METADATA[file_format])
    return target.getvalue()


def save(figure: Figure, path: Path) -> None:
    """Write a figure to `path`; the suffix chooses the format.

    The file is written under another name first and then renamed, so that a reader never meets
    half a picture and an older one survives a full disk.

    Raises
    ------
    UsageError
        When the suffix is not .png, .svg or .pdf.
    SourceError
        When the folder is missing or the disk refuses.
    """
    file_format = path.suffix.lower().removeprefix(".")
    if file_format not in FORMATS:
        raise UsageError(
            f"{path}: a picture cannot be written as {path.suffix or 'a file without suffix'!r}; "
            "end its name in .png, .svg or .pdf"
        )
    if not path.parent.is_dir():
        raise SourceError(f"{path}: the folder {path.parent} is not there; make it first")
    data = render(figure, file_format)
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
        part.replace(path)
    except OSError as error:
        with suppress(OSError):  # it may never have come to be
            part.unlink()
        raise SourceError(
            f"{path}: the picture could not be written ({error.strerror}); "
            "choose another folder or make room"
        ) from None
