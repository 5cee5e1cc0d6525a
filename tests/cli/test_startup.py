"""The door is light: help needs none of the numerics."""

import subprocess
import sys

from sniff.cli import COMMANDS

HEAVY = ("numpy", "scipy", "matplotlib", "pydantic", "rich", "sigmf", "soundfile", "rtlsdr")
HEAVY += ("starlette", "uvicorn", "websockets", "segno", "jinja2", "PIL", "sqlite3")


def loaded_by(*words: str) -> set[str]:
    code = (
        "import sys; sys.argv = ['sniff', *sys.argv[1:]]\n"
        "from sniff.cli import main\n"
        "try: main()\n"
        "except SystemExit: print('|'.join(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True
    )
    return {name.split(".")[0] for name in done.stderr.strip().split("|")}


def test_help_loads_nothing_heavy() -> None:
    assert not loaded_by("--help").intersection(HEAVY)


def test_help_of_a_command_loads_nothing_heavy() -> None:
    for command in COMMANDS:
        assert not loaded_by(command, "--help").intersection(HEAVY), command


def test_a_look_without_a_picture_does_not_load_the_drawing(tmp_path: object) -> None:
    from sniff.sources.shipped import shipped_recordings

    recording = shipped_recordings() / "tour-guide-deaf.sigmf-meta"
    assert "matplotlib" not in loaded_by("look", "--from", str(recording), "--seconds", "0.5")
