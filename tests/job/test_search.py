"""Full text over jobs: found by beginnings of words, kept up to date, rebuilt when damaged."""

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sniff.job import search
from sniff.job.entries import Note, NoteKind
from sniff.job.error import JobError
from sniff.job.folder import Job, open_job
from sniff.job.search import find
from sniff.job.words import tokens
from tests.job.conftest import STARTED, MakeReading

Found = Callable[[str], list[tuple[str, int]]]


@pytest.fixture(params=["indexed", "scanned"])
def found(
    request: pytest.FixtureRequest, job: Job, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Found:
    """Both ways, with the full-text module and without it, must give the same entries."""
    if request.param == "scanned":
        no_module = ("CREATE VIRTUAL TABLE entries USING no_such_module (text)",)
        monkeypatch.setattr(search, "_TABLES", no_module)

    def look(words: str) -> list[tuple[str, int]]:
        hits = find(words, [open_job(job.folder)], index=tmp_path / "index" / "jobs.sqlite")
        return sorted((hit.kind, hit.number) for hit in hits)

    return look


def note(text: str) -> Note:
    return Note(at_utc=STARTED, kind=NoteKind.NOTE, stage=None, text=text)


def test_sheet_readings_and_notes_are_found(job: Job, reading: MakeReading, found: Found) -> None:
    with job.notebook() as notebook:
        notebook.add_reading(reading({"why": "the LO is unsteady"}))
        notebook.add_note(note("crack at the crystal's joint"))
    assert found("tour-guide") == [("job", 0), ("reading", 1)]  # its source bears that name
    assert found("unstead") == [("reading", 1)]
    assert found("CRYST crack") == [("note", 1)]
    assert found("crack nowhere") == []


def test_what_is_added_later_is_found_and_nothing_twice(
    job: Job, reading: MakeReading, found: Found
) -> None:
    with job.notebook() as notebook:
        notebook.add_reading(reading())
        assert found("unsteady") == [("reading", 1)]
        notebook.add_reading(reading())
    assert found("unsteady") == [("reading", 1), ("reading", 2)]


def test_an_edited_sheet_is_found_by_its_new_words_only(job: Job, found: Found) -> None:
    assert found("deaf") == [("job", 0)]
    path = job.folder / "job.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("deaf", "mute"), encoding="utf-8")
    assert found("deaf") == []
    assert found("mute") == [("job", 0)]


@pytest.mark.parametrize(
    ("words", "hit"),
    [("a OR crack", False), ("NEAR(crack)", False), ("text:crack", False), ("crack*", True)],
)
def test_operators_of_the_database_are_plain_words(
    job: Job, found: Found, words: str, hit: bool
) -> None:
    with job.notebook() as notebook:
        notebook.add_note(note("crack"))
    assert found(words) == ([("note", 1)] if hit else [])


@pytest.mark.parametrize("words", ["", '"', "--", "*"])
def test_what_holds_no_word_is_refused(found: Found, words: str) -> None:
    with pytest.raises(JobError, match="holds no word"):
        found(words)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(min_size=1, max_size=30).filter(tokens))
def test_no_words_upset_the_search(job: Job, tmp_path: Path, words: str) -> None:
    assert find(f"zzz {words}", [job], index=tmp_path / "jobs.sqlite") == []


def test_a_damaged_index_is_made_anew(job: Job, tmp_path: Path) -> None:
    index = tmp_path / "jobs.sqlite"
    index.write_bytes(b"no database" * 500)
    assert [hit.kind for hit in find("deaf", [job], index=index)] == ["job"]
    assert sqlite3.connect(index).execute("PRAGMA integrity_check").fetchone() == ("ok",)
