"""Photos: taken into a job under a harmless name, upright, and without their metadata.

A phone writes into each photo where and when it was taken and by which device; that is nobody's
business who gets the report, so only the pixels are kept.
"""

import hashlib
import re
import unicodedata
import warnings
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from sniff.job.entries import FileKind, KeptFile
from sniff.job.error import JobError
from sniff.wholefile import TemporaryBeside

_GPS = 0x8825
_QUALITY = 90
_FORMATS = ("JPEG", "PNG", "WEBP")
_LONGEST_STEM = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """A photo that was copied into a job.

    Attributes
    ----------
    kept : KeptFile
    had_metadata, had_place : bool
        What was left out: any metadata, and among them where it was taken.
    """

    kept: KeptFile
    had_metadata: bool
    had_place: bool


def take_in(photo: Path, *, folder: Path, job: Path) -> TakenIn:
    """Copy a photo into a job's folder of photos.

    Parameters
    ----------
    photo : Path
        JPEG, PNG or WebP.
    folder, job : Path
        The folder of photos, inside the job's.

    Raises
    ------
    JobError
        When it is no such photo, or the copy cannot be written.
    """
    data, had_metadata, had_place = _pixels(photo)
    digest = hashlib.sha256(data).hexdigest()
    # By its content: the same photo twice is one file, and no name takes another's place.
    target = folder / f"{harmless_stem(photo.stem)}-{digest[:8]}.jpg"
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise JobError(f"{folder}: cannot be made: {error.strerror or error}") from None
    with TemporaryBeside(target) as whole:
        whole.file.write(data)
        whole.move_to(target)
    kept = KeptFile(
        kind=FileKind.PHOTO,
        path=target.resolve().relative_to(job.resolve()).as_posix(),
        sha256=digest,
        bytes=len(data),
        modified_ns=target.stat().st_mtime_ns,
    )
    return TakenIn(kept=kept, had_metadata=had_metadata, had_place=had_place)


def harmless_stem(stem: str) -> str:
    """A file name's stem of letters, digits, dots, - and _ only, that no system takes amiss."""
    plain = unicodedata.normalize("NFKD", stem).encode("ascii", "ignore").decode()
    kept = re.sub(r"[^A-Za-z0-9._-]+", "-", plain).strip("-._")[:_LONGEST_STEM].strip("-._")
    # It never stands alone (the hash follows), so that no device name such as NUL can come of it.
    return kept or "photo"


def _pixels(photo: Path) -> tuple[bytes, bool, bool]:
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a large photo; the limit beyond is an error
            with Image.open(photo, formats=_FORMATS) as image:
                exif = image.getexif()
                had_metadata = bool(exif) or bool({"xmp", "comment"} & set(image.info))
                had_place = _GPS in exif
                profile = image.info.get("icc_profile")
                upright = ImageOps.exif_transpose(image).convert("RGB")
    except Image.DecompressionBombError:
        raise JobError(f"{photo}: is too large to be a photo; scale it down") from None
    except (OSError, ValueError, SyntaxError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else ""
        if reason:
            raise JobError(f"{photo}: cannot be read: {reason}") from None
        raise JobError(f"{photo}: is no photo in JPEG, PNG or WebP; convert it first") from None
    # A new image: what Pillow carries along in `info` would be written again.
    clean = Image.new("RGB", upright.size)
    clean.paste(upright)
    target = BytesIO()
    clean.save(target, "JPEG", quality=_QUALITY, icc_profile=profile)
    return target.getvalue(), had_metadata, had_place
