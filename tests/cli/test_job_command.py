"""``sniff job``: a repair from its start to its report, as a technician goes through it."""

import csv
import json
import sqlite3
import sys
from contextlib import closing
from io import StringIO
from pathlib import Path

import pytest
from PIL import Image

from sniff.job.folder import NOTEBOOK, SHEET, open_job
from tests.cli.conftest import Answer, Run

SET = ("--carrier", "72.9M", "--if", "10.7M", "--side", "high", "--multiplier", 3)
CLOCK = ("--ppm", 28.8, "--u-ppm", 0.3)


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))


@pytest.fixture
def folder(run: Run, tmp_path: Path, shipped: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A job with the plan of the tour-guide receiver; its folder is the present one."""
    path = tmp_path / "deaf-12"
    sibling = ("--sibling", shipped / "tour-guide-good.sigmf-meta", "--sibling-carrier", "74.7M")
    started = run(
        "job", "start", path, "--set", "Receiver 12", "--fault", "deaf at times",
        *SET, "--tolerance", "50ppm", *sibling,
    )  # fmt: skip
    assert started.code == 0, started
    monkeypatch.chdir(path)
    return path


def probe(run: Run, shipped: Path, which: str, *words: object) -> Answer:
    return run("probe", "--from", shipped / f"tour-guide-{which}.sigmf-meta", *CLOCK, *words)


def test_a_repair_from_arrival_to_report(run: Run, folder: Path, shipped: Path) -> None:
    arrival = probe(run, shipped, "deaf", "--stage", "arrival")
    assert arrival.code == 1
    assert "vs sibling" in arrival.out  # plan and sibling come from the sheet
    assert f"Filed as reading 1 of {folder} (stage arrival)." in arrival.err
    watched = shipped / "tour-guide-deaf.sigmf-meta"
    assert run("watch", "--from", watched, *CLOCK, "--stage", "arrival", "--quiet").code == 1
    assert run("job", "note", "--repair", "joint soldered anew").code == 0
    assert probe(run, shipped, "mended", "--stage", "after", "--quiet").code == 0
    watched = shipped / "tour-guide-mended.sigmf-meta"
    assert run("watch", "--from", watched, *CLOCK, "--stage", "after", "--quiet").code == 0

    report = run("job", "report")
    assert report.code == 0
    text = (folder / "report.html").read_text(encoding="utf-8")
    assert "Before the repair the LO at 83.6 MHz was unsteady" in text
    assert "it dropped out 3 times" in text  # truth of the scene: recordings/README.md
    assert "After the repair every line that must be there is there" in text
    assert "joint soldered anew" in text
    assert text.count("data:image/png;base64,") == 6
    assert len(text.encode()) < 3_000_000

    told = json.loads(run("job", "report", "--json").out)["result"]
    assert told["boards"][0]["lines"][0]["after"]["state"] == "present"
    assert run("job", "check").code == 0
    again = run("job", "redo")
    assert (again.code, again.out.count("the same")) == (0, 4), again.out


def test_without_a_job_nothing_is_filed_and_nothing_said(
    run: Run, folder: Path, shipped: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    recording = shipped / "tour-guide-deaf.sigmf-meta"
    assert "Filed" not in run("look", "--from", recording, "--no-job").err
    monkeypatch.chdir(tmp_path)
    assert "Filed" not in run("look", "--from", recording).err
    with open_job(folder).notebook() as notebook:
        assert notebook.counts() == (0, 0)
    assert run("look", "--from", recording, "--job", folder).code == 0
    with open_job(folder).notebook() as notebook:
        assert notebook.counts() == (1, 0)


def test_what_is_filed_is_what_was_printed(run: Run, folder: Path, shipped: Path) -> None:
    answer = probe(run, shipped, "deaf", "--json", "--stage", "before")
    with open_job(folder).notebook() as notebook:
        (reading,) = notebook.readings()
    assert reading.told == answer.out.removesuffix("\n")
    assert reading.data["budgets"][0]["terms"]
    assert reading.command_line.startswith("sniff probe --from ")
    names = sorted(file.name for file in reading.files)
    assert [name for name in names if name.endswith(".sigmf-data")] == [
        "tour-guide-deaf.sigmf-data",
        "tour-guide-good.sigmf-data",
    ]
    assert sum(name.endswith(".png") for name in names) == 2


def test_another_carrier_is_another_set_without_the_jobs_sibling(
    run: Run, folder: Path, shipped: Path
) -> None:
    answer = probe(run, shipped, "good", "--carrier", "74.7M", "--json")
    (lo, *_) = json.loads(answer.out)["result"]["lines"]
    assert lo["expected_hz"] == 85.4e6  # 74.7 + 10.7, by the IF of the sheet
    assert lo["versus_sibling_db"] is None


def test_the_siblings_recording_is_read_whole_whatever_the_set_is_asked(
    run: Run, folder: Path
) -> None:
    """It was recorded at two tunings in turn, at a gain of its own."""
    live = ("--from", "bench:tour-guide-deaf", "--rate", "256k", "--seconds", 0.3, *CLOCK)
    answer = run("probe", *live, "--gain", 30, "--json")
    assert answer.code in (0, 1), answer.err
    (lo, *_) = json.loads(answer.out)["result"]["lines"]
    assert lo["versus_sibling_db"] is not None


def test_a_result_that_cannot_be_filed_is_printed_all_the_same(
    run: Run, folder: Path, shipped: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sniff.job.database.BUSY_S", 0.05)
    with closing(sqlite3.connect(folder / NOTEBOOK, isolation_level=None)) as holder:
        holder.execute("BEGIN IMMEDIATE")
        answer = probe(run, shipped, "mended")
        holder.execute("ROLLBACK")
    assert answer.code == 4
    assert "AS-EXPECTED" in answer.out
    (line,) = [line for line in answer.err.splitlines() if line.startswith("sniff: ")]
    assert line.startswith("sniff: not filed: ")


@pytest.mark.parametrize("content", [b"", b"damaged" * 999])
def test_a_damaged_notebook_is_told_before_anything_is_measured(
    run: Run, folder: Path, shipped: Path, content: bytes
) -> None:
    (folder / NOTEBOOK).write_bytes(content)
    answer = probe(run, shipped, "mended")
    assert (answer.code, answer.out) == (4, "")
    assert len(answer.err.splitlines()) == 1
    assert (folder / NOTEBOOK).read_bytes() == content
    assert probe(run, shipped, "mended", "--no-job", *SET).code == 0


def test_a_mistake_in_the_sheet_is_named_by_its_line(run: Run, folder: Path, shipped: Path) -> None:
    path = folder / SHEET
    path.write_text(path.read_text(encoding="utf-8").replace('"high"', '"higher"'))
    answer = probe(run, shipped, "mended")
    assert answer.code == 4
    assert "job.toml, line 15: plan.side" in answer.err


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("look", "--from", "x.cu8", "--stage", "after"), 2, "--stage is for a job"),
        (("look", "--from", "x.cu8", "--job", "a", "--no-job"), 2, "do not go together"),
        (("look", "--from", "x.cu8", "--job", "nowhere"), 4, "is no job"),
        (("job", "show"), 2, "is no job"),
        (("job", "report", "nowhere"), 4, "is no job"),
        (("job", "start", "x"), 2, "--set is missing"),
        (("job", "start", "x", "--set", " \x1b "), 2, "names no set"),
        (("job", "start", "x", "--set", "a", "--if", "10.7M"), 2, "--carrier"),
        (("job", "start", "x", "--set", "a", "--sibling", "s"), 2, "go together"),
    ],
)
def test_mistakes_are_one_line(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...], code: int, said: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    answer = run(*words)
    assert answer.code == code, answer
    assert len(answer.err.splitlines()) == 1
    assert said in answer.err
    assert not (tmp_path / "x").exists()


class Terminal(StringIO):
    def isatty(self) -> bool:
        return True


def test_on_a_terminal_it_asks_and_asks_again(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = "Receiver 9\ndeaf\n72.9m\n72.9M\n10.7M\nhigh\n3\n50ppm\n"
    monkeypatch.setattr(sys, "stdin", Terminal(answers))
    answer = run("job", "start", tmp_path / "nine")
    assert answer.code == 0
    assert "'72.9m' is not a frequency" in answer.err
    sheet = open_job(tmp_path / "nine").sheet
    assert (sheet.set_name, sheet.fault) == ("Receiver 9", "deaf")
    assert sheet.plan is not None
    assert sheet.plan.lo_hz == 83.6e6


def test_a_second_start_is_refused(run: Run, folder: Path) -> None:
    answer = run("job", "start", folder, "--set", "other")
    assert answer.code == 4
    assert "a job already" in answer.err
    assert open_job(folder).sheet.set_name == "Receiver 12"


def test_a_photo_keeps_its_caption_and_loses_its_place(
    run: Run, folder: Path, tmp_path: Path
) -> None:
    image = Image.new("RGB", (8, 8))
    exif = image.getexif()
    exif.get_ifd(0x8825)[1] = "N"
    image.save(tmp_path / "IMG 1.jpg", exif=exif)
    answer = run("job", "photo", tmp_path / "IMG 1.jpg", "<b>the joint</b>")
    assert answer.code == 0
    assert "where it was taken" in answer.err
    run("job", "report", "--out", tmp_path / "r.html")
    text = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "&lt;b&gt;the joint&lt;/b&gt;" in text
    assert "data:image/jpeg;base64," in text


def test_jobs_are_listed_and_found(run: Run, folder: Path) -> None:
    run("job", "note", "crack under the crystal")
    assert "Receiver 12" in run("job", "list").out
    found = run("job", "find", "crack", "crystal")
    assert "note 1:" in found.out
    hits = json.loads(run("job", "find", "deaf", "--json").out)["result"]["hits"]
    assert [hit["kind"] for hit in hits] == ["job"]
    (folder / SHEET).unlink()
    assert "is no job" in run("job", "list").out
    assert "Forgotten" in run("job", "list", "--forget-missing").err
    assert "No job" in run("job", "list").out


def test_a_changed_recording_fails_the_check_and_is_not_repeated(
    run: Run, folder: Path, shipped: Path
) -> None:
    for suffix in (".sigmf-meta", ".sigmf-data"):
        data = (shipped / f"tour-guide-mended{suffix}").read_bytes()
        (folder / "recordings" / f"mine{suffix}").write_bytes(data)
    assert run("probe", "--from", "recordings/mine.sigmf-meta", *CLOCK).code == 0
    assert run("job", "check").code == 0
    with (folder / "recordings" / "mine.sigmf-data").open("r+b") as file:
        file.write(b"\x00" * 100)
    check = run("job", "check")
    assert check.code == 1
    assert "changed: recordings/mine.sigmf-data" in check.out
    redo = run("job", "redo")
    assert "not repeated: its recording mine.sigmf-data is changed" in redo.out


def test_a_comparison_is_repeated_with_the_clock_of_each_set(
    run: Run, folder: Path, shipped: Path
) -> None:
    """Two dongles recorded them; neither clock's profile is there any more when it is repeated."""
    for name, serial, reference in (("good", "A1", "85.4M"), ("mended", "B2", "83.6M")):
        meta = json.loads((shipped / f"tour-guide-{name}.sigmf-meta").read_text())
        meta["global"]["sniff:serial"] = serial
        (folder / "recordings" / f"{name}.sigmf-meta").write_text(json.dumps(meta))
        data = (shipped / f"tour-guide-{name}.sigmf-data").read_bytes()
        (folder / "recordings" / f"{name}.sigmf-data").write_bytes(data)
        source = ("--from", f"recordings/{name}.sigmf-meta", "--no-job", "--save", serial)
        assert run("calibrate", *source, "--reference", reference, "--accuracy", "1ppm").code == 0
    sets = ("--good", "recordings/good.sigmf-meta", "--suspect", "recordings/mended.sigmf-meta")
    carriers = ("--good-carrier", "74.7M", "--suspect-carrier", "72.9M")
    assert run("compare", *sets, *carriers).code in (0, 1)
    for serial in ("A1", "B2"):
        assert run("calibrate", "forget", serial).code == 0
    with open_job(folder).notebook() as notebook:
        data = notebook.reading(1).data
    assert "83.6 MHz" in data["clock"]["origin"]
    assert "85.4 MHz" in data["good_clock"]["origin"]
    assert data["good_clock"]["ppm"] != data["clock"]["ppm"]
    assert "1 compare: the same" in run("job", "redo").out


def test_a_result_that_today_differs_is_shown(run: Run, folder: Path, shipped: Path) -> None:
    """As if an older version had read the LO 60 Hz lower, and called it weak."""
    probe(run, shipped, "mended")
    with open_job(folder).notebook() as notebook:
        told = notebook.reading(1).data
    lo = told["result"]["lines"][0]
    lo["frequency_hz"] -= 2.4 * lo["u_hz"]
    lo["state"] = "weak"
    with closing(sqlite3.connect(folder / NOTEBOOK)) as plain:
        plain.execute("UPDATE readings SET told = ?", (json.dumps(told),))
        plain.commit()
    answer = run("job", "redo", "--json")
    assert answer.code == 1
    (reading,) = json.loads(answer.out)["result"]["readings"]
    fields = {each["field"]: (each["old"], each["new"]) for each in reading["differences"]}
    assert set(fields) == {"lines[LO].frequency_hz", "lines[LO].state"}
    assert fields["lines[LO].state"] == ("weak", "present")


def test_everything_goes_into_tables_and_json(run: Run, folder: Path, shipped: Path) -> None:
    probe(run, shipped, "deaf", "--stage", "arrival")
    run("job", "note", "=HYPERLINK(1)")
    assert run("job", "export", "--csv", "tables", "--json", "all.json").code == 0
    with (folder / "tables" / "lines.csv").open(encoding="utf-8", newline="") as file:
        lo = next(csv.DictReader(file))
    assert (lo["reading"], lo["name"], lo["state"]) == ("1", "LO", "unsteady")
    assert float(lo["expected_hz"]) == 83.6e6
    with (folder / "tables" / "notes.csv").open(encoding="utf-8", newline="") as file:
        (note,) = csv.DictReader(file)
    assert note["text"] == "'=HYPERLINK(1)"  # a spreadsheet must not work it out
    data = json.loads((folder / "all.json").read_text(encoding="utf-8"))
    assert data["readings"][0]["told"]["result"]["lines"][0]["state"] == "unsteady"
    assert data["notes"][0]["text"] == "=HYPERLINK(1)"


def test_recordings_and_calibrations_are_filed(run: Run, folder: Path, shipped: Path) -> None:
    source = shipped / "tour-guide-good.sigmf-meta"
    assert run("record", "--from", source, "--out", "recordings/copy", "--quiet").code == 0
    reference = ("--reference", "83.6M", "--accuracy", "20ppm", "--no-save")
    source = shipped / "tour-guide-mended.sigmf-meta"
    assert run("calibrate", "--from", source, *reference, "--quiet").code == 0
    with open_job(folder).notebook() as notebook:
        record, calibrate = notebook.readings()
    assert {"recordings/copy.sigmf-data", "recordings/copy.sigmf-meta"} <= {
        file.path for file in record.files
    }
    assert calibrate.command == "calibrate"
    assert run("job", "report").code == 0
    assert "reading 2:" in (folder / "report.html").read_text(encoding="utf-8")


def test_a_live_measurement_keeps_its_samples_and_is_repeated_from_them(
    run: Run, folder: Path
) -> None:
    """The bench is a live source; at this rate the LO and its crystal need two tunings."""
    live = ("--from", "bench:tour-guide-deaf", "--rate", "256k", "--seconds", 0.3, *CLOCK)
    filed = run("probe", *live, "--keep-iq", "--quiet")
    assert filed.code in (0, 1), filed.err
    (data,) = (folder / "recordings").glob("*.sigmf-data")
    with open_job(folder).notebook() as notebook:
        (reading,) = notebook.readings()
    assert f"recordings/{data.name}" in [file.path for file in reading.files]
    assert len(json.loads(data.with_suffix(".sigmf-meta").read_text())["captures"]) >= 2
    assert "1 probe: the same" in run("job", "redo").out
    data.unlink()
    again = run("job", "redo")
    assert f"its recording {data.name} is missing" in again.out
    assert again.code == 3


def test_samples_that_cannot_be_kept_cost_no_measurement(run: Run, folder: Path) -> None:
    (folder / "recordings").rmdir()
    live = ("--from", "bench:tour-guide-deaf", "--center", "83.5M", "--rate", "256k")
    answer = run("look", *live, "--seconds", 0.1, "--keep-iq")
    assert answer.code == 0
    assert "Noise" in answer.out
    assert "sniff: samples not kept: " in answer.err
    with open_job(folder).notebook() as notebook:
        assert notebook.counts() == (1, 0)


def test_keeping_samples_needs_a_job_and_a_live_source(
    run: Run, folder: Path, shipped: Path
) -> None:
    recording = shipped / "tour-guide-deaf.sigmf-meta"
    answer = run("look", "--from", recording, "--keep-iq")
    assert (answer.code, answer.out) == (2, "")
    assert "a recording already" in answer.err
    answer = run("look", "--from", recording, "--keep-iq", "--no-job")
    assert answer.code == 2
    assert "--keep-iq is for a job" in answer.err
