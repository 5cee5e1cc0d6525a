"""A worker's work, done in this process: the answer of the very command, and its key."""

import json
import os
import pickle
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from calib.profile import Profile
from sniff import __version__
from sniff.batch.nouns import Answer, Task
from sniff.cli.batch_asking import Asking, Keying, Order
from sniff.cli.batching import kept_of_dongles
from sniff.cli.clocks import clock_store
from sniff.look import Look
from sniff.pipeline import look
from sniff.survey import LookSettings
from tests.cli.conftest import Run
from tests.cli.fleet import write_set

CLOCK = {"ppm": ("--ppm=0",), "u-ppm": ("--u-ppm=0.1",)}
NOMINAL = {"nominal": ("--nominal=72.9M",), "tolerance": ("--tolerance=5ppm",)}
BEGUN = datetime(2026, 3, 1, tzinfo=timezone.utc)

Ask = Callable[..., Answer]


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    return write_set(tmp_path, "set", error_ppm=2.0)


def order(**changed: Any) -> Order:
    fields: dict[str, Any] = {
        "question": "carrier",
        "options": {**NOMINAL, **CLOCK},
        "folder": str(Path.cwd()),
        "begun_utc": BEGUN,
        "software": __version__,
        "kept": {},
    }
    return Order(**{**fields, **changed})


def task(source: object, **options: str) -> Task:
    return Task(number=3, source=str(source), options=options)


def key(asked: Order, given: Task) -> str:
    return Keying(order=asked)(given)[1]


def test_the_answer_is_what_the_command_itself_prints(run: Run, recording: Path) -> None:
    answer = Asking(order=order())(task(recording))
    words = [word for words in (NOMINAL | CLOCK).values() for word in words]
    alone = run("carrier", "--from", recording, *words, "--json")
    assert answer.told == json.loads(alone.out)
    assert (answer.exit_code, answer.error) == (alone.code, None) == (0, None)
    assert answer.told["result"]["error_ppm"] == pytest.approx(2.0, abs=0.2)
    assert (answer.number, answer.source) == (3, str(recording))
    assert 0 < answer.seconds < 60


@pytest.mark.parametrize(
    ("question", "options"),
    [
        ("look", {}),
        ("probe", {"carrier": ("--carrier=72.9M",), "tolerance": ("--tolerance=5ppm",)}),
        ("watch", {"line": ("--line=72.9M",)}),
    ],
)
def test_every_question_is_asked(
    recording: Path, question: str, options: dict[str, tuple[str, ...]]
) -> None:
    answer = Asking(order=order(question=question, options={**options, **CLOCK}))(task(recording))
    assert answer.told is not None
    assert answer.told["command"] == question
    assert (answer.exit_code, answer.error) == (0, None)


def test_each_is_compared_with_the_known_good(recording: Path, tmp_path: Path) -> None:
    good = write_set(tmp_path / "good", "good", error_ppm=0.0, seed=2)
    options = {
        "good": (f"--good={good}",),
        "good-carrier": ("--good-carrier=72.9M",),
        "suspect-carrier": ("--suspect-carrier=72.9M",),
        "tolerance": ("--tolerance=5ppm",),
    }
    asked = order(question="compare", options={**options, **CLOCK})
    answer = Asking(order=asked)(task(recording))
    assert answer.told is not None
    assert answer.told["command"] == "compare"
    assert (answer.exit_code, answer.told["result"]["verdict"]) == (0, "alike")


def test_a_files_own_options_go_before_the_common_ones(recording: Path) -> None:
    own = Asking(order=order())(task(recording, tolerance="1ppm"))
    assert own.told is not None
    assert own.told["result"]["tolerance_hz"] == pytest.approx(72.9)
    assert own.exit_code == 1
    assert own.options == {"tolerance": "1ppm"}


def test_work_can_be_sent_and_gives_the_same(recording: Path) -> None:
    here = Asking(order=order())
    there = pickle.loads(pickle.dumps(here))
    first, second = here(task(recording)), there(task(recording))
    assert replace(first, seconds=0.0) == replace(second, seconds=0.0)


