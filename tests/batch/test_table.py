"""The table of a batch holds what the JSON tells, field by field, whoever computed it.

Expected cells are those of the JSON contract (the command's own fields), planted in `told`.
"""

import os
import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sniff.batch.table import flat, flattened
from tests.batch.told import answer, board, board_line, carrier, envelope, look, unread, watch

plain = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False)
    | st.text("aµ", max_size=5)
)
key = st.text("abcdefgh_", min_size=1, max_size=6)
nested = st.recursive(plain, lambda inner: st.dictionaries(key, inner, max_size=4), max_leaves=20)


def _leaves(value: Any, path: tuple[str, ...] = ()) -> dict[tuple[str, ...], Any]:
    if not isinstance(value, dict):
        return {path: value}
    found: dict[tuple[str, ...], Any] = {}
    for name, inner in value.items():
        found |= _leaves(inner, (*path, name))
    return found


@settings(max_examples=50)
@given(result=st.dictionaries(key.map(lambda name: f"x{name}"), nested, max_size=5))
def test_each_number_of_nested_objects_stands_under_its_path(result: dict[str, Any]) -> None:
    row = flat(answer(0, envelope("carrier", result)))
    for path, value in _leaves(result).items():
        cell = row[".".join(path)]
        assert cell == value
        assert type(cell) is type(value)


def test_a_row_begins_with_the_file_and_what_was_asked_and_said() -> None:
    told = carrier(1.5, verdict="fail")
    row = flat(answer(3, told, source="a/b.wav", exit_code=1, nominal="72.9M", gain="20"))
    assert list(row)[:7] == [
        "file",
        "asked.gain",
        "asked.nominal",
        "exit_code",
        "verdict",
        "why",
        "error",
    ]
    assert row["file"] == "a/b.wav"
    assert row["asked.nominal"] == "72.9M"
    assert row["exit_code"] == 1
    assert row["verdict"] == "fail"
    assert row["why"] == "1.5 ppm off"
    assert row["error"] is None
    assert row["error_ppm"] == 1.5
    assert row["modulation.kind"] == "none"


def test_clock_and_source_have_names_of_their_own_and_cautions_are_told_by_code() -> None:
    told = envelope("look", {"peaks": []}, ppm=31.5, u_ppm=0.4, cautions=("clock", "dc", "clock"))
    row = flat(answer(0, told))
    assert row["clock.ppm"] == 31.5
    assert row["clock.u_ppm"] == 0.4
    assert row["source.rate_hz"] == 256000.0
    assert row["source.centers_hz"] == "72800000.0 83500000.0"
    assert row["source.gain_db"] == 20.0
    assert row["source.serial"] is None
    assert row["source.tunable"] is False
    assert row["cautions"] == "clock dc"


def test_lines_with_names_go_by_them() -> None:
    told = board(board_line("LO", -39.0), board_line("crystal × 2", None, state="absent"))
    row = flat(answer(0, told))
    assert row["lines.count"] == 2
    assert row["LO.level_dbfs"] == -39.0
    assert row["crystal × 2.state"] == "absent"
    assert row["crystal × 2.level_dbfs"] is None
    assert not any(column.endswith(".name") for column in row)


def test_lines_of_several_places_keep_apart_and_nameless_ones_are_numbered() -> None:
    lines = [
        {"name": "LO", "place": "IF can", "difference_db": -9.0},
        {"name": "LO", "place": "socket", "difference_db": 1.0},
        {"name": None, "place": "socket", "difference_db": 2.0},
    ]
    told = envelope("compare", {"verdict": "differs", "sentence": "The LO is weak", "lines": lines})
    row = flat(answer(0, told))
    assert row["why"] == "The LO is weak"
    assert "sentence" not in row
    assert row["LO at IF can.difference_db"] == -9.0
    assert row["LO at socket.difference_db"] == 1.0
    assert row["lines.0.difference_db"] == 2.0
    assert row["lines.count"] == 3


def test_a_name_met_twice_is_told_apart() -> None:
    told = board(board_line("LO", -39.0), board_line("LO", -60.0))
    row = flat(answer(0, told))
    assert row["LO.level_dbfs"] == -39.0
    assert row["LO.level_dbfs#2"] == -60.0


