"""Which recordings files, folders and a shell's star stand for."""

import os
from pathlib import Path

import pytest

from sniff.cli.batch_finding import found_by, without
from sniff.errors import SourceError, UsageError
from sniff.sources.shipped import shipped_recordings


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in (
        "b.sigmf-meta", "b.sigmf-data", "a.wav", "c.sigmf", "d.cu8", "e.ci16_le", "notes.txt",
        "alone.sigmf-data", "odd.rf32_le", ".hidden.wav", "sub/z.WAV", "sub/deeper/y.cu8",
        ".cache/x.wav", "rows.csv", "picture.png",
    ):  # fmt: skip
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    return tmp_path


def names(*named: object) -> list[str]:
    return [task.source for task in found_by([str(word) for word in named]).tasks]


def test_a_folder_is_searched_by_name_and_with_all_in_it(folder: Path) -> None:
    found = names(folder)
    assert found == [
        str(folder / name)
        for name in (
            "a.wav", "alone.sigmf-data", "b.sigmf-meta", "c.sigmf", "d.cu8", "e.ci16_le",
            "sub/z.WAV", "sub/deeper/y.cu8",
        )
    ]  # fmt: skip


def test_of_a_pair_the_metadata_stand_for_both_also_in_a_list(folder: Path) -> None:
    assert names(folder / "b.sigmf-data", folder / "b.sigmf-meta") == [str(folder / "b.sigmf-meta")]
    assert names(folder / "b.sigmf-data") == [str(folder / "b.sigmf-data")]


def test_raw_samples_that_metadata_describe_are_not_taken_twice() -> None:
    """The shipped recordings have three such, and three pairs (recordings/README.md)."""
    found = [Path(name).name for name in names(shipped_recordings())]
    assert found == [
        "nfm_voice_144.470M_280k.sigmf-meta",
        "ook_433.800M_1000k.sigmf-meta",
        "tour-guide-deaf.sigmf-meta",
        "tour-guide-good.sigmf-meta",
        "tour-guide-mended.sigmf-meta",
        "wmbus_t1_868.950M_1600k.sigmf-meta",
    ]


def test_what_is_named_is_asked_whatever_it_is_and_once(folder: Path) -> None:
    words = ("missing.wav", folder / "notes.txt", "bench:room", "missing.wav")
    assert names(*words) == ["missing.wav", str(folder / "notes.txt"), "bench:room"]


def test_numbers_follow_the_words(folder: Path) -> None:
    tasks = found_by([str(folder / "sub"), "x.wav"]).tasks
    assert [task.number for task in tasks] == [0, 1, 2]
    assert tasks[-1].source == "x.wav"


def test_a_link_in_a_circle_ends(folder: Path) -> None:
    (folder / "sub" / "again").symlink_to(folder, target_is_directory=True)
    assert len(names(folder)) == 8


def test_a_linked_folder_is_searched_and_what_lies_in_it_asked_once(folder: Path) -> None:
    year = folder / "year"
    year.mkdir()
    (year / "link").symlink_to(folder / "sub", target_is_directory=True)
    assert names(year) == [str(year / "link" / name) for name in ("z.WAV", "deeper/y.cu8")]
    assert names(year, folder / "sub") == names(year)


def test_one_file_by_several_words_is_asked_once(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    assert names("a.wav", "./a.wav", folder / "a.wav", "sub/../a.wav") == ["a.wav"]
    assert names("b.sigmf-meta", folder / "b.sigmf-data") == ["b.sigmf-meta"]


def test_samples_without_metadata_are_asked_unless_others_describe_them(folder: Path) -> None:
    (folder / "b.sigmf-meta").write_text('{"global": {"core:dataset": "alone.sigmf-data"}}')
    assert str(folder / "alone.sigmf-data") not in names(folder)


def test_what_all_are_held_against_is_left_out_and_told(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    left = without(found_by(["b.sigmf-meta", "a.wav", "c.sigmf"]), [f"IF={folder}/b.sigmf-data"])
    assert [(task.number, task.source) for task in left.tasks] == [(0, "a.wav"), (1, "c.sigmf")]
    (caution,) = left.cautions
    assert caution.text.startswith("b.sigmf-meta: is what the others are held against")
    with pytest.raises(UsageError, match=r"a\.wav: is what the others"):
        without(found_by(["a.wav"]), ["./a.wav"])


def test_what_was_named_and_passed_over_is_told(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    empty = [str(folder / f"{n}") for n in range(5)]
    for each in empty:
        Path(each).mkdir()
    (caution,) = found_by([str(folder), *empty]).cautions
    assert caution.text == f"{', '.join(empty[:3])} and 2 more: no recording in it"

    listed = os.scandir

    def locked(path: str) -> object:
        if Path(path).name == "sub":
            raise PermissionError(13, "Permission denied", str(path))
        return listed(path)

    monkeypatch.setattr("os.scandir", locked)  # who runs the tests may read everything
    found = found_by([str(folder)])
    assert len(found.tasks) == 6
    (caution,) = found.cautions
    assert caution.text.startswith(f"{folder / 'sub'}: cannot be read: Permission denied;")
    with pytest.raises(SourceError, match="cannot be read: Permission denied"):
        found_by([str(folder / "sub")])


def test_a_folder_without_any_is_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=rf"{tmp_path}: no recording in it"):
        found_by([str(tmp_path)])


def test_no_words_are_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="which recordings"):
        found_by([])