def test_paths_count_from_the_folder_of_the_order_and_the_workers_own_is_left(
    recording: Path,
) -> None:
    before = Path.cwd()
    answer = Asking(order=order(folder=str(recording.parent)))(task(recording.name))
    assert answer.told is not None
    assert answer.told["source"]["name"] == recording.name
    assert Path.cwd() == before


@pytest.mark.parametrize(
    ("source", "options", "code", "words"),
    [
        ("missing.wav", {}, 4, "there is no such file"),
        ("notes.txt", {}, 2, "extension says no format"),
        ("raw.cu8", {}, 2, "give --rate and --center"),
        ("set.sigmf-meta", {"nominal": "often"}, 2, "often"),
        ("set.sigmf-meta", {"nominl": "72.9M"}, 4, "'nominl' is no option"),
        ("set.sigmf-meta", {"inverted": "perhaps"}, 4, "yes or no, not 'perhaps'"),
        ("dongle", {}, 2, "a batch asks recordings"),
        ("dongle:00000001", {}, 2, "a batch asks recordings"),
        ("nul\0.wav", {}, 4, "not the name of a file"),
    ],
)
def test_a_recording_in_trouble_is_an_answer_in_one_line(
    recording: Path, source: str, options: dict[str, str], code: int, words: str
) -> None:
    (recording.parent / "notes.txt").write_text("of the season")
    (recording.parent / "raw.cu8").write_bytes(bytes(1000))
    answer = Asking(order=order(folder=str(recording.parent)))(task(source, **options))
    assert (answer.exit_code, answer.told) == (code, None)
    assert answer.error is not None
    assert words in answer.error
    assert not answer.error.startswith(source)
    assert "\n" not in answer.error
    assert len(answer.key) == 64


