"""The notebook: nothing that was committed is lost, nothing that is not ours is touched."""

import random
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from sniff.job import database
from sniff.job.entries import FileKind, KeptFile, Note, NoteKind, Stage
from sniff.job.error import JobError
from sniff.job.folder import NOTEBOOK, Job
from sniff.job.notebook import Notebook
from sniff.job.tables import APPLICATION_ID, FORMAT
from tests.job.conftest import STARTED, MakeReading

ROOT = Path(__file__).parents[2]


def file(path: str, *, sha256: str = "ab", **changed: object) -> KeptFile:
    fields: dict[str, object] = {"kind": FileKind.RECORDING, "bytes": 7, **changed}
    return KeptFile(path=path, sha256=sha256, **fields)  # type: ignore[arg-type]


def test_a_reading_comes_back_as_it_was_filed(job: Job, reading: MakeReading) -> None:
    filed = reading(
        stage=Stage.SOAK,
        place="feed A",
        files=(file("recordings/a", modified_ns=5), file("pictures/b", kind=FileKind.PICTURE)),
    )
    with job.notebook() as notebook:
        number = notebook.add_reading(filed)
    with job.notebook() as notebook:
        assert notebook.readings() == [filed.renewed(number=number)]
        assert notebook.reading(number) == filed.renewed(number=number)
        assert notebook.troubles() == []


def test_a_note_comes_back_with_its_photo(job: Job) -> None:
    note = Note(
        at_utc=STARTED,
        kind=NoteKind.PHOTO,
        stage=Stage.BEFORE,
        text="the joint",
        photo=file("photos/joint.jpg", kind=FileKind.PHOTO),
    )
    with job.notebook() as notebook:
        number = notebook.add_note(note)
        (found,) = notebook.notes()
    assert found.number == number
    assert (found.text, found.photo, found.kind) == (note.text, note.photo, note.kind)


def test_a_file_of_two_readings_is_kept_once_and_a_changed_one_twice(
    job: Job, reading: MakeReading
) -> None:
    with job.notebook() as notebook:
        notebook.add_reading(reading(files=(file("recordings/a"),)))
        notebook.add_reading(reading(files=(file("recordings/a", modified_ns=9),)))
        notebook.add_reading(reading(files=(file("recordings/a", sha256="cd"),)))
        files = notebook.files()
    assert [(each.sha256, each.modified_ns) for each in files] == [("ab", 9), ("cd", None)]


def test_pictures_are_added_to_a_reading_that_is_there(job: Job, reading: MakeReading) -> None:
    with job.notebook() as notebook:
        number = notebook.add_reading(reading())
        notebook.attach(number, [file("pictures/p", kind=FileKind.PICTURE)])
        assert [each.path for each in notebook.reading(number).files] == ["pictures/p"]
        with pytest.raises(JobError, match=r"cannot be|damaged"):
            notebook.attach(number + 1, [file("pictures/q")])  # no such reading
        assert len(notebook.files()) == 1


def test_a_verdict_can_be_asked_for_in_sql(job: Job, reading: MakeReading) -> None:
    with job.notebook() as notebook:
        notebook.add_reading(reading({"verdict": "as-expected"}))
    with closing(sqlite3.connect(job.folder / NOTEBOOK)) as plain:
        assert plain.execute("SELECT verdict FROM readings").fetchall() == [("as-expected",)]


@pytest.mark.slow
def test_a_hundred_kills_lose_no_committed_entry(job: Job) -> None:
    """Each writer is killed (SIGKILL) at a moment of its own while it files as fast as it can."""
    rng = random.Random(8)
    path = job.folder / NOTEBOOK
    said: set[tuple[str, int, str]] = set()
    for attempt in range(100):
        command = [sys.executable, "-m", "tests.job.writer", str(path), f"w{attempt}"]
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as writer:
            assert writer.stdout is not None
            first = writer.stdout.readline()
            threading.Event().wait(rng.uniform(0.0, 0.04))
            writer.kill()
            lines = [first, *writer.stdout.read().splitlines()]
        for line in lines:
            words = line.split()
            if len(words) == 4:  # the last one may have been cut
                said.add((words[0], int(words[1]), f"{words[2]} {words[3]}"))
        assert any(mark.startswith(f"w{attempt} ") for _, _, mark in said)
        if attempt % 20 == 19:
            with Notebook(path) as notebook:
                assert notebook.troubles() == []
    with Notebook(path) as notebook:
        readings = {r.number: r for r in notebook.readings()}
        notes = {n.number: n.text for n in notebook.notes()}
    for kind, number, mark in said:
        if kind == "note":
            assert notes[number] == mark
        else:
            place, count = mark.split()
            # A reading without its file would be half of a transaction.
            assert [f.path for f in readings[number].files] == [f"recordings/{place}{count}"]
    assert all(len(r.files) == 1 for r in readings.values())


