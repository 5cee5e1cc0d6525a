"""A check tells what is not as it was filed."""

import sqlite3
from contextlib import closing

from sniff.job.checking import FileState, check_job
from sniff.job.entries import FileKind, KeptFile
from sniff.job.folder import NOTEBOOK, Job
from sniff.job.hashing import kept_file
from tests.job.conftest import MakeReading


def recording(job: Job, name: str, content: bytes) -> KeptFile:
    path = job.recordings / name
    path.write_bytes(content)
    return kept_file(path, kind=FileKind.RECORDING, job=job.folder)


def test_files_that_changed_or_are_gone_are_told(job: Job, reading: MakeReading) -> None:
    files = [recording(job, name, b"iq") for name in ("same", "changed", "gone", "later")]
    with job.notebook() as notebook:
        notebook.add_reading(reading(files=tuple(files)))
        assert check_job(job).sound
        (job.recordings / "changed").write_bytes(b"qi")
        (job.recordings / "gone").unlink()
        notebook.add_reading(reading(files=(recording(job, "later", b"recorded anew"),)))
    result = check_job(job)
    states = [(check.file.name, check.state) for check in result.files]
    assert states == [
        ("same", FileState.SAME),
        ("changed", FileState.CHANGED),
        ("gone", FileState.MISSING),
        ("later", FileState.REPLACED),
        ("later", FileState.SAME),
    ]
    assert not result.sound
    assert (result.readings, result.notes, result.troubles) == (2, 0, ())


def test_a_name_that_leads_out_of_the_job_is_no_file_of_it(job: Job, reading: MakeReading) -> None:
    (job.folder.parent / "secret").write_bytes(b"x")
    file = KeptFile(kind=FileKind.PICTURE, path="../secret", sha256="s", bytes=1)
    with job.notebook() as notebook:
        notebook.add_reading(reading(files=(file,)))
    assert [check.state for check in check_job(job).files] == [FileState.MISSING]


def test_a_reading_that_is_no_json_any_more_is_told(job: Job, reading: MakeReading) -> None:
    with job.notebook() as notebook:
        notebook.add_reading(reading())
    with closing(sqlite3.connect(job.folder / NOTEBOOK)) as plain:
        plain.execute("UPDATE readings SET told = '{' WHERE number = 1")
        plain.commit()
    (trouble,) = check_job(job).troubles
    assert "reading 1" in trouble