def test_a_fault_of_ours_is_an_answer_too(recording: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(*_: object, **__: object) -> None:
        raise ZeroDivisionError("float division by zero")

    monkeypatch.setattr("sniff.cli.transmitting.check_transmitter", faulty)
    answer = Asking(order=order())(task(recording))
    assert (answer.exit_code, answer.told) == (4, None)
    assert answer.error == "sniff itself failed: ZeroDivisionError: float division by zero"


def test_what_changes_while_it_is_read_has_no_answer(
    recording: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half of what was read may be of the one and half of the other."""

    def overtaken(take: object, info: object, *rest: object) -> Look:
        found = look(take, info, *rest)  # type: ignore[arg-type]
        data = recording.with_suffix(".sigmf-data")
        data.write_bytes(data.read_bytes() + bytes(2))
        return found

    asked = Asking(order=order(question="look", options={}))
    assert asked(task(recording)).error is None
    monkeypatch.setattr("sniff.pipeline.look", overtaken)
    answer = asked(task(recording))
    assert (answer.exit_code, answer.told) == (4, None)
    assert answer.error is not None
    assert "changed while it was read; --resume asks again" in answer.error


def test_a_worker_computes_in_one_thread(recording: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two workers of two threads each would share two cores."""
    threads = []

    def noted(take: object, info: object, settings: LookSettings, *rest: object) -> Look:
        threads.append(settings.spectrum.threads)
        return look(take, info, settings, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr("sniff.pipeline.look", noted)
    assert Asking(order=order(question="look", options={}))(task(recording)).error is None
    assert threads == [1]


def test_another_version_does_not_answer(recording: Path) -> None:
    answer = Asking(order=order(software="0.0.1"))(task(recording))
    assert answer.error is not None
    assert __version__ in answer.error
    assert "0.0.1" in answer.error


def test_a_folder_that_the_worker_does_not_see_is_an_answer(tmp_path: Path) -> None:
    answer = Asking(order=order(folder=str(tmp_path / "share")))(task("set.sigmf-meta"))
    assert answer.exit_code == 4
    assert answer.error is not None
    assert "share" in answer.error


def test_nothing_is_printed_and_no_job_is_worked_for(
    run: Run, recording: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = recording.parent / "deaf-12"
    assert run("job", "start", folder, "--set", "Receiver 12", "--fault", "deaf").code == 0
    before = run("job", "show", folder).out
    asked = order(question="look", options={}, folder=str(folder))
    assert Asking(order=asked)(task(recording)).exit_code == 0
    assert capsys.readouterr() == ("", "")
    assert run("job", "show", folder).out == before


class TestKey:
    """What an answer depends on is in its key, and nothing else."""

    def test_the_same_again(self, recording: Path) -> None:
        asked = Asking(order=order())(task(recording))
        later = order(begun_utc=BEGUN + timedelta(days=1))
        assert key(later, Task(number=9, source=str(recording), options={})) == asked.key

    def test_content(self, recording: Path) -> None:
        before = key(order(), task(recording))
        data = recording.with_suffix(".sigmf-data")
        data.write_bytes(data.read_bytes()[:-2])
        assert key(order(), task(recording)) != before

    def test_content_of_the_same_length(self, recording: Path) -> None:
        before = key(order(), task(recording))
        data = recording.with_suffix(".sigmf-data")
        data.write_bytes(data.read_bytes()[::-1])
        os.utime(data, ns=(1, 1))
        assert key(order(), task(recording)) != before

    def test_metadata(self, recording: Path) -> None:
        before = key(order(), task(recording))
        recording.write_text(recording.read_text().replace("72880000.0", "72880001.0"))
        assert key(order(), task(recording)) != before

    def test_common_and_own_options(self, recording: Path) -> None:
        keys = {
            key(order(), task(recording)),
            key(order(options=CLOCK), task(recording)),
            key(order(), task(recording, tolerance="1ppm")),
            key(order(), task(recording, tolerance="2ppm")),
            key(order(question="look"), task(recording)),
            key(order(software="0.0.1"), task(recording)),
            key(order(kept={"clocks/a.json": "{}"}), task(recording)),
        }
        assert len(keys) == 7

    def test_what_a_common_option_names(self, recording: Path, tmp_path: Path) -> None:
        good = write_set(tmp_path / "good", "good", error_ppm=0.0)
        asked = order(question="probe", options={"sibling": (f"--sibling={good}",)})
        before = key(asked, task(recording))
        write_set(tmp_path / "good", "good", error_ppm=1.0, seed=2)
        assert key(asked, task(recording)) != before

    def test_what_a_place_is_given(self, recording: Path, tmp_path: Path) -> None:
        good = write_set(tmp_path / "good", "good", error_ppm=0.0)
        common = order(question="compare", options={"good": (f"--good=mixer={good}",)})
        own = order(question="compare"), task(recording, good=f"mixer={good}")
        before = key(common, task(recording)), key(*own)
        write_set(tmp_path / "good", "good", error_ppm=1.0, seed=2)
        assert key(common, task(recording)) != before[0]
        assert key(*own) != before[1]

    def test_what_an_own_option_names(self, recording: Path, tmp_path: Path) -> None:
        plan = tmp_path / "plan.toml"
        plan.write_text('carrier = "72.9M"\n')
        before = key(order(question="probe"), task(recording, plan=str(plan)))
        plan.write_text('carrier = "72.8M"\n')
        assert key(order(question="probe"), task(recording, plan=str(plan))) != before


def profile(made: datetime, ppm: float = 12.0) -> Profile:
    return Profile(name="mine", ppm=ppm, u_ppm=0.2, made=made, references=("lab:100M",))


def test_the_users_clocks_go_with_the_order_and_have_the_age_of_its_beginning(
    recording: Path,
) -> None:
    """Age is rectangular, 1 ppm a year, and warmth 2 ppm (calib/profile.py tells their sources)."""
    clock_store().save(profile(BEGUN - timedelta(days=365.25)))
    kept = kept_of_dongles()
    clock_store().save(profile(BEGUN, ppm=99.0))  # calibrated anew since: not that order's
    options = {**NOMINAL, "clock": ("--clock=mine",)}
    told = Asking(order=order(options=options, kept=kept))(task(recording)).told
    assert told is not None
    assert told["clock"]["ppm"] == 12.0
    assert told["clock"]["u_ppm"] == pytest.approx((0.2**2 + 1 / 3 + 4 / 3) ** 0.5)
