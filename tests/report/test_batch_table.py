"""Tables on disk, read back by the csv module and by pyarrow, against the JSON behind them."""

import csv
import subprocess
import sys
from pathlib import Path

import pyarrow.parquet
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sniff.batch.table import Cell, Table, flattened
from sniff.errors import SourceError, UsageError
from sniff.report.batch_table import check_target, write_csv, write_parquet, write_table
from tests.batch.told import answer, board, board_line, carrier, unread

TOLD = [carrier(1.1234567890123457, verdict="pass"), carrier(None, verdict="undecided")]
TABLE = flattened(
    [
        answer(0, TOLD[0], nominal="72.9M"),
        answer(1, TOLD[1], exit_code=3),
        unread(2),
        answer(3, board(board_line("LO", -39.0), board_line("crystal × 2", -70.25, wanted=False))),
    ]
)


def _read(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_the_csv_tells_what_the_json_tells(tmp_path: Path) -> None:
    path = tmp_path / "fleet.csv"
    write_csv(TABLE, path)
    rows = _read(path)
    assert [row["file"] for row in rows] == [f"fleet/set-{n:03d}.sigmf-meta" for n in range(4)]
    result = TOLD[0]["result"]
    for field in ("nominal_hz", "frequency_hz", "u_hz", "error_ppm", "tolerance_hz"):
        assert float(rows[0][field]) == result[field]
    assert rows[0]["asked.nominal"] == "72.9M"
    assert rows[1]["error_ppm"] == ""
    assert rows[1]["verdict"] == "undecided"
    assert rows[2]["error"] == "the file is empty; record it again"
    assert rows[3]["crystal × 2.level_dbfs"] == "-70.25"
    assert (rows[3]["LO.wanted"], rows[3]["crystal × 2.wanted"]) == ("true", "false")
    assert path.read_bytes().count(b"\r\n") == 5  # RFC 4180, 2.1
    assert [each.name for each in tmp_path.iterdir()] == ["fleet.csv"]


def test_the_parquet_tells_what_the_json_tells_in_types(tmp_path: Path) -> None:
    path = tmp_path / "fleet.parquet"
    write_parquet(TABLE, path)
    read = pyarrow.parquet.read_table(path)
    assert tuple(read.column_names) == TABLE.columns
    rows = read.to_pylist()
    assert rows == list(TABLE.as_rows())
    assert rows[0]["error_ppm"] == TOLD[0]["result"]["error_ppm"]
    kinds = {
        name: str(kind) for name, kind in zip(read.column_names, read.schema.types, strict=True)
    }
    assert kinds["error_ppm"] == "double"
    assert kinds["exit_code"] == "int64"
    assert kinds["LO.wanted"] == "bool"
    assert kinds["verdict"] == "string"
    assert kinds["source.serial"] == "null"
    assert [each.name for each in tmp_path.iterdir()] == ["fleet.parquet"]


number = st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(2**63) + 1, 2**63 - 1)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
@given(st.lists(number, min_size=1, max_size=20))
def test_every_number_reads_back_as_itself_from_a_csv(tmp_path: Path, cells: list[float]) -> None:
    table = Table(columns=("x",), rows=tuple((cell,) for cell in cells))
    write_csv(table, tmp_path / "x.csv")
    for row, cell in zip(_read(tmp_path / "x.csv"), cells, strict=True):
        assert type(cell)(row["x"]) == cell


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
@given(st.lists(st.text("a,;\"'\n\r µ=", min_size=1, max_size=8), min_size=1, max_size=5))
def test_every_text_reads_back_from_both(tmp_path: Path, cells: list[str]) -> None:
    table = Table(columns=("x",), rows=tuple((cell,) for cell in cells))
    write_csv(table, tmp_path / "x.csv")
    guarded = [f"'{cell}" if cell[0] in "=\r" else cell for cell in cells]
    assert [row["x"] for row in _read(tmp_path / "x.csv")] == guarded
    write_parquet(table, tmp_path / "x.parquet")
    assert pyarrow.parquet.read_table(tmp_path / "x.parquet")["x"].to_pylist() == cells


@pytest.mark.parametrize("name", ["=1+1.wav", "+1.wav", "-x.wav", "@x.wav", "\tx.wav", "\rx.wav"])
def test_no_name_reaches_a_spreadsheet_as_a_formula(tmp_path: Path, name: str) -> None:
    """A cell must not begin so (OWASP, CSV Injection); a negative number may."""
    table = Table(columns=("file", "level_dbfs"), rows=((name, -39.5),))
    write_csv(table, tmp_path / "x.csv")
    (row,) = _read(tmp_path / "x.csv")
    assert row == {"file": f"'{name}", "level_dbfs": "-39.5"}


@pytest.mark.parametrize(
    ("cells", "kind", "read"),
    [
        ((1, 2.5, None), "double", [1.0, 2.5, None]),
        ((1, True, None), "string", ["1", "true", None]),
        ((1.5, "x", False), "string", ["1.5", "x", "false"]),
        ((2**63, 1, None), "string", ["9223372036854775808", "1", None]),
        ((None, None, None), "null", [None, None, None]),
    ],
)
def test_a_column_of_several_kinds_takes_the_one_that_holds_all(
    tmp_path: Path, cells: tuple[Cell, ...], kind: str, read: list[object]
) -> None:
    write_parquet(Table(columns=("x",), rows=tuple((c,) for c in cells)), tmp_path / "x.parquet")
    column = pyarrow.parquet.read_table(tmp_path / "x.parquet")["x"]
    assert str(column.type) == kind
    assert column.to_pylist() == read


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_the_same_answers_give_the_same_file(tmp_path: Path, suffix: str) -> None:
    for name in ("one", "two"):
        write_table(TABLE, tmp_path / f"{name}{suffix}")
    first, second = (tmp_path / f"{name}{suffix}" for name in ("one", "two"))
    assert first.read_bytes() == second.read_bytes()


@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_what_cannot_be_written_leaves_nothing_behind(tmp_path: Path, suffix: str) -> None:
    with pytest.raises(SourceError, match="cannot be written: No such file or directory"):
        write_table(TABLE, tmp_path / "nowhere" / f"x{suffix}")
    target = tmp_path / f"x{suffix}"
    target.mkdir()
    with pytest.raises(SourceError, match="cannot be written: Is a directory"):
        write_table(TABLE, target)
    assert [path.name for path in tmp_path.iterdir()] == [target.name]


@pytest.mark.parametrize("name", ["fleet.xlsx", "fleet", "fleet.csv.gz"])
def test_another_suffix_is_refused_before_any_work(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match=r"end its name in \.csv or \.parquet"):
        check_target(tmp_path / name)
    check_target(tmp_path / "FLEET.CSV")


def test_without_pyarrow_one_line_says_what_to_do(tmp_path: Path) -> None:
    code = (
        "import sys; sys.modules['pyarrow'] = None\n"
        "from pathlib import Path\n"
        "from sniff.errors import UsageError\n"
        "from sniff.report.batch_table import check_target\n"
        "check_target(Path('x.csv'))\n"
        "try:\n    check_target(Path('x.parquet'))\n"
        "except UsageError as error:\n    print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert done.stdout == (
        "Parquet is written by pyarrow, which is not installed; take a .csv, or pip install "
        "'lo-sniff[parquet]'\n"
    )
