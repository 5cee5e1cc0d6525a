"""``sniff demo``: the whole story, its pictures and its honesty."""

from pathlib import Path

from tests.cli.conftest import Run


def test_the_demo_tells_fault_and_repair_and_draws_them(run: Run, tmp_path: Path) -> None:
    answer = run("demo", "--out", tmp_path / "pictures")
    assert answer.code == 0
    assert "IF of 10.7 MHz with the LO on the high side" in answer.out
    assert "LO is unsteady" in answer.out
    assert "every wanted line is there" in answer.out
    # −ln(0.05) / 2.5 s: NIST/SEMATECH e-Handbook 8.3.1.2, no event seen.
    assert "less than once in 833 ms" in answer.out
    assert sorted(path.name for path in (tmp_path / "pictures").iterdir()) == [
        "board-after.png",
        "board-arrival.png",
        "course-after.png",
        "course-arrival.png",
    ]


def test_a_folder_that_cannot_be_made_is_one_line(run: Run, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    answer = run("demo", "--out", tmp_path / "file" / "pictures")
    assert answer.code == 4
    assert answer.err.count("\n") == 1
    assert "--out" in answer.err