def test_of_a_list_without_names_the_first_three_are_shown_and_all_are_counted() -> None:
    row = flat(answer(0, watch(7, 2.0)))
    assert row["dropouts.count"] == 7
    assert [row[f"dropouts.{n}.start_s"] for n in range(3)] == [900.0, 1800.0, 2700.0]
    assert "dropouts.3.start_s" not in row
    assert not any(".fall" in column for column in row)
    assert row["rate_per_hour.value"] == 3.5


def test_the_strongest_is_the_strongest_that_the_receiver_did_not_make() -> None:
    peaks = [(72.8e6, -30.0, "dc"), (72.7e6, -33.0, "image"), (72.9e6, -35.0, "edge")]
    row = flat(answer(0, look(-98.0, *peaks, (72.95e6, -60.0, ""))))
    assert row["peaks.count"] == 4
    assert row["peaks.0.marks"] == "dc"
    assert row["strongest.frequency_hz"] == 72.9e6
    assert row["strongest.level_dbfs"] == -35.0
    nothing = flat(answer(0, look(-98.0, (72.8e6, -30.0, "dc"))))
    assert nothing["strongest.level_dbfs"] is None


def test_a_long_list_of_numbers_is_counted_and_a_short_one_written() -> None:
    row = flat(answer(0, envelope("look", {"long": [0.5] * 17, "short": [1.5, None, 3], "no": []})))
    assert row["long.count"] == 17
    assert "long" not in row
    assert row["short"] == "1.5  3"
    assert row["no.count"] == 0


def test_a_file_in_trouble_is_a_row_with_its_error() -> None:
    table = flattened([answer(0, carrier(1.0)), unread(1, "cut short; record it again")])
    assert [len(row) for row in table.rows] == [len(table.columns)] * 2
    trouble = list(table.as_rows())[1]
    assert trouble["file"] == "fleet/set-001.sigmf-meta"
    assert trouble["error"] == "cut short; record it again"
    assert trouble["exit_code"] == 4
    told = {column for column, cell in trouble.items() if cell is not None}
    assert told == {"file", "error", "exit_code", "answer"}


def test_rows_and_columns_do_not_depend_on_who_was_first_or_how_long_it_took() -> None:
    told = [
        unread(0),
        answer(1, board(board_line("LO", -39.0)), carrier="72.9M"),
        answer(2, board(board_line("LO", -38.0), board_line("image", None, state="absent"))),
        answer(3, board(board_line("crystal", -60.0), board_line("LO", -39.0)), sibling="g.wav"),
    ]
    table = flattened(told)
    shuffled = [
        answer(
            one.number,
            one.told,
            exit_code=one.exit_code,
            error=one.error,
            seconds=random.Random(one.number).random(),
            **one.options,
        )
        for one in reversed(told)
    ]
    assert flattened(iter(shuffled)) == table
    assert list(dict.fromkeys(table.columns)) == list(table.columns)


def test_a_column_that_later_rows_bring_stands_behind_its_forerunner() -> None:
    first = envelope("carrier", {"nominal_hz": 1.0, "drift": 2.0})
    later = envelope("carrier", {"nominal_hz": 1.0, "pilot": {"name": "stereo"}, "drift": 2.0})
    columns = flattened([answer(0, first), answer(1, later)]).columns
    at = columns.index("nominal_hz")
    assert columns[at : at + 3] == ("nominal_hz", "pilot.name", "drift")


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_field_that_is_null_here_and_an_object_there_has_the_objects_columns(
    order: tuple[int, int],
) -> None:
    told = [envelope("carrier", {"pilot": None}), envelope("carrier", {"pilot": {"name": "other"}})]
    table = flattened([answer(n, told[at]) for n, at in enumerate(order)])
    assert "pilot.name" in table.columns
    assert "pilot" not in table.columns
    alone = flattened([answer(0, told[0])])
    assert "pilot" in alone.columns


def test_no_answer_is_an_empty_table() -> None:
    assert flattened([]).rows == ()


def test_a_files_name_that_is_no_text_is_shown_by_its_bytes() -> None:
    name = os.fsdecode(b"set-\xff \xc2\xb5.wav")  # Latin-1 and UTF-8 in one name
    row = flat(answer(0, None, source=name, exit_code=4, error=f"{name}: not there"))
    assert row["file"] == "set-\\udcff µ.wav"
    assert str(row["error"]).encode() == "set-\\udcff µ.wav: not there".encode()
