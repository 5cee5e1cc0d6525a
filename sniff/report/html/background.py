"""What an engineer asks of a report: clocks, budgets, cautions, what was not checked, the files."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sniff.board import LineState
from sniff.job.entries import FileKind, KeptFile, Reading
from sniff.job.folder import Job
from sniff.report.html.boards import BoardPair
from sniff.report.html.comparisons import ComparisonPair
from sniff.report.html.dropouts import WatchPair
from sniff.report.html.fields import number, rows, table, words
from sniff.report.job_words import says_of, utc_minute
from sniff.units import format_expanded, format_frequency, format_parts, format_ppm

MOST_ROWS = 400
"""Of each list: a longer one would make the file too large, and `job export` gives it whole."""

_ALWAYS = (
    "sensitivity, selectivity, audio, battery life, mechanics and electrical safety: this tool "
    "does not measure them",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """A clock correction that readings were made with."""

    error: str
    expanded: str
    origin: str
    readings: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One line of an uncertainty budget."""

    source: str
    u: str
    distribution: str
    part: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Of what a reading's U is made."""

    name: str
    reading: int
    expanded: str
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A caution, and the readings it holds for."""

    text: str
    readings: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A reading in the list of all."""

    number: int
    at: str
    command: str
    stage: str
    place: str
    verdict: str
    words: str
    command_line: str
    software: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FileRow:
    """A file with its hash; of one outside the job only the name is told, not where it lies."""

    kind: str
    name: str
    bytes: int
    sha256: str


def clocks_of(readings: Sequence[Reading]) -> tuple[Clock, ...]:
    """Each clock correction once."""
    found: dict[tuple[float, float, str], list[int]] = {}
    for reading in readings:
        clock = table(reading.data, "clock")
        ppm, u_ppm = number(clock, "ppm"), number(clock, "u_ppm")
        if ppm is not None and u_ppm is not None:
            found.setdefault((ppm, u_ppm, words(clock, "origin")), []).append(reading.number)
    return tuple(
        Clock(
            error=format_ppm(ppm, 2.0 * u_ppm),
            expanded=f"± {format_parts(2.0 * u_ppm)}",
            origin=origin,
            readings=numbers(of),
        )
        for (ppm, u_ppm, origin), of in found.items()
    )


def budgets_of(readings: Sequence[Reading]) -> tuple[Budget, ...]:
    """The budgets that some readings tell."""
    return tuple(
        Budget(
            name=words(budget, "name"),
            reading=reading.number,
            expanded=f"± {format_expanded(number(budget, 'expanded_hz') or 0.0)}",
            terms=tuple(
                Term(
                    source=words(term, "source"),
                    u=f"{number(term, 'u') or 0.0:.3g}",
                    distribution=words(term, "distribution"),
                    part=format_expanded(number(term, "part_hz") or 0.0),
                )
                for term in rows(budget, "terms")
            ),
        )
        for reading in readings
        for budget in rows(reading.data, "budgets")[:3]
    )


def cautions_of(readings: Sequence[Reading]) -> tuple[Said, ...]:
    """Each caution once, with the readings it holds for."""
    found: dict[str, list[int]] = {}
    for reading in readings:
        for caution in rows(reading.data, "cautions"):
            text = words(caution, "text")
            if text:
                found.setdefault(text, []).append(reading.number)
    return tuple(Said(text=text, readings=numbers(of)) for text, of in found.items())


