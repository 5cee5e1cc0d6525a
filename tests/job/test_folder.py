"""The folder: found from below, started whole or again, never over another job."""

import os
from pathlib import Path

import pytest

from sniff.job.entries import FileKind
from sniff.job.error import JobError
from sniff.job.folder import FOLDERS, NOTEBOOK, SHEET, Job, find_job, open_job, start_job
from sniff.job.hashing import kept_file
from sniff.job.known import KnownJobs
from tests.job.conftest import MakeReading


def test_a_started_job_has_all_that_it_needs(job: Job) -> None:
    names = sorted(path.name for path in job.folder.iterdir())
    assert names == sorted([SHEET, NOTEBOOK, *FOLDERS])


def test_a_job_is_found_from_any_folder_within(job: Job, tmp_path: Path) -> None:
    deep = job.recordings / "a" / "b"
    deep.mkdir(parents=True)
    assert find_job(deep) == job.folder
    assert find_job(tmp_path) is None


def test_another_programs_file_of_that_name_is_passed_over(job: Job) -> None:
    inner = job.folder / "other"
    inner.mkdir()
    (inner / SHEET).write_text('name = "some build tool"\n', encoding="utf-8")
    assert find_job(inner) == job.folder
    with pytest.raises(JobError, match="no sheet of a repair job"):
        open_job(inner)


def test_a_second_start_in_the_same_folder_is_refused(job: Job) -> None:
    with pytest.raises(JobError, match="a job already"):
        start_job(job.folder, job.sheet)


def test_a_start_that_was_broken_off_can_be_made_again(job: Job) -> None:
    (job.folder / SHEET).unlink()
    assert start_job(job.folder, job.sheet).sheet == job.sheet


def test_a_lost_sheet_does_not_let_the_notebook_be_taken_for_empty(
    job: Job, reading: MakeReading
) -> None:
    with job.notebook() as notebook:
        notebook.add_reading(reading())
    (job.folder / SHEET).unlink()
    with pytest.raises(JobError, match="has entries"):
        start_job(job.folder, job.sheet)


def test_a_lost_notebook_is_told(job: Job) -> None:
    (job.folder / NOTEBOOK).unlink()
    with pytest.raises(JobError, match="is missing"):
        open_job(job.folder)


@pytest.mark.parametrize("name", ["../secret", "/etc/passwd", "pictures/../../secret"])
def test_no_name_in_the_notebook_leads_out_of_the_job(job: Job, name: str) -> None:
    assert job.inside(name) is None


def test_no_link_leads_out_of_the_job(job: Job, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("x", encoding="utf-8")
    (job.pictures / "p.png").symlink_to(tmp_path / "secret")
    assert job.inside("pictures/p.png") is None
    assert job.inside("pictures/other.png") == (job.pictures / "other.png").resolve()


def test_a_file_is_known_by_its_sha256(job: Job) -> None:
    """FIPS 180-4's example message (NIST, SHA256.pdf of the example values): abc."""
    path = job.recordings / "a.cu8"
    path.write_bytes(b"abc")
    kept = kept_file(path, kind=FileKind.RECORDING, job=job.folder)
    assert kept.path == "recordings/a.cu8"
    assert kept.bytes == 3
    assert kept.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_file_outside_is_known_by_its_whole_path(job: Job, tmp_path: Path) -> None:
    (tmp_path / "b.cu8").write_bytes(b"abc")
    kept = kept_file(tmp_path / "b.cu8", kind=FileKind.RECORDING, job=job.folder)
    assert (kept.outside, kept.name) == (True, "b.cu8")


def test_a_long_recording_is_hashed_once_and_anew_when_it_changes(job: Job) -> None:
    path = job.recordings / "a.cu8"
    path.write_bytes(b"abc")
    first = kept_file(path, kind=FileKind.RECORDING, job=job.folder)
    doctored = type(first)(**{**{f: getattr(first, f) for f in first.__slots__}, "sha256": "old"})
    assert kept_file(path, kind=FileKind.RECORDING, job=job.folder, known=[doctored]) is doctored
    os.utime(path, ns=(0, first.modified_ns + 1 if first.modified_ns else 1))
    again = kept_file(path, kind=FileKind.RECORDING, job=job.folder, known=[doctored])
    assert again.sha256 == first.sha256


def test_known_jobs_are_remembered_once_and_forgotten_when_gone(job: Job, tmp_path: Path) -> None:
    known = KnownJobs(tmp_path / "known")
    known.add(job.folder)
    known.add(job.folder)
    (tmp_path / "known" / "damaged.json").write_text("{", encoding="utf-8")
    assert known.folders() == [job.folder]
    assert known.forget_missing() == []
    (job.folder / SHEET).unlink()
    assert known.forget_missing() == [job.folder]
    assert known.folders() == []