def test_two_commands_at_once_lose_nothing(job: Job, reading: MakeReading) -> None:
    def file_some(mark: str) -> None:
        for count in range(40):
            with job.notebook() as notebook:
                notebook.add_reading(reading(place=f"{mark}{count}"))

    both = [threading.Thread(target=file_some, args=(mark,)) for mark in "ab"]
    for each in both:
        each.start()
    for each in both:
        each.join()
    with job.notebook() as notebook:
        places = sorted(r.place or "" for r in notebook.readings())
    assert places == sorted(f"{mark}{count}" for mark in "ab" for count in range(40))


def old_notebook(folder: Path) -> Path:
    path = folder / NOTEBOOK
    with closing(sqlite3.connect(path)) as made:
        made.executescript((Path(__file__).parent / "format1.sql").read_text(encoding="utf-8"))
    return path


def test_an_older_notebook_is_brought_up_to_date_with_a_copy_of_it_kept(tmp_path: Path) -> None:
    path = old_notebook(tmp_path)
    with Notebook(path) as notebook:
        assert [r.stage for r in notebook.readings()] == [Stage.ARRIVAL, Stage.AFTER]
        assert notebook.readings()[1].result["why"] == "all there: Größe µ"
        assert [n.text for n in notebook.notes()] == ["joint at the crystal soldered anew"]
        assert [f.modified_ns for f in notebook.files()] == [None]
        assert notebook.troubles() == []
    (copy,) = tmp_path.glob("notebook.format1.*.sqlite")
    for kept, version in ((copy, 1), (path, FORMAT)):
        with closing(sqlite3.connect(kept)) as plain:
            assert plain.execute("PRAGMA user_version").fetchone() == (version,)
            assert plain.execute("SELECT count(*) FROM readings").fetchone() == (2,)
    Notebook(path).close()
    assert len(list(tmp_path.glob("notebook.format1.*"))) == 1


def test_a_migration_that_fails_leaves_the_old_notebook(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = old_notebook(tmp_path)
    broken = (*database.STEPS[:1], ("ALTER TABLE files ADD COLUMN x", "CREATE NONSENSE"))
    monkeypatch.setattr(database, "STEPS", broken)
    with pytest.raises(JobError):
        Notebook(path)
    monkeypatch.undo()
    with Notebook(path) as notebook:
        assert len(notebook.readings()) == 2


def test_a_newer_notebook_is_refused_and_left(job: Job) -> None:
    path = job.folder / NOTEBOOK
    with closing(sqlite3.connect(path)) as newer:
        newer.execute(f"PRAGMA user_version = {FORMAT + 1}")
    before = path.read_bytes()
    with pytest.raises(JobError, match="newer version"):
        job.notebook()
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"", b"no database at all" * 300, b"SQLite format 3\x00" * 9])
def test_what_is_no_notebook_is_said_and_left(job: Job, content: bytes) -> None:
    path = job.folder / NOTEBOOK
    path.write_bytes(content)
    with pytest.raises(JobError, match=r"damaged|no notebook"):
        job.notebook()
    assert path.read_bytes() == content


def test_another_programs_database_is_said_and_left(job: Job) -> None:
    path = job.folder / NOTEBOOK
    path.unlink()
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE readings (a)")
    before = path.read_bytes()
    with pytest.raises(JobError, match="no notebook"):
        job.notebook()
    assert path.read_bytes() == before


def test_a_page_that_was_overwritten_is_told(job: Job, reading: MakeReading) -> None:
    with job.notebook() as notebook:
        for _ in range(40):
            notebook.add_reading(reading(sheet="x" * 2000))
    path = job.folder / NOTEBOOK
    data = bytearray(path.read_bytes())
    data[-30_000:-10_000] = bytes(20_000)
    path.write_bytes(data)
    with job.notebook() as notebook:
        try:
            troubles = notebook.troubles()
        except JobError as error:
            troubles = [str(error)]
    assert troubles


def test_a_missing_notebook_is_not_made_by_opening_it(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="not there"):
        Notebook(tmp_path / NOTEBOOK)
    assert list(tmp_path.iterdir()) == []


def test_a_notebook_that_is_held_for_too_long_is_told(
    job: Job, reading: MakeReading, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "BUSY_S", 0.05)
    with closing(sqlite3.connect(job.folder / NOTEBOOK, isolation_level=None)) as holder:
        holder.execute("BEGIN IMMEDIATE")
        with job.notebook() as notebook, pytest.raises(JobError, match="another command"):
            notebook.add_reading(reading())
        holder.execute("ROLLBACK")


def test_the_mark_in_the_files_head_is_the_one_stated(job: Job) -> None:
    """Bytes 68 to 71 of the header (SQLite, Database File Format, 1.3.16)."""
    head = (job.folder / NOTEBOOK).read_bytes()[68:72]
    assert int.from_bytes(head, "big") == APPLICATION_ID
