"""``sniff batch`` on a fleet whose errors are planted, with real workers that are really killed."""

import csv
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import click
import psutil
import pytest

from sniff.batch.nouns import Task
from sniff.cli.batch_command import batch_command
from sniff.cli.batch_questions import LEFT_OUT, QUESTIONS
from sniff.cli.batching import _Batch
from tests.cli.conftest import Run
from tests.cli.fleet import write_set
from tests.cli.test_bad_input import assert_one_line
from tests.cli.test_startup import HEAVY, loaded_by

ERRORS_PPM = {"set-1": 1.0, "set-2": -2.0, "set-3": 40.0, "set-4": 0.5}
ASKED = ("--nominal", "72.9M", "--tolerance", "5ppm", "--ppm", 0, "--u-ppm", 0.1)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with a fleet of which one is bad and one is damaged."""
    for seed, (stem, error_ppm) in enumerate(ERRORS_PPM.items()):
        write_set(tmp_path / "fleet", stem, error_ppm=error_ppm, seed=seed)
    write_set(tmp_path / "fleet", "set-5", error_ppm=0.0).write_text("{")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def rows_of(folder: Path) -> list[dict[str, str]]:
    with (folder / "rows.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def answers_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in (folder / "answers").iterdir()}


def written(folder: Path) -> dict[str, int]:
    return {path.name: path.stat().st_mtime_ns for path in (folder / "answers").iterdir()}


def test_the_usage_names_the_options_where_they_go(run: Run) -> None:
    first, *_ = run("batch", "--help").out.splitlines()
    assert first.endswith(" batch QUESTION [OPTIONS] FILES or FOLDERS...")


def test_a_fleet_is_asked_and_gone_on_with(
    run: Run, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = run("batch", "carrier", *ASKED, "--workers", 2, "--no-plot", "fleet")
    assert answer.code == 1, answer.err
    rows = rows_of(here / "carrier-batch")
    assert [row["file"] for row in rows] == [f"fleet/set-{n}.sigmf-meta" for n in range(1, 6)]
    assert [row["verdict"] for row in rows] == ["pass", "pass", "fail", "pass", ""]
    for row, error_ppm in zip(rows, ERRORS_PPM.values(), strict=False):
        assert abs(float(row["error_ppm"]) - error_ppm) < 2 * 0.1 + 0.05
    assert "is not JSON" in rows[4]["error"]
    assert rows[4]["exit_code"] == "4"
    for row in rows:  # each tells where its answer is kept
        whole = json.loads(answers_in(here / "carrier-batch")[f"{row['answer']}.json"])
        assert (whole["source"], whole["told"] is None) == (row["file"], bool(row["error"]))

    # One worker finds the same, bit by bit.
    alone = run("batch", "carrier", *ASKED, "--workers", 1, "--no-plot", "--out", "alone", "fleet")
    assert alone.code == 1
    assert alone.out.replace("alone/", "carrier-batch/") == answer.out
    assert answers_in(here / "alone") == answers_in(here / "carrier-batch")
    for name in ("rows.csv", "summary.json"):
        assert (here / "alone" / name).read_bytes() == (here / "carrier-batch" / name).read_bytes()

    # Gone on with: what is done stays, what failed is asked again, what changed is asked anew.
    before = written(here / "carrier-batch")
    write_set(here / "fleet", "set-2", error_ppm=-20.0)
    write_set(here / "fleet", "set-5", error_ppm=3.0)
    again = run("batch", "carrier", *ASKED, "--no-plot", "--resume", "fleet")
    assert again.code == 1
    after = written(here / "carrier-batch")
    assert before.items() <= after.items()
    assert len(after) == len(before) + 2
    verdicts = [row["verdict"] for row in rows_of(here / "carrier-batch")]
    assert verdicts == ["pass", "fail", "fail", "pass", "pass"]

    # Ctrl-C while it looks what is done: rows of a part do not take the place of all.
    def interrupted(batch: _Batch, tasks: Sequence[Task]) -> list[Task]:
        batch.interruption.asked = True
        return list(tasks)

    monkeypatch.setattr(_Batch, "not_done", interrupted)
    stopped = run("batch", "carrier", *ASKED, "--no-plot", "--resume", "fleet")
    assert_one_line(stopped, 130, "carrier-batch is as it was", "--resume goes on")
    assert len(rows_of(here / "carrier-batch")) == 5


def test_a_manifest_gives_each_file_options_of_its_own(run: Run, here: Path) -> None:
    (here / "fleet" / "list.csv").write_text(
        "file,nominal,tolerance\n"
        "set-3.sigmf-meta,72.9029M,\n"  # where 40 ppm belongs
        "set-1.sigmf-meta,,0.2ppm\n"
        "none.sigmf-meta,,\n"
    )
    picture = here / "carrier-batch" / "x.svg"  # in the folder that the batch is yet to make
    words = ("--manifest", "fleet/list.csv", "--plot", "carrier-batch/x.svg", "--json", "--quiet")
    answer = run("batch", "carrier", *ASKED, *words, "--workers", 1)
    assert answer.code == 1, answer.err
    data = json.loads(answer.out)
    assert (data["schema"], data["command"]) == ("sniff/1", "batch")
    assert (data["result"]["recordings"], data["result"]["not_read"]) == (3, 1)
    rows = rows_of(here / "carrier-batch")
    assert [row["verdict"] for row in rows] == ["pass", "fail", ""]
    assert float(rows[0]["nominal_hz"]) == 72.9029e6
    assert "no such file" in rows[2]["error"]
    assert answer.err == ""
    assert picture.read_bytes().startswith(b"<?xml")


def begun(here: Path, *, copies: int) -> "subprocess.Popen[str]":
    """A batch over many links to one recording, in a process group of its own, well under way."""
    for number in range(copies):
        for half in ("sigmf-meta", "sigmf-data"):
            link = here / "many" / f"set-{number:03}.{half}"
            link.parent.mkdir(exist_ok=True)
            link.hardlink_to(here / "fleet" / f"set-1.{half}")
    command = [sys.executable, "-m", "sniff", "batch", "carrier", *ASKED, "--no-plot", "--workers"]
    process = subprocess.Popen(
        [*map(str, command), "2", "many"],
        cwd=here,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    wait_for_answers(here, 6)
    return process


def wait_for_answers(here: Path, count: int) -> None:
    answers, give_up_at = here / "carrier-batch" / "answers", time.monotonic() + 60
    while not answers.is_dir() or len(list(answers.glob("*.json"))) < count:
        assert time.monotonic() < give_up_at
        time.sleep(0.01)


def test_a_killed_worker_loses_nothing(here: Path) -> None:
    with begun(here, copies=40) as process:
        workers = [
            child
            for child in psutil.Process(process.pid).children()
            if any("spawn_main" in word for word in child.cmdline())
        ]
        assert len(workers) == 2
        workers[0].kill()
        out, err = process.communicate(timeout=100)
    assert process.returncode == 0, err
    assert "40" in out
    rows = rows_of(here / "carrier-batch")
    assert [row.pop("file") for row in rows] == [f"many/set-{n:03}.sigmf-meta" for n in range(40)]
    assert all(row.pop("source.name") and row.pop("answer") for row in rows)
    assert {row["verdict"] for row in rows} == {"pass"}
    assert len({json.dumps(row) for row in rows}) == 1


def test_ctrl_c_keeps_what_is_done_and_resume_does_the_rest(run: Run, here: Path) -> None:
    with begun(here, copies=50) as process:
        os.killpg(process.pid, signal.SIGINT)
        _, err = process.communicate(timeout=100)
    assert process.returncode == 130
    done = written(here / "carrier-batch")
    assert 6 <= len(done) < 50
    assert err.startswith("Asked in ")
    assert err.endswith(
        f"sniff: interrupted: {len(done)} of 50 are done and kept in carrier-batch; "
        "the same with --resume goes on\n"
    )
    assert "Traceback" not in err
    assert len(rows_of(here / "carrier-batch")) == len(done)
    assert (
        run("batch", "carrier", *ASKED, "--no-plot", "--resume", "--workers", 1, "many").code == 0
    )
    assert done.items() <= written(here / "carrier-batch").items()
    assert len(rows_of(here / "carrier-batch")) == 50


class TestMistakes:
    """Each is one line, before any worker begins and any folder is made."""

    @pytest.fixture(autouse=True)
    def no_workers(self, monkeypatch: pytest.MonkeyPatch, here: Path) -> Iterator[None]:
        def refuse(*_: object, **__: object) -> None:
            raise AssertionError("a worker was begun")

        monkeypatch.setattr("sniff.batch.pool.ProcessPool.submit", refuse)
        yield
        assert {path.name for path in here.iterdir()} <= {"fleet", "list.csv", "look-batch"}

    def test_no_files(self, run: Run) -> None:
        assert_one_line(run("batch", "look"), 2, "which recordings", "--manifest")

    def test_a_folder_without_recordings(self, run: Run, here: Path) -> None:
        (here / "fleet" / "empty").mkdir()
        assert_one_line(run("batch", "look", "fleet/empty"), 2, "no recording in it")

    def test_files_and_a_manifest(self, run: Run) -> None:
        assert_one_line(run("batch", "look", "--manifest", "list.csv", "fleet"), 2, "--manifest")

    @pytest.mark.parametrize(
        ("words", "code", "said"),
        [
            (("look", "--rbw", "often"), 2, "often"),
            (("look", "--rbw", "-1k"), 2, "above zero"),
            (("look", "--seconds", 0), 2, "--seconds 0"),
            (("look", "--ppm", 3), 2, "--u-ppm"),
            (("look", "--inverted"), 2, "--converter"),
            (("look", "--clock", "nobody"), 2, "nobody"),
            (("probe",), 2, "--carrier"),
            (("probe", "--carrier", "72.9M", "--sibling", "x"), 2, "--sibling-carrier"),
            (("probe", "--plan", "none.toml"), 4, "none.toml"),
            (("carrier", "--tolerance", "5ppm"), 2, "--nominal"),
            (("carrier", "--limits", "none"), 2, "no such example"),
            (("watch",), 2, "--line"),
            (("compare",), 2, "--good"),
            (("compare", "--good", "a.wav", "--good-carrier", "72.9M"), 2, "--suspect-carrier"),
            (("compare", "--good", "fleet"), 2, "not with a job"),
            (("compare", "--good", "IF=dongle:7"), 2, "a batch compares with a recording"),
            (
                ("probe", "--carrier", "72.9M", "--sibling", "dongle", "--sibling-carrier", "1M"),
                2,
                "a batch compares with a recording",
            ),
            (("watch", "--line", "72.9M", "--resolution", "2s"), 2, "--resolution"),
            (("look", "--course", "x.png"), 2, "--course"),
            (("look", "--plot", "x.gif"), 2, "x.gif"),
            (("look", "--plot", "none/x.png"), 4, "the folder none is not there"),
            (("look", "--from", "fleet"), 2, "--from"),
            (("look", "--workers", 0), 2, "0"),
        ],
    )
    def test_options(self, run: Run, words: tuple[object, ...], code: int, said: str) -> None:
        assert_one_line(run("batch", *words, "fleet"), code, said)

    @pytest.mark.parametrize(
        ("head", "cell", "said"),
        [
            ("nominal", "often", "often"),
            ("nominl", "72.9M", "'nominl' is no option of 'sniff batch carrier'"),
            ("plot", "x.png", "'plot' is no option"),
            ("channels", "446M+12.5k*3", "--nominal and --channels do not go together"),
            ("inverted", "perhaps", "yes or no"),
        ],
    )
    def test_options_of_a_files_own(
        self, run: Run, here: Path, head: str, cell: str, said: str
    ) -> None:
        (here / "list.csv").write_text(f"file,{head}\na.wav,\nfleet/b.wav,{cell}\n")
        answer = run("batch", "carrier", *ASKED, "--manifest", "list.csv")
        assert_one_line(answer, 4, "list.csv, fleet/b.wav: ", said)

    def test_a_folder_that_is_there(self, run: Run, here: Path) -> None:
        (here / "look-batch").mkdir()
        (here / "look-batch" / "mine.txt").touch()
        assert_one_line(run("batch", "look", "fleet"), 4, "look-batch", "holds no batch", "--out")
        answer = run("batch", "look", "--resume", "fleet")
        assert_one_line(answer, 4, "holds no batch")

    def test_a_damaged_clock(self, run: Run) -> None:
        from sniff.cli.clocks import clock_store
        from sniff.cli.kept_folder import kept_folder

        (kept_folder() / "clocks").mkdir(parents=True)
        (kept_folder() / "clocks" / "mine.json").write_text("{")
        assert clock_store().names() == ("mine",)
        assert_one_line(run("batch", "look", "fleet"), 4, "mine.json")

    def test_an_unknown_question(self, run: Run) -> None:
        assert_one_line(run("batch", "sweep", "fleet"), 2, "sweep")


@pytest.mark.parametrize("question", QUESTIONS)
def test_help_of_a_question_is_light_and_tells_no_option_of_one_file(
    run: Run, question: str
) -> None:
    assert not loaded_by("batch", question, "--help").intersection(HEAVY)
    told = run("batch", question, "--help").out
    for param in QUESTIONS[question].command().params:
        if param.name in LEFT_OUT - {"as_json", "quiet", "plot"}:
            for word in param.opts:
                assert f"  {word} " not in told


@pytest.mark.parametrize("question", QUESTIONS)
def test_help_speaks_of_no_option_that_a_batch_has_not(question: str) -> None:
    with batch_command(QUESTIONS[question]).make_context(
        "batch", [], resilient_parsing=True
    ) as ctx:
        there = {word for param in ctx.command.params for word in param.opts}
        helps = {param.name: param.help or "" for param in ctx.command.params
                 if isinstance(param, click.Option)}  # fmt: skip
    helps.pop("source", None)
    spoken = {word for words in helps.values() for word in re.findall("--[a-z][a-z-]*", words)}
    assert spoken - {"--from", "--nthreads"} <= there
    assert not any("job" in words for words in helps.values())
    assert f"--{QUESTIONS[question].own}" in there
    assert f"such as {QUESTIONS[question].own}:" in helps["manifest"]
