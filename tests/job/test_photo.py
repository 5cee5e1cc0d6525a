"""Photos lose what nobody needs to know, and their names do no harm."""

from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from sniff.job.error import JobError
from sniff.job.folder import Job
from sniff.job.photo import harmless_stem, take_in

GPS_IFD, ORIENTATION, MAKE = 0x8825, 0x0112, 0x010F
"""Tags of Exif 2.3 (CIPA DC-008), from memory."""


def photo(path: Path, *, orientation: int = 1) -> Path:
    """A red and blue picture with camera and place in its metadata."""
    image = Image.new("RGB", (60, 40), (200, 20, 20))
    image.paste((20, 20, 200), (30, 0, 60, 40))
    exif = image.getexif()
    exif[MAKE] = "A phone of somebody's"
    exif[ORIENTATION] = orientation
    exif.get_ifd(GPS_IFD)[1] = "N"
    image.save(path, exif=exif, comment=b"taken at home")
    return path


def test_camera_time_and_place_are_left_out(job: Job, tmp_path: Path) -> None:
    source = photo(tmp_path / "a.jpg")
    assert b"somebody" in source.read_bytes()
    taken = take_in(source, folder=job.photos, job=job.folder)
    assert (taken.had_metadata, taken.had_place) == (True, True)
    data = (job.folder / taken.kept.path).read_bytes()
    for trace in (b"Exif", b"somebody", b"at home"):
        assert trace not in data
    with Image.open(BytesIO(data)) as kept:
        assert not kept.getexif()


def test_a_photo_is_kept_upright(job: Job, tmp_path: Path) -> None:
    """Orientation 6: the top of what is stored is the right side of what is shown."""
    taken = take_in(photo(tmp_path / "a.jpg", orientation=6), folder=job.photos, job=job.folder)
    with Image.open(job.folder / taken.kept.path) as kept:
        assert kept.size == (40, 60)
        upper, lower = kept.getpixel((20, 5)), kept.getpixel((20, 55))
    assert isinstance(upper, tuple)
    assert isinstance(lower, tuple)
    assert upper[0] > upper[2]
    assert lower[2] > lower[0]


def test_the_same_photo_twice_is_one_file(job: Job, tmp_path: Path) -> None:
    one = take_in(photo(tmp_path / "a.jpg"), folder=job.photos, job=job.folder)
    other = take_in(photo(tmp_path / "a.jpg"), folder=job.photos, job=job.folder)
    assert one.kept.path == other.kept.path
    assert len(list(job.photos.iterdir())) == 1


@pytest.mark.parametrize("content", [b"", b"no photo", b"\xff\xd8\xff\xe0 cut", b"GIF89a" * 9])
def test_what_is_no_photo_is_told(job: Job, tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(content)
    with pytest.raises(JobError, match="no photo in JPEG, PNG or WebP"):
        take_in(path, folder=job.photos, job=job.folder)
    assert list(job.photos.iterdir()) == []


def test_a_missing_photo_is_told(job: Job, tmp_path: Path) -> None:
    with pytest.raises(JobError, match="cannot be read: No such file"):
        take_in(tmp_path / "none.jpg", folder=job.photos, job=job.folder)


@given(st.text(max_size=80))
def test_no_name_of_a_file_leaves_its_folder(stem: str) -> None:
    name = harmless_stem(stem)
    assert name
    assert len(name) <= 48
    assert not name.startswith(".")
    assert set(name) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-")


def test_a_name_keeps_what_people_recognise() -> None:
    assert harmless_stem("Größe & Quarz (2)") == "Groe-Quarz-2"
