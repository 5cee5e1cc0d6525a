"""The command line as a user meets it: words in, exit code and two texts out."""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from sniff.cli import main
from sniff.sources.shipped import shipped_recordings


@dataclass(frozen=True)
class Answer:
    code: int
    out: str
    err: str


Run = Callable[..., Answer]


@pytest.fixture(autouse=True)
def own_folders(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """No clock or default of whoever runs the tests gets into them."""
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, str(tmp_path_factory.mktemp("own")))


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run ``sniff WORDS`` in this process."""

    def call(*words: object) -> Answer:
        monkeypatch.setattr(sys, "argv", ["sniff", *map(str, words)])
        with pytest.raises(SystemExit) as stop:
            main()
        captured = capsys.readouterr()
        return Answer(int(stop.value.code or 0), captured.out, captured.err)

    return call


@pytest.fixture(scope="session")
def shipped() -> Path:
    return shipped_recordings()
