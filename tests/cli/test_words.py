"""The commands that README and help print can be typed as they stand.

Their words are what this checks; what they come to, the tests of each command do.
"""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from sniff.cli import COMMANDS, commands

README = Path(__file__).parents[2] / "README.md"
NOT_OURS = {"--nworkers", "--nthreads"}  # of the cluster's own program


def every_command(path: str, group: click.Group) -> Iterator[tuple[str, click.Command]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield f"{path} {name}", command
        if isinstance(command, click.Group):
            yield from every_command(f"{path} {name}", command)


ALL = dict(every_command("sniff", commands))


def lines_of(text: str) -> Iterator[str]:
    """Command lines of a shell's text, without comments, files to print into, and dots."""
    for line in re.sub(r"\\\n\s*", "", text).splitlines():
        for part in re.split(r"\s+[#>]\s", line)[0].split("&&"):
            typed = part.strip().removesuffix(" ...").removeprefix(".venv/bin/")
            if typed.startswith("sniff ") and "COMMAND" not in typed:
                yield typed


def printed() -> Iterator[str]:
    for block in re.findall(r"```sh\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL):
        yield from lines_of(block)
    for command in ALL.values():
        yield from lines_of(command.help or "")


def trouble_with(line: str) -> str | None:
    words = shlex.split(line)
    path = " ".join(words[:2])
    while len(words) > 2 and f"{path} {words[2]}" in ALL:
        path = f"{path} {words.pop(2)}"
    try:
        ALL[path].make_context(path, words[2:])
    except click.ClickException as error:
        return f"{line}: {error.format_message()}"
    return None


def test_each_printed_command_is_understood(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sibling.json").touch()  # a file that must be there to be named
    lines = list(printed())
    assert {line.split()[1] for line in lines} == set(COMMANDS)
    assert [trouble for line in lines if (trouble := trouble_with(line))] == []


def test_each_option_that_the_readme_names_is_there() -> None:
    there = {word for command in ALL.values() for each in command.params for word in each.opts}
    text = README.read_text(encoding="utf-8")
    # Options of pip, apt and pytest stand in the two commands for installing and testing.
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", text.partition("## A quick tour")[2]))
    assert named - there - NOT_OURS - {"--help"} == set()
    assert len(named) > 40


def test_each_option_says_what_it_is_for() -> None:
    for path, command in ALL.items():
        for each in command.params:
            if isinstance(each, click.Option):
                assert each.help, f"{path} {each.opts[0]}"
