"""The journal: what was kept comes back bit by bit, and nothing damaged counts as done."""

import json
import tracemalloc
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sniff.batch.error import BatchError
from sniff.batch.journal import Journal, begun
from sniff.batch.nouns import Answer, Task
from sniff.errors import SourceError

KEY = "0f" * 32
OTHER = "1e" * 32


def answer(**changed: Any) -> Answer:
    fields: dict[str, Any] = {
        "number": 0,
        "source": "bench/a.sigmf-meta",
        "key": KEY,
        "options": {"nominal": "72.9M"},
        "exit_code": 0,
        "told": {"schema": "sniff/1", "result": {"error_hz": 0.1 + 0.2, "why": None}},
        "error": None,
        "seconds": 0.25,
    }
    return Answer(**{**fields, **changed})


def task_of(kept: Answer, number: int = 0) -> Task:
    return Task(number=number, source=kept.source, options=kept.options)


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return begun(tmp_path / "look-batch", {"question": "look"}, resume=False)


def again(journal: Journal) -> Journal:
    return begun(journal.folder, {"question": "look"}, resume=True)


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=10,
)


@given(result=JSON, source=st.text(alphabet=st.characters(exclude_categories=())))
def test_an_answer_comes_back_as_it_was_kept(
    tmp_path_factory: pytest.TempPathFactory, result: Any, source: str
) -> None:
    """Of a file name too that is no UTF-8, which Python reads as lone surrogates."""
    kept = answer(source=source, told={"result": result})
    journal = begun(tmp_path_factory.mktemp("batch"), {}, resume=False)
    journal.keep(kept)
    assert list(journal.answers()) == [kept]
    assert repr(journal.answers()[0].told) == repr(kept.told)


def test_a_kept_answer_is_taken_over_by_the_next_run_under_its_new_number(
    journal: Journal,
) -> None:
    kept = answer()
    journal.keep(kept)
    later = again(journal)
    assert later.take_over(task_of(kept, number=7), KEY)
    taken = later.answers()[0]
    assert (taken.number, taken.told, taken.seconds) == (7, kept.told, 0.0)


def test_another_key_is_not_done(journal: Journal) -> None:
    journal.keep(answer())
    assert not again(journal).take_over(task_of(answer()), OTHER)


def test_a_failure_is_a_row_and_asked_again(journal: Journal) -> None:
    failed = answer(exit_code=4, told=None, error="a.sigmf-meta: there is no such file")
    journal.keep(failed)
    assert list(journal.answers()) == [failed]
    assert not again(journal).take_over(task_of(failed), KEY)


@pytest.mark.parametrize("harm", ["cut", "empty", "other key", "other format", "a list", "gone"])
def test_what_is_damaged_is_not_done(journal: Journal, harm: str) -> None:
    journal.keep(answer())
    file = journal.folder / "answers" / f"{KEY}.json"
    whole = file.read_text()
    if harm == "gone":
        file.unlink()
    else:
        file.write_text(
            {
                "cut": whole[: len(whole) // 2],
                "empty": "",
                "other key": whole.replace(KEY, OTHER),
                "other format": whole.replace('"format": 1', '"format": 2'),
                "a list": "[1]",
            }[harm]
        )
    assert not again(journal).take_over(task_of(answer()), KEY)
    with pytest.raises(BatchError, match="--resume asks anew"):
        list(journal.answers())


def test_answers_stand_by_their_numbers_and_can_be_cut(journal: Journal) -> None:
    for number, key in ((2, "2a" * 32), (0, KEY), (1, OTHER)):
        journal.keep(answer(number=number, key=key, seconds=float(number)))
    answers = journal.answers()
    assert [each.number for each in answers] == [0, 1, 2]
    assert [each.key for each in answers[1:]] == [OTHER, "2a" * 32]
    assert answers[-1].number == 2
    assert len(answers) == 3


def test_the_kept_file_does_not_tell_how_long_it_took(journal: Journal) -> None:
    """Two runs of the same must be the same bit by bit."""
    file = journal.folder / "answers" / f"{KEY}.json"
    journal.keep(answer(seconds=0.1))
    before = file.read_bytes()
    journal.keep(answer(seconds=0.2, number=5))
    assert file.read_bytes() == before


def test_a_folder_that_is_there_is_refused_without_resume(journal: Journal) -> None:
    with pytest.raises(BatchError, match="is there already; --resume"):
        begun(journal.folder, {"question": "look"}, resume=False)


def test_a_batch_of_another_question_is_not_written_over(journal: Journal) -> None:
    before = (journal.folder / "batch.json").read_bytes()
    for resume in (True, False):
        with pytest.raises(BatchError, match="a batch that asked 'look'; --out"):
            begun(journal.folder, {"question": "watch"}, resume=resume)
    assert (journal.folder / "batch.json").read_bytes() == before


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    assert begun(tmp_path, {}, resume=False).folder == tmp_path


def test_a_folder_that_is_no_batch_is_not_gone_on_with(tmp_path: Path) -> None:
    (tmp_path / "holiday.jpg").touch()
    for resume in (True, False):
        with pytest.raises(BatchError, match=r"holds no batch .*; --out takes another"):
            begun(tmp_path, {}, resume=resume)
    assert [path.name for path in tmp_path.iterdir()] == ["holiday.jpg"]


def test_a_file_in_the_folders_place_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(BatchError, match="is there and holds no batch"):
        begun(tmp_path / "file", {}, resume=False)
    with pytest.raises(SourceError, match="cannot be written"):
        begun(tmp_path / "file" / "under", {}, resume=False)


def test_a_batch_that_is_gone_on_with_keeps_the_moment_at_which_it_was_begun(
    journal: Journal,
) -> None:
    about = json.loads((journal.folder / "batch.json").read_text())
    early = journal.begun_utc - timedelta(days=3)
    (journal.folder / "batch.json").write_text(
        json.dumps({**about, "begun_utc": early.isoformat()})
    )
    assert again(journal).begun_utc == early
    assert again(journal).begun_utc == early


def test_options_that_are_others_than_before_are_told(tmp_path: Path) -> None:
    def changed(**options: tuple[str, ...]) -> tuple[str, ...]:
        about = {"question": "look", "options": options}
        return begun(tmp_path / "b", about, resume=True).changed

    assert changed(rbw=("--rbw=1k",), pad=("--pad=3",)) == ()
    assert changed(rbw=("--rbw=1k",), pad=("--pad=3",)) == ()
    assert changed(rbw=("--rbw=2k",), ppm=("--ppm=3",)) == ("pad", "ppm", "rbw")


def test_a_moment_without_a_zone_is_damage(journal: Journal) -> None:
    about = journal.folder / "batch.json"
    about.write_text(about.read_text().replace("+00:00", ""))
    with pytest.raises(BatchError, match="damaged"):
        again(journal)


def test_answers_are_not_held_in_memory(journal: Journal) -> None:
    told = {"peaks": [{"frequency_hz": 83.6e6 + n, "level_dbfs": -40.0 - n} for n in range(300)]}
    count = 30
    tracemalloc.start()
    try:
        for number in range(count):
            key = sha256(str(number).encode()).hexdigest()
            journal.keep(answer(number=number, key=key, told=json.loads(json.dumps(told))))
            if number == 0:
                _, one = tracemalloc.get_traced_memory()
        assert sum(1 for _ in journal.answers()) == count
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 3 * one
