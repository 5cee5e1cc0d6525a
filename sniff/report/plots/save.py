"""Figures as files: a picture is there whole, or not at all."""

from io import BytesIO
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from sniff.errors import SourceError, UsageError
from sniff.report.plots.style import context
from sniff.wholefile import TemporaryBeside

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


def check_target(path: Path) -> str:
    """The format of a picture that is to be written there; for who draws after long work.

    Raises
    ------
    UsageError
        When the suffix is not .png, .svg or .pdf.
    SourceError
        When the folder is missing.
    """
    file_format = path.suffix.lower().removeprefix(".")
    if file_format not in FORMATS:
        raise UsageError(
            f"{path}: a picture cannot be written as {path.suffix or 'a file without suffix'!r}; "
            "end its name in .png, .svg or .pdf"
        )
    if not path.parent.is_dir():
        raise SourceError(f"{path}: the folder {path.parent} is not there; make it first")
    return file_format


def save(figure: Figure, path: Path) -> None:
    """Write a figure to `path`; the suffix chooses the format.

    Raises
    ------
    UsageError
        When the suffix is not .png, .svg or .pdf.
    SourceError
        When the folder is missing or the disk refuses.
    """
    file_format = check_target(path)
    data = render(figure, file_format)
    with TemporaryBeside(path) as whole:
        whole.file.write(data)
        whole.move_to(path)
