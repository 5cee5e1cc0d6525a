"""The notebook: what is told is kept, a run goes on, and no bad file brings it down."""

import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.errors import BenchError, InputError, UsageError
from sniff.soak import writing as writing_room
from sniff.soak.notebook import NOTEBOOK, locked, open_to_write, read
from sniff.soak.nouns import Setup
from sniff.soak.schema import VERSION
from tests.soak.events import LINE_HZ, MIDNIGHT_S, SETUP, dropout, row, run, writing


def test_what_was_committed_is_read_back(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        writer.observe(0.0, 59.9)
        writer.add_rows([row(58.0), row(59.0, dropouts=1), row(61.0, present=0.5)])
        writer.add_dropout(dropout(59.1), "dropout-1")
        writer.set_recording("dropout-1", 58.1, 1234)
        writer.commit()
        kept = read(tmp_path)  # while the run goes on
    assert kept.setup == SETUP
    assert [(o.start_utc_s, o.observed_s) for o in kept.observed] == [
        (MIDNIGHT_S, pytest.approx(59.9))
    ]
    first, second = kept.minutes
    assert (first.start_utc_s, first.dropouts) == (MIDNIGHT_S + 58.0, 1)
    assert first.observed_s == pytest.approx(0.4)
    assert first.median_dbfs == pytest.approx(-40.0585)
    assert second.present_s == pytest.approx(0.1)
    assert second.offset_hz == pytest.approx(25.0)
    (gone,) = kept.dropouts
    assert gone.start_utc_s == MIDNIGHT_S + 59.1
    assert (gone.duration_s, gone.recording) == (0.02, "dropout-1")
    assert kept.recording_bytes == 1234


def test_courses_are_kept_to_the_bit(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        writer.add_dropout(dropout(1.0), None)
        writer.commit()
    with closing(sqlite3.connect(tmp_path / NOTEBOOK)) as connection:
        side, start, level = connection.execute(
            "SELECT side, start_utc_s, level_dbfs FROM passage"
        ).fetchone()
    assert (side, start) == ("fall", MIDNIGHT_S + 0.95)
    assert np.array_equal(np.frombuffer(level, "<f4"), np.linspace(-40, -60, 9, dtype="<f4"))


def test_an_inverting_converter_turns_the_offset_round(tmp_path: Path) -> None:
    with writing(tmp_path, run(inverted=True)) as writer:
        writer.add_rows([row(1.0)])
        writer.commit()
    assert read(tmp_path).minutes[0].offset_hz == pytest.approx(-25.0)


def test_nothing_is_on_disk_before_the_commit(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        writer.observe(0.0, 5.0)
        writer.add_rows([row(1.0)])
        assert read(tmp_path).minutes == ()


def test_each_commit_is_put_on_disk(tmp_path: Path) -> None:
    # PRAGMA synchronous: 2 is FULL, which syncs at each commit (sqlite.org/pragma.html).
    with locked(tmp_path):
        connection, _ = open_to_write(tmp_path)
        with closing(connection):
            assert connection.execute("PRAGMA synchronous").fetchone() == (2,)
            assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_gap_is_no_observation_and_a_short_one_is_counted_as_lost(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        for start, end in ((0.0, 10.0), (10.3, 20.0), (25.0, 30.0)):
            writer.observe(start, end)
        writer.commit()
    first, second = read(tmp_path).observed
    assert (first.observed_s, first.lost_s) == (pytest.approx(19.7), pytest.approx(0.3))
    assert second.start_utc_s == MIDNIGHT_S + 25.0


def test_a_restart_goes_on_with_the_same_soak(tmp_path: Path) -> None:
    for zero_s in (MIDNIGHT_S, MIDNIGHT_S + 3600.0):
        with writing(tmp_path, run(zero_s)) as writer:
            writer.observe(0.0, 100.0)
            writer.add_rows([row(0.0, dropouts=1)])
            writer.finish("done")
    kept = read(tmp_path)
    assert len(kept.runs) == 2
    assert [o.start_utc_s - MIDNIGHT_S for o in kept.observed] == [0.0, 3600.0]
    assert sum(minute.dropouts for minute in kept.minutes) == 2


def test_a_clock_that_was_set_back_does_not_make_two_times_of_one(tmp_path: Path) -> None:
    for zero_s in (MIDNIGHT_S, MIDNIGHT_S - 500.0):
        with writing(tmp_path, run(zero_s)) as writer:
            writer.observe(0.0, 100.0)
            writer.finish("done")
    first, second = read(tmp_path).observed
    assert second.start_utc_s == first.end_utc_s


def test_another_line_or_resolution_is_refused_in_one_line(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        writer.commit()
    for other in (
        Setup(line_hz=85.4e6, resolution_s=1e-3),
        Setup(line_hz=LINE_HZ, resolution_s=5e-3),
    ):
        refused = told(writing(tmp_path, setup=other).__enter__)
        assert "83.6 MHz at a resolution of 1 ms" in (refused or "")


def test_a_killed_runs_open_drop_out_is_kept_without_an_end(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        writer.observe(0.0, 100.0)
        writer.add_rows([row(0.0, dropouts=1)])
        writer.add_dropout(dropout(0.1), None)
        writer.set_begun([99.5], uncounted=1)
        writer.commit()
    # The process is gone here: no finish().
    for _ in range(2):
        kept = read(tmp_path)
        assert sum(minute.dropouts for minute in kept.minutes) + kept.uncounted == 2
        assert [d.start_utc_s - MIDNIGHT_S for d in kept.dropouts] == pytest.approx([0.1, 99.5])
        assert kept.dropouts[1].duration_s is None
        with writing(tmp_path, run(MIDNIGHT_S + 200.0)) as writer:
            writer.finish("done")


def test_beyond_their_number_drop_outs_are_counted_by_the_minute(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writing_room, "LISTED_DROPOUTS", 3)
    monkeypatch.setattr(writing_room, "DETAILED_DROPOUTS", 2)
    with writing(tmp_path) as writer:
        for number in range(5):
            writer.add_rows([row(0.2 * number, dropouts=1)])
            writer.add_dropout(dropout(0.2 * number), None)
            writer.commit()
    kept = read(tmp_path)
    assert len(kept.dropouts) == 3
    assert kept.minutes[0].dropouts == 5
    with closing(sqlite3.connect(tmp_path / NOTEBOOK)) as connection:
        assert connection.execute("SELECT count(*) FROM passage").fetchone() == (2,)


def test_a_day_takes_little_room(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        for minute in range(24 * 60):
            writer.observe(60.0 * minute, 60.0 * minute + 60.0)
            writer.add_rows([row(60.0 * minute + 30.0)])
            if minute % 60 == 0:
                writer.commit()
                assert len(writer._rows) <= 2
        writer.finish("done")
    assert (tmp_path / NOTEBOOK).stat().st_size < 300_000


def test_two_cannot_soak_in_one_folder(tmp_path: Path) -> None:
    with writing(tmp_path), pytest.raises(UsageError, match="another sniff soaks there"):
        locked(tmp_path).__enter__()
    with locked(tmp_path):
        pass  # free again


def test_a_folder_without_a_soak_says_how_to_begin(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="begin one with --from"):
        read(tmp_path)


def alter(folder: Path, sql: str) -> None:
    with closing(sqlite3.connect(folder / NOTEBOOK)) as connection:
        connection.execute(sql)
        connection.commit()


def test_a_newer_notebook_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        writer.finish("done")
    alter(tmp_path, f"PRAGMA user_version = {VERSION + 1}")
    before = (tmp_path / NOTEBOOK).read_bytes()
    for attempt in (read, open_to_write):
        with pytest.raises(InputError, match=f"format {VERSION + 1}; this one reads up to"):
            attempt(tmp_path)
    assert (tmp_path / NOTEBOOK).read_bytes() == before


def test_another_programs_file_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / NOTEBOOK)) as connection:
        connection.execute("CREATE TABLE cats (name TEXT)")
    before = (tmp_path / NOTEBOOK).read_bytes()
    for attempt in (read, open_to_write):
        with pytest.raises(InputError, match="another program's"):
            attempt(tmp_path)
    assert (tmp_path / NOTEBOOK).read_bytes() == before


def test_a_damaged_notebook_is_set_aside_and_a_new_one_begun(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        writer.finish("done")
    (tmp_path / NOTEBOOK).write_bytes(b"water damage" * 1000)
    with pytest.raises(InputError, match="is damaged"):
        read(tmp_path)
    with locked(tmp_path):
        connection, cautions = open_to_write(tmp_path)
        connection.close()
    assert "set aside as soak.damaged-" in cautions[0].text
    (aside,) = tmp_path.glob("soak.damaged-*.sqlite")
    assert aside.read_bytes().startswith(b"water damage")


def test_a_notebook_with_nonsense_in_it_is_set_aside_too(tmp_path: Path) -> None:
    with writing(tmp_path) as writer:
        writer.add_dropout(dropout(1.0), None)
        writer.finish("done")
    alter(tmp_path, "UPDATE dropout SET kind = 'br' || char(10) || 'ak'")
    assert "is damaged ('br\\nak' is not a valid Kind)" in (told(lambda: read(tmp_path)) or "")
    with locked(tmp_path):
        connection, cautions = open_to_write(tmp_path)
        connection.close()
    assert "set aside" in cautions[0].text


@cache
def good_bytes() -> bytes:
    """A sound notebook; not a fixture, as hypothesis would print it with each example."""
    with tempfile.TemporaryDirectory() as name:
        with writing(Path(name)) as writer:
            for number in range(200):
                writer.add_rows([row(60.0 * number, dropouts=1)])
                writer.add_dropout(dropout(60.0 * number), None)
            writer.finish("done")
        return (Path(name) / NOTEBOOK).read_bytes()


def told(attempt: Callable[[], object]) -> str | None:
    """The error that a user would be told; any other is a defect."""
    try:
        attempt()
    except BenchError as error:
        return str(error)
    return None


@settings(max_examples=80)
@given(
    cut=st.none() | st.floats(0, 1),
    wounds=st.lists(st.tuples(st.floats(0, 1), st.binary(max_size=40)), max_size=6),
)
def test_whatever_happens_to_the_file_the_answer_is_one_line_or_a_soak_that_goes_on(
    cut: float | None, wounds: list[tuple[float, bytes]]
) -> None:
    good = good_bytes()
    hurt = bytearray(good[: round((1.0 if cut is None else cut) * len(good))])
    for place, what in wounds:
        at = round(place * len(hurt))
        hurt[at : at + len(what)] = what
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / NOTEBOOK).write_bytes(bytes(hurt))

        def go_on() -> None:
            with writing(folder, run(MIDNIGHT_S + 1e6)) as writer:
                writer.observe(0.0, 1.0)
                writer.finish("done")

        assert "\n" not in (told(lambda: read(folder)) or "")
        refused = told(go_on)
        if refused is None:
            assert read(folder).observed[-1].observed_s == pytest.approx(1.0)
        else:
            assert "\n" not in refused
