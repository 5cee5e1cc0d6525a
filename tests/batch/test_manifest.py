"""A manifest: what is written reads back, and what is off is told by its line.

The form of the files is that of RFC 4180, with the separators that spreadsheets write.
"""

import csv
from io import StringIO
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sniff.batch.manifest import read_manifest
from sniff.batch.nouns import Task
from sniff.errors import BenchError, InputError, SourceError

OPTIONS = ("carrier", "nominal", "sibling-carrier", "x-db", "if", "gain")
cells = st.text("ab=7,;\t\"'\n\r .µ\u2028\x85−", max_size=12).map(str.strip)


@st.composite
def manifests(draw: st.DrawFn) -> tuple[list[str], list[list[str]]]:
    options = draw(st.lists(st.sampled_from(OPTIONS), unique=True, max_size=4))
    header = draw(st.permutations(["file", *options]))
    file = cells.filter(lambda cell: cell and not cell.startswith("bench:"))
    row = st.tuples(*(file if name == "file" else cells for name in header)).map(list)
    return header, draw(st.lists(row, min_size=1, max_size=6, unique_by=tuple))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    table=manifests(),
    separator=st.sampled_from([",", ";", "\t"]),
    # With line ends of its own the csv module leaves other line ends in a cell unquoted.
    form=st.sampled_from(
        [
            (csv.QUOTE_MINIMAL, "\r\n"),
            (csv.QUOTE_ALL, "\r\n"),
            (csv.QUOTE_ALL, "\n"),
            (csv.QUOTE_ALL, "\r"),
        ]
    ),
    mark=st.sampled_from(["utf-8", "utf-8-sig"]),
    blank=st.booleans(),
)
def test_what_a_spreadsheet_writes_reads_back(
    tmp_path: Path,
    table: tuple[list[str], list[list[str]]],
    separator: str,
    form: tuple[int, str],
    mark: str,
    blank: bool,
) -> None:
    header, rows = table
    target = StringIO(newline="")
    if len(header) == 1 and separator != ",":
        separator = ","  # a header of one column tells of no separator
    quoting, line_end = form
    writer = csv.writer(target, delimiter=separator, quoting=quoting, lineterminator=line_end)
    writer.writerow(header)
    for row in rows:
        writer.writerow(row)
        if blank:
            writer.writerow([""] * len(header))
    path = tmp_path / "list.csv"
    path.write_bytes(target.getvalue().encode(mark))
    tasks = read_manifest(path)
    assert [task.number for task in tasks] == list(range(len(rows)))
    for task, row in zip(tasks, rows, strict=True):
        told = dict(zip(header, row, strict=True))
        assert task.source == str(tmp_path / told.pop("file"))
        assert task.options == {name: cell for name, cell in told.items() if cell}


def _written(tmp_path: Path, data: str | bytes) -> Path:
    path = tmp_path / "list.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def test_paths_count_from_the_manifests_folder(tmp_path: Path) -> None:
    path = _written(
        tmp_path,
        "file,sibling,plan,channels,limits\n"
        "a/1.wav,good.wav,set.toml,list.toml,own.toml\n"
        "/far/2.wav,/far/good.wav,,446.00625M+12.5k*16,cfr-74-861\n",
    )
    near, far = read_manifest(path)
    assert near.source == str(tmp_path / "a/1.wav")
    assert near.options == {
        "sibling": str(tmp_path / "good.wav"),
        "plan": str(tmp_path / "set.toml"),
        "channels": str(tmp_path / "list.toml"),
        "limits": str(tmp_path / "own.toml"),
    }
    assert far.source == "/far/2.wav"
    assert far.options == {
        "sibling": "/far/good.wav",
        "channels": "446.00625M+12.5k*16",
        "limits": "cfr-74-861",
    }


def test_scenes_of_the_bench_are_no_paths_but_their_files_are(tmp_path: Path) -> None:
    path = _written(tmp_path, "file;sibling;good\nbench:room;bench:own.toml;IF can=good.wav\n")
    (task,) = read_manifest(path)
    assert task.source == "bench:room"
    assert task.options == {
        "sibling": f"bench:{tmp_path / 'own.toml'}",
        "good": f"IF can={tmp_path / 'good.wav'}",
    }


def test_a_file_whose_name_has_an_equals_sign_is_no_place(tmp_path: Path) -> None:
    (tmp_path / "gain=30.wav").touch()
    path = _written(tmp_path, "file,good\n1.wav,gain=30.wav\n2.wav,mixer=gain=30.wav\n")
    assert [task.options["good"] for task in read_manifest(path)] == [
        str(tmp_path / "gain=30.wav"),
        f"mixer={tmp_path / 'gain=30.wav'}",
    ]


