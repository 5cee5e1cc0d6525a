"""Pictures on disk: whole or not at all, the same bytes for the same result, clear refusals."""

import os
import resource
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from matplotlib.figure import Figure

from sniff.board import LineState
from sniff.errors import BenchError, SourceError, UsageError
from sniff.report.plots import draw_board, draw_course, draw_look, render, save
from tests.report import planted


@pytest.fixture(scope="module")
def figure() -> Figure:
    return draw_look(planted.look([(83.6e6, -32.0), (82.8e6, -60.0)], bins=512))


@pytest.mark.parametrize(
    ("name", "start"),
    [
        ("look.png", b"\x89PNG\r\n\x1a\n"),  # ISO/IEC 15948:2004, 5.2
        ("look.PDF", b"%PDF-1."),  # ISO 32000-1:2008, 7.5.2
        ("look.svg", b"<?xml version="),
    ],
)
def test_the_suffix_chooses_the_format(
    figure: Figure, tmp_path: Path, name: str, start: bytes
) -> None:
    save(figure, tmp_path / name)
    assert (tmp_path / name).read_bytes().startswith(start)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_png_is_as_wide_as_the_sheet_at_200_dots_per_inch(figure: Figure) -> None:
    width = int.from_bytes(render(figure, "png")[16:20], "big")  # ISO/IEC 15948:2004, 11.2.2
    assert width == int(190.0 / 25.4 * 200.0)


@pytest.mark.parametrize("name", ["look.jpg", "look", "look.", ".png", "look.png.gz"])
def test_another_suffix_is_refused_with_what_to_do(
    figure: Figure, tmp_path: Path, name: str
) -> None:
    with pytest.raises(UsageError, match=r"end its name in \.png, \.svg or \.pdf") as refusal:
        save(figure, tmp_path / name)
    assert "\n" not in str(refusal.value)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_named(figure: Figure, tmp_path: Path) -> None:
    with pytest.raises(SourceError, match=r"the folder .*/nowhere is not there; make it first"):
        save(figure, tmp_path / "nowhere" / "look.png")


def test_a_folder_is_not_overwritten(figure: Figure, tmp_path: Path) -> None:
    (tmp_path / "look.png").mkdir()
    with pytest.raises(BenchError, match=r"look\.png: cannot be written"):
        save(figure, tmp_path / "look.png")
    assert [path.name for path in tmp_path.iterdir()] == ["look.png"]


def test_a_name_that_the_disk_refuses_is_told(figure: Figure, tmp_path: Path) -> None:
    with pytest.raises(BenchError, match=r"cannot be written: File name too long"):
        save(figure, tmp_path / f"{'x' * 250}.png")


def test_a_full_disk_leaves_the_older_picture_whole(figure: Figure, tmp_path: Path) -> None:
    target = tmp_path / "look.png"
    save(figure, target)
    older = target.read_bytes()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))
    try:
        with pytest.raises(BenchError, match=r"cannot be written: File too large"):
            save(draw_look(planted.look(bins=512)), target)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert target.read_bytes() == older
    assert [path.name for path in tmp_path.iterdir()] == ["look.png"]


def test_a_new_picture_has_the_rights_of_any_new_file(figure: Figure, tmp_path: Path) -> None:
    mask = os.umask(0o027)
    try:
        save(figure, tmp_path / "look.svg")
    finally:
        os.umask(mask)
    assert (tmp_path / "look.svg").stat().st_mode & 0o777 == 0o640


def _look() -> Figure:
    return draw_look(planted.look([(83.6e6, -32.0), (82.8e6, -60.0)], bins=512))


def _board() -> Figure:
    look = planted.look([(83.6e6, -32.0)], bins=512)
    line = planted.line("LO", 83.6e6, 4180.0, LineState.PRESENT, found_in=look)
    return draw_board(planted.board([line], [look]))


def _course() -> Figure:
    return draw_course(planted.course(planted.quiet(30, 40)))


@pytest.mark.parametrize("file_format", ["png", "svg", "pdf"])
@pytest.mark.parametrize("draw", [_look, _board, _course])
def test_the_same_result_gives_the_same_bytes(draw: object, file_format: str) -> None:
    assert callable(draw)
    assert render(draw(), file_format) == render(draw(), file_format)


def test_an_svg_is_well_formed_and_no_identifier_comes_twice() -> None:
    root = ElementTree.fromstring(render(_look(), "svg"))
    names = [element.attrib["id"] for element in root.iter() if "id" in element.attrib]
    assert len(names) == len(set(names)) > 10


def test_an_unknown_format_is_our_own_mistake(figure: Figure) -> None:
    with pytest.raises(ValueError, match="file_format='jpg'"):
        render(figure, "jpg")


def test_drawing_needs_no_display_and_no_pyplot() -> None:
    code = "import sys, sniff.report.plots; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
