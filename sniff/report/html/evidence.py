"""Pictures and photos for the report: which ones, and small enough to go into one file."""

import base64
from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from sniff.job.entries import FileKind, KeptFile, Note, Reading
from sniff.job.folder import Job
from sniff.report.job_words import says_of

MOST_BYTES = 1_500_000
"""Of all pictures together: as text they take a third more, and the report stays under 3 MB."""

_PHOTO_PX = (900, 900)
_PICTURE_PX = (1500, 3000)
_TRUE_PNG_BYTES = 120_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One picture.

    Attributes
    ----------
    file : KeptFile
    alt : str
        What it shows, for who cannot see it.
    caption : str
    side : str
        ``before``, ``after``, or empty.
    course : bool
        Whether it shows the spectrum against time.
    """

    file: KeptFile
    alt: str
    caption: str
    side: str = ""
    course: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Embedded:
    """A picture that is in the report, or the reason why it is not."""

    picture: Picture
    data_uri: str
    why_not: str


def pictures_of(side: str, readings: Iterable[Reading]) -> tuple[Picture, ...]:
    """The pictures of some readings, each once."""
    found: dict[str, Picture] = {}
    for reading in readings:
        says = says_of(reading.result)
        said = f": {says}" if says else ""
        at = f" at {reading.place}" if reading.place else ""
        for file in reading.kept(FileKind.PICTURE):
            course = "course" in file.name
            what = "spectrum against time" if course else reading.command
            verdict = f", {reading.verdict}" if reading.verdict else ""
            found[file.path] = Picture(
                file=file,
                alt=f"Picture of the {what}{at} {side}{said}",
                caption=f"{side.capitalize()}: {what}{at}, reading {reading.number}{verdict}.",
                side=side,
                course=course,
            )
    return tuple(found.values())


def photos_of(notes: Iterable[Note]) -> tuple[Picture, ...]:
    """The photos with their captions."""
    return tuple(
        Picture(
            file=note.photo,
            alt=f"Photo: {note.text or note.photo.name}",
            caption=note.text or note.photo.name,
        )
        for note in notes
        if note.photo is not None
    )


def embed(job: Job, pictures: Iterable[Picture], *, most_bytes: int) -> tuple[Embedded, ...]:
    """Read pictures from the job's folder, as far as they find room; the first ones first."""
    left, embedded = most_bytes, []
    for picture in pictures:
        path = job.inside(picture.file.path)
        data = None if path is None else _small(path, photo=picture.file.kind is FileKind.PHOTO)
        if data is None:
            embedded.append(Embedded(picture=picture, data_uri="", why_not="it cannot be read"))
        elif len(data) > left:
            embedded.append(
                Embedded(picture=picture, data_uri="", why_not="there is no room for more pictures")
            )
        else:
            left -= len(data)
            kind = "png" if data.startswith(b"\x89PNG") else "jpeg"
            text = base64.b64encode(data).decode("ascii")
            embedded.append(
                Embedded(picture=picture, data_uri=f"data:image/{kind};base64,{text}", why_not="")
            )
    return tuple(embedded)


def _small(path: Path, *, photo: bool) -> bytes | None:
    """A picture as PNG or JPEG without anything beside its pixels; None when it is none."""
    from PIL import Image

    try:
        data = path.read_bytes()
        if data.startswith(b"\x89PNG") and not photo and len(data) <= _TRUE_PNG_BYTES:
            return data
        # Only these: other decoders are not needed, and a picture may come from anywhere.
        with Image.open(BytesIO(data), formats=("PNG", "JPEG")) as image:
            shown = image.convert("RGB")
        shown.thumbnail(_PHOTO_PX if photo else _PICTURE_PX)
        target = BytesIO()
        if photo:
            shown.save(target, "JPEG", quality=80, optimize=True)
        else:
            # Few colours make up a diagram: a palette is a third of the size, and not to be told.
            shown.quantize(256, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).save(
                target, "PNG", optimize=True
            )
    except (OSError, ValueError, Image.DecompressionBombError):
        return None
    return target.getvalue()