def test_one_file_may_be_asked_twice_otherwise(tmp_path: Path) -> None:
    path = _written(tmp_path, "file,nominal\n1.wav,72.9M\n1.wav,74.7M\n")
    assert [task.options["nominal"] for task in read_manifest(path)] == ["72.9M", "74.7M"]


def test_blanks_about_cells_and_empty_cells_do_not_count(tmp_path: Path) -> None:
    path = _written(tmp_path, " file , carrier , if \n 1.wav , 72.9 MHz ,  \n , , \n")
    (task,) = read_manifest(path)
    assert task.source == str(tmp_path / "1.wav")
    assert task.options == {"carrier": "72.9 MHz"}


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ("", "line 1: no column 'file'"),
        ("\n\n", "line 1: no column 'file'"),
        ("\ufeff", "line 1: no column 'file'"),
        ("carrier\n72.9M\n", "line 1: no column 'file'"),
        ("1.wav\n2.wav\n", "line 1: no column 'file'"),
        ("file\n", "it lists no recording"),
        ("file,carrier\n,\n", "it lists no recording"),
        ("file,carrier,carrier\n", "line 1: two columns 'carrier'"),
        ("file,file\n", "line 1: two columns 'file'"),
        ("file,carrier,\n", "line 1: column 3 has no name"),
        ("file,--carrier\n", "line 1: '--carrier' is not an option's name"),
        ("file,Carrier\n", "line 1: 'Carrier' is not an option's name"),
        ("file,the carrier\n", "line 1: 'the carrier' is not an option's name"),
        ("file,carrier;nominal\n", "parted by more than one of semicolons"),
        ("file,carrier\n1.wav\n", "line 2: 1 cell under a header of 2"),
        ("file,carrier\n1.wav,72.9M\n2.wav,74,7M\n", "line 3: 3 cells under a header of 2"),
        ("\n\nfile,carrier\n\n1.wav\n", "line 5: 1 cell under"),
        ('file,carrier\n"1\n\n.wav",\n2.wav\n', "line 5: 1 cell under"),
        ("file,carrier\n1.wav,72.9M\n\n 1.wav,72.9M\n", "line 4: says the same as line 2"),
        ("File,carrier\n1.wav,72.9M\n", "in small letters: file"),
        ("file,carrier\n1.wav,72.9M\n,74.7M\n", "line 3: the cell under 'file' is empty"),
        ('file,carrier\n1.wav,"72.9M\n2.wav,74.7M\n', "line 2: unexpected end of data"),
        ('file,carrier\n1.wav,"72.9M"x\n', "line 2: ',' expected after '\"'"),
        (b"file,carrier\n1.wav,72.9M\n2\0.wav,\n", "line 3: a NUL byte"),
        (b"file,carrier\n1.wav,72.9M\nger\xe4t.wav,\n", "line 3: not UTF-8; save it as"),
        ("file,carrier\n".encode("utf-16"), "UTF-16; save it as 'CSV UTF-8'"),
        ("file\n" + "x" * 200_000, "line 2: field larger than field limit"),
    ],
)
def test_what_is_off_is_told_in_one_line_with_what_to_do(
    tmp_path: Path, data: str | bytes, told: str
) -> None:
    path = _written(tmp_path, data)
    with pytest.raises(InputError) as refusal:
        read_manifest(path)
    message = str(refusal.value)
    assert message.startswith(str(path))
    assert told in message
    assert "\n" not in message
    assert ";" in message.removeprefix(str(path))  # what is wrong; what to do
    assert refusal.value.exit_code == 4


def test_a_manifest_that_is_not_there_or_is_none_is_told(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match=r"none\.csv: cannot be read: No such file"):
        read_manifest(tmp_path / "none.csv")
    with pytest.raises(SourceError, match="cannot be read: Is a directory"):
        read_manifest(tmp_path)
    large = tmp_path / "large.csv"
    with large.open("wb") as file:
        file.truncate(64_000_001)
    with pytest.raises(InputError, match="which is no list of recordings"):
        read_manifest(large)


@given(data=st.binary(max_size=200))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_are_read_or_refused(tmp_path: Path, data: bytes) -> None:
    path = _written(tmp_path, b"file,carrier\n" + data)
    tasks: tuple[Task, ...] = ()
    refusal = ""
    try:
        tasks = read_manifest(path)
    except BenchError as error:
        refusal = str(error)
    assert bool(tasks) is not bool(refusal)
    assert "\n" not in refusal
