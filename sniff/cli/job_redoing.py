"""The work of ``sniff job redo``: every reading again, from its recording, by today's program."""

import json
import os
import re
import shlex
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import click

from sniff import __version__
from sniff.cli.filing import Work, job_here
from sniff.errors import BenchError
from sniff.job.checking import FileState, place_of, state_of
from sniff.job.differences import Difference, differences
from sniff.job.entries import FileKind, KeptFile, Reading
from sniff.job.folder import Job
from sniff.job.sheet import parse_sheet
from sniff.report.envelope import envelope
from sniff.report.job_text import print_redone

_LIVE_ONLY = ("gain", "bandwidth", "direct", "pad", "converter", "u_converter")
_KEPT = re.compile(r"recordings/\d{8}T\d{6}Z-[a-z]+-[0-9a-f]{4}\.sigmf-meta")
_WRITES = ("plot", "course", "csv", "record", "save", "audio")


class _NotRedoneError(BenchError):
    """A reading that cannot be repeated, and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Redone:
    """One reading repeated; `why_not` tells why it was not."""

    reading: int
    command: str
    software: str
    differences: tuple[Difference, ...]
    why_not: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RedoResult:
    """What came of it, field by field what ``--json`` prints."""

    software: str
    same: int
    different: int
    not_redone: int
    readings: tuple[Redone, ...]


def redo(folder: Path | None, given: Mapping[str, Any]) -> int:
    """Repeat readings; returns the exit code: 1 when one differs, 3 when none could be repeated."""
    job = job_here(folder)
    with job.notebook() as notebook:
        readings = [notebook.reading(given["reading"])] if given["reading"] else notebook.readings()
    done = tuple(_redone(job, reading) for reading in readings)
    result = RedoResult(
        software=__version__,
        same=sum(not each.differences and each.why_not is None for each in done),
        different=sum(bool(each.differences) for each in done),
        not_redone=sum(each.why_not is not None for each in done),
        readings=done,
    )
    if given["as_json"]:
        click.echo(envelope("job redo", result))
    else:
        print_redone(result.readings)
    if result.different:
        return 1
    return 3 if result.not_redone and not result.same else 0


def _redone(job: Job, reading: Reading) -> Redone:
    found: list[Difference] = []
    why_not = None
    try:
        found = differences(reading.result, _run_again(job, reading))
    except BenchError as error:
        why_not = str(error)
    return Redone(
        reading=reading.number,
        command=reading.command,
        software=reading.software,
        differences=tuple(found),
        why_not=why_not,
    )


def _run_again(job: Job, reading: Reading) -> Any:
    """The result of the same command line on the same recording."""
    from sniff.cli import commands

    words = shlex.split(reading.command_line)[1:]
    command = commands.get_command(click.Context(commands), words[0]) if words else None
    if command is None or words[0] != reading.command:
        raise _NotRedoneError(f"'{reading.command_line}' is no measuring command")
    source = _source_of(job, reading)
    out, err = StringIO(), StringIO()
    with _in_folder(reading, job), redirect_stdout(out), redirect_stderr(err):
        try:
            context = command.make_context(words[0], words[1:])
            _refuse(context.params)
            context.params.update(_changed(context.params, job, reading, source))
            command.invoke(context)
        except click.exceptions.Exit:
            pass
        except click.ClickException as error:
            raise _NotRedoneError(
                f"today's program does not take its words: {error.format_message()}"
            ) from None
    try:
        return json.loads(out.getvalue())["result"]
    except (ValueError, KeyError):
        raise _NotRedoneError(f"it told no result: {err.getvalue().strip()}") from None


def _refuse(params: Mapping[str, Any]) -> None:
    if params.get("prove"):
        raise _NotRedoneError("--prove retunes and steps the gain, which no recording can")
    if params.get("soak"):
        raise _NotRedoneError("a soak is told of again from its own folder, not measured again")


def _changed(params: Mapping[str, Any], job: Job, reading: Reading, source: str) -> dict[str, Any]:
    """Options that are not as they were typed: the source, the clock, and no files to write."""
    live = reading.data["source"].get("kind") != "recording" and not source.startswith("bench:")
    changed: dict[str, Any] = {
        "source": source,
        "job": Work(sheet=parse_sheet(reading.sheet, name="the sheet then"), folder=job.folder),
        "stage": None,
        "keep_iq": False,
        "as_json": True,
        "quiet": True,
        **dict.fromkeys((word for word in _WRITES if word in params), None),
    }
    if live:  # a recording of it has its own, and holds what was taken and no more
        changed.update(seconds=None, start=0.0)
        changed.update({word: None for word in (*_LIVE_ONLY, "center", "rate") if word in params})
        changed.update({word: False for word in ("bias", "wait", "inverted") if word in params})
    clock = reading.data.get("clock")
    if "u_ppm" in params and isinstance(clock, dict):
        # The clock is that of the reading: a profile's doubt has grown since, the recording not.
        changed.update(_as_stated(clock))
        good = reading.data.get("good_clock")
        if isinstance(good, dict):  # a comparison has two sets, and each had its own
            changed["good_clock"] = _as_stated(good)
    if "no_save" in params:
        changed["no_save"] = True
    return changed


def _as_stated(clock: Mapping[str, Any]) -> dict[str, Any]:
    """The options that state a clock as a result tells it."""
    told = {"ppm": clock["ppm"], "u_ppm": clock["u_ppm"], "clock_origin": clock.get("origin")}
    return {**told, "clock": None}


def _source_of(job: Job, reading: Reading) -> str:
    source = reading.data.get("source")
    if reading.command == "record":
        raise _NotRedoneError("it is a recording itself")
    if not isinstance(source, dict):
        raise _NotRedoneError("it tells of what was filed before, and has no recording of its own")
    files = reading.kept(FileKind.RECORDING)
    name = Path(str(source.get("name"))).name
    # Kept with --keep-iq it bears a name of the job's own; else it is the source that is named.
    kept = [file for file in files if _KEPT.fullmatch(file.path)]
    kept += [file for file in files if file.name == name]
    if not kept and source.get("kind") == "bench":
        return str(source["name"])
    if not kept:
        raise _NotRedoneError("it was measured live, without a recording to repeat it from")
    for file in _halves_of(kept[0], reading):
        state = state_of(job, file)
        if state is not FileState.SAME:
            raise _NotRedoneError(f"its recording {file.name} is {state.value}")
    return str(place_of(job, kept[0]))


def _halves_of(file: KeptFile, reading: Reading) -> list[KeptFile]:
    stem = Path(file.path).with_suffix("")
    return [
        each for each in reading.kept(FileKind.RECORDING) if Path(each.path).with_suffix("") == stem
    ]


@contextmanager
def _in_folder(reading: Reading, job: Job) -> Iterator[None]:
    """Where the command was typed, if that is there still: its words may name files from there."""
    before = Path.cwd()
    try:
        os.chdir(reading.folder)
    except OSError:
        os.chdir(job.folder)
    try:
        yield
    finally:
        os.chdir(before)
