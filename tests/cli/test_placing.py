"""Placing the loop: by the bench itself, by a person, not in a recording; through all wrappers."""

import io
import sys
from dataclasses import replace
from typing import Any

import pytest

from calib.correction import Converter
from sniff.cli.placing import NotPlacedError, find_gain_again, is_recorded, placed
from sniff.errors import SourceError, UsageError
from sniff.model import Source, SourceInfo
from sniff.sources.ahead import Ahead, AheadSource
from sniff.sources.kept import KeptSource
from tests.test_frontend import info


class Heard:
    """A live source without a loop of its own, such as a dongle."""

    def __init__(self, duration_s: float | None = None) -> None:
        self.info: SourceInfo = replace(info(), name="dongle", duration_s=duration_s)
        self.gains_found = 0

    def find_gain(self) -> float | None:
        self.gains_found += 1
        return 20.7


class Bench(Heard):
    """One that places its own loop, and knows one place."""

    def __init__(self) -> None:
        super().__init__()
        self.placings: list[tuple[str | None, int]] = []

    def place_loop(self, place: str | None, number: int) -> None:
        if place == "nowhere":
            raise SourceError("bench: no such place")
        self.placings.append((place, number))


def wrapped(inner: Any) -> Source:
    def recorder(_: SourceInfo) -> Any:
        raise AssertionError("nothing is taken")

    keeping = KeptSource(inner, recorder, tell=lambda _: None)
    return AheadSource(keeping, Ahead(converter=Converter(shift_hz=1e6), pad_db=20.0))


def place(source: Any, number: int = 1, count: int = 3, at: str | None = "feed A") -> None:
    placed(source, what="the known-good set", place=at, number=number, count=count)


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Any:
    def type_in(text: str) -> io.StringIO:
        stream = io.StringIO(text)
        monkeypatch.setattr(sys, "stdin", stream)
        return stream

    return type_in


def test_the_bench_places_its_own_loop_through_all_that_lies_ahead() -> None:
    bench = Bench()
    place(bench, 1)
    place(wrapped(bench), 2)
    place(wrapped(bench), 3, at=None)
    assert bench.placings == [("feed A", 1), ("feed A", 2), (None, 3)]
    with pytest.raises(SourceError, match="no such place"):
        place(bench, at="nowhere")


@pytest.mark.parametrize(
    ("count", "at", "words"),
    [
        (3, "feed A", "Place the loop on the known-good set at feed A, placing 2 of 3; Enter when"),
        (3, None, "Place the loop on the known-good set, placing 2 of 3; Enter when it is there"),
        (1, "feed A", "Place the loop on the known-good set at feed A; Enter when it is there"),
    ],
)
def test_a_person_is_asked_and_one_line_is_read(
    typed: Any, capsys: pytest.CaptureFixture[str], count: int, at: str | None, words: str
) -> None:
    stream = typed("\nsecond line\n")
    place(wrapped(Heard()), 2, count, at)
    captured = capsys.readouterr()
    assert captured.err.startswith(words)
    assert captured.out == ""
    assert stream.read() == "second line\n"


@pytest.mark.parametrize("stream", ["ended", "closed", "missing"])
def test_without_an_answer_one_line_says_so(
    typed: Any, monkeypatch: pytest.MonkeyPatch, stream: str
) -> None:
    if stream == "missing":
        monkeypatch.setattr(sys, "stdin", None)
    elif stream == "closed":
        typed("").close()
    else:
        typed("")
    with pytest.raises(NotPlacedError, match="nobody answers to place the loop") as raised:
        place(Heard())
    assert raised.value.exit_code == 2
    assert "\n" not in str(raised.value)


def test_a_recording_has_its_loop_where_it_was(typed: Any) -> None:
    stream = typed("\n")
    recording = Heard(duration_s=2.0)
    place(recording, 1)
    assert stream.read() == "\n"  # nobody was asked
    with pytest.raises(UsageError, match=r"dongle: .*give one recording for each placing"):
        place(wrapped(recording), 2)
    assert is_recorded(wrapped(recording))
    assert not is_recorded(wrapped(Heard()))


@pytest.mark.parametrize(("gain", "found"), [(None, 1), ("best", 1), ("auto", 0), (20.7, 0)])
def test_the_best_gain_is_found_once_the_loop_is_there(gain: Any, found: int) -> None:
    dongle = Heard()
    find_gain_again(wrapped(dongle), gain)
    assert dongle.gains_found == found