def not_checked(
    job: Job,
    boards: Sequence[BoardPair],
    watches: Sequence[WatchPair],
    comparisons: Sequence[ComparisonPair],
    readings: Sequence[Reading],
) -> tuple[str, ...]:
    """What nobody looked at, so that nobody takes it for good."""
    said = []
    after = [board for board in boards if board.after is not None]
    if not boards:
        said.append("the lines of the set against its plan: no board was probed")
    elif not after:
        said.append("how the lines are after the repair")
    elif not any(board.before is not None for board in boards):
        said.append("how the lines were before the repair")
    for state in (LineState.HIDDEN.value, LineState.OUT_OF_VIEW.value):
        names = [
            f"{line.name} at {line.expected}"
            for board in after
            for line in (*board.lines, *board.out_of_view)
            if line.after is not None and line.after.state == state
        ]
        if names:
            said.append(f"{', '.join(names)}: {state.replace('-', ' ')}")
    measured = {board.place for board in after}
    places = () if job.sheet.plan is None else job.sheet.plan.places
    missed = [place.name for place in places if place.name not in measured]
    if after and missed:
        said.append(f"how it is after the repair at {', '.join(missed)}")
    compared = any(pair.after is not None for pair in comparisons)
    by_sibling = any(line.after and line.after.sibling for b in after for line in b.lines)
    if after and not by_sibling and not compared:
        said.append("levels against a working sibling")
    if comparisons and not compared:
        said.append("how it compares with the good set after the repair")
    if not any(watch.after is not None for watch in watches):
        said.append("whether a line drops out after the repair: none was watched")
    plan = job.sheet.plan
    if (
        plan is not None
        and plan.if_hz is None
        and not any(r.command == "carrier" for r in readings)
    ):
        said.append("the transmitter's modulation and bandwidth")
    if not any(r.result.get("taps") for r in readings):
        said.append("whether the fault answers to a touch: no tap test was made")
    return (*said, *job.sheet.not_checked, *_ALWAYS)


def rows_of(readings: Sequence[Reading]) -> tuple[Row, ...]:
    """All readings in a list, the latest `MOST_ROWS` of them."""
    return tuple(
        Row(
            number=reading.number,
            at=utc_minute(reading.filed_utc),
            command=reading.command,
            stage=reading.stage.value if reading.stage else "",
            place=reading.place or "",
            verdict=reading.verdict or "",
            words=says_of(reading.result),
            # The name of a home folder is often that of its owner.
            command_line=reading.command_line.replace(str(Path.home()), "~")[:300],
            software=reading.software,
        )
        for reading in readings[-MOST_ROWS:]
    )


def files_of(files: Sequence[KeptFile]) -> tuple[FileRow, ...]:
    """Recordings first, then photos, then pictures; the latest `MOST_ROWS`."""
    order = (FileKind.RECORDING, FileKind.PHOTO, FileKind.PICTURE)
    ordered = sorted(files[-MOST_ROWS:], key=lambda file: order.index(file.kind))
    return tuple(
        FileRow(
            kind=file.kind.value,
            name=f"{file.name} (outside the job's folder)" if file.outside else file.path,
            bytes=file.bytes,
            sha256=file.sha256,
        )
        for file in ordered
    )


def numbers(of: Sequence[int]) -> str:
    """Reading numbers as people write them: 1, 3 to 5."""
    runs: list[list[int]] = []
    for number_ in of:
        if runs and number_ == runs[-1][1] + 1:
            runs[-1][1] = number_
        else:
            runs.append([number_, number_])
    shown = [str(low) if low == high else f"{low} to {high}" for low, high in runs[:12]]
    return ", ".join(shown) + (" and more" if len(runs) > 12 else "")


def calibrations_of(readings: Sequence[Reading]) -> tuple[str, ...]:
    """Each calibration of the job in a sentence with its date."""
    said = []
    for reading in readings:
        ppm, u_ppm = number(reading.result, "ppm"), number(reading.result, "u_ppm")
        if reading.command != "calibrate" or ppm is None or u_ppm is None:
            continue
        names = ", ".join(
            filter(None, (words(each, "name") for each in rows(reading.result, "references")))
        )
        by = names or format_frequency(number(reading.result, "at_hz") or 0.0)
        said.append(
            f"{utc_minute(reading.filed_utc)} UTC, reading {reading.number}: "
            f"{format_ppm(ppm, 2.0 * u_ppm)} ± {format_parts(2.0 * u_ppm)} (k = 2), by {by}"
        )
    return tuple(said)
