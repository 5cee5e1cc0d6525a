"""What the report shows: built from a job and its notebook, laid out by the templates."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sniff import __version__
from sniff.job.entries import KeptFile, Note, NoteKind, Reading
from sniff.job.folder import Job
from sniff.report.html.background import (
    Budget,
    Clock,
    FileRow,
    Row,
    Said,
    budgets_of,
    calibrations_of,
    cautions_of,
    clocks_of,
    files_of,
    not_checked,
    rows_of,
)
from sniff.report.html.boards import BoardPair, board_pairs, tone_of
from sniff.report.html.comparisons import ComparisonPair, comparison_pairs
from sniff.report.html.dropouts import WatchPair, watch_pairs
from sniff.report.html.evidence import Picture, photos_of, pictures_of
from sniff.report.html.fields import Fields, rows, table, words
from sniff.report.html.figures import FigurePair, figure_pairs
from sniff.report.html.finding import finding_of, left_open
from sniff.report.html.pairing import sides_of
from sniff.report.job_words import plan_words, utc_minute
from sniff.superhet.at_place import lines_at
from sniff.superhet.expected import expected_lines
from sniff.superhet.plan import Plan

_OWN_LAYOUT = frozenset({"probe", "compare", "watch", "record", "look", "calibrate"})
_STAMPS = {
    "fine": "As expected after the repair",
    "faulty": "The fault is still there",
    "open": "Not decided yet",
    "": "Not measured after a repair yet",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRow:
    """A note with its time."""

    at: str
    kind: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TapTest:
    """A tap test: its conclusion and its spots."""

    reading: int
    stage: str
    says: str
    spots: tuple[Fields, ...]


@dataclass(frozen=True, kw_only=True)
class View:
    """All that the report shows, in words; the templates only lay it out."""

    set_name: str
    fault: str
    started: str
    made: str
    software: str
    plan: str
    stamp: str
    stamp_tone: str
    finding: tuple[str, str]
    own_words: str
    repairs: tuple[NoteRow, ...]
    boards: tuple[BoardPair, ...]
    watches: tuple[WatchPair, ...]
    comparisons: tuple[ComparisonPair, ...]
    others: tuple[FigurePair, ...]
    taps: tuple[TapTest, ...]
    pictures: tuple[Picture, ...]
    photos: tuple[Picture, ...]
    clocks: tuple[Clock, ...]
    calibrations: tuple[str, ...]
    budgets: tuple[Budget, ...]
    cautions: tuple[Said, ...]
    not_checked: tuple[str, ...]
    notes: tuple[NoteRow, ...]
    rows: tuple[Row, ...]
    readings: int
    overtaken: int
    unstaged: int
    files: tuple[FileRow, ...]
    file_count: int


def view_of(
    job: Job,
    readings: Sequence[Reading],
    notes: Sequence[Note],
    files: Sequence[KeptFile],
    *,
    now: datetime,
) -> View:
    """Build the report's content.

    Parameters
    ----------
    job : Job
    readings, notes, files
        All that is in its notebook, the oldest first.
    now : datetime
        Aware UTC.
    """
    sheet = job.sheet
    sides = sides_of(readings)
    boards = board_pairs(sides, _own_hz(sheet.plan))
    watches = watch_pairs(sides)
    comparisons = comparison_pairs(sides)
    known = {reading.command for reading in readings}
    others = [pair for c in sorted(known - _OWN_LAYOUT) for pair in figure_pairs(sides, c)]
    carriers = [pair for pair in others if pair.command == "carrier"]
    tone = _stamp_tone(boards, watches, comparisons, carriers)
    shown = _shown_readings(boards, watches, comparisons, others)
    return View(
        set_name=sheet.set_name,
        fault=sheet.fault,
        started=utc_minute(sheet.started),
        made=utc_minute(now),
        software=f"sniff {__version__}",
        plan=plan_words(sheet.plan),
        stamp=_STAMPS[tone],
        stamp_tone=tone or "open",
        finding=finding_of(boards, watches, comparisons, carriers),
        own_words=sheet.finding,
        repairs=tuple(_note(note) for note in notes if note.kind is NoteKind.REPAIR),
        boards=boards,
        watches=watches,
        comparisons=comparisons,
        others=tuple(others),
        taps=tuple(_taps(r) for r in readings if table(r.result, "taps")),
        pictures=tuple(p for side, of in shown for p in pictures_of(side, of)),
        photos=photos_of(notes),
        clocks=clocks_of(readings),
        calibrations=calibrations_of(readings),
        budgets=budgets_of([reading for _, of in shown for reading in of][-4:]),
        cautions=cautions_of(readings),
        not_checked=not_checked(job, boards, watches, comparisons, readings),
        notes=tuple(_note(note) for note in notes),
        rows=rows_of(readings),
        readings=len(readings),
        overtaken=sides.overtaken,
        unstaged=sum(reading.stage is None for reading in readings),
        files=files_of(files),
        file_count=len(files),
    )


def _own_hz(plan: Plan | None) -> tuple[float, ...]:
    """Where the first line of a board of the job's own set is expected, Hz: of the whole board,
    then of each place."""
    if plan is None:
        return ()
    firsts = [line for line in expected_lines(plan) if line.wanted and line.radiated][:1]
    firsts += [lines_at(plan, place)[0].expected for place in plan.places]
    return tuple(round(line.expected_hz) for line in firsts)


def _stamp_tone(
    boards: Sequence[BoardPair],
    watches: Sequence[WatchPair],
    comparisons: Sequence[ComparisonPair],
    carriers: Sequence[FigurePair],
) -> str:
    """The worst of all that was measured after the repair; empty when nothing was."""
    tones = [tone_of(board.after.verdict or "") for board in boards if board.after is not None]
    for watch in watches:
        if watch.after is not None:
            last = watch.after.readings[-1]
            tones.append(tone_of(last.verdict or ""))
    tones += [tone_of(pair.after.verdict or "") for pair in comparisons if pair.after is not None]
    tones += [pair.after_tone for pair in carriers if pair.after is not None]
    if tones and any(left_open(board) for board in boards):
        tones.append("open")
    return next((tone for tone in ("faulty", "open", "fine") if tone in tones), "")


def _shown_readings(
    boards: Sequence[BoardPair],
    watches: Sequence[WatchPair],
    comparisons: Sequence[ComparisonPair],
    others: Sequence[FigurePair],
) -> list[tuple[str, list[Reading]]]:
    """The readings that the report lays out: before and after in turn, of the main board first."""
    shown: list[tuple[str, list[Reading]]] = []
    pairs: list[BoardPair | ComparisonPair | FigurePair] = [*boards, *comparisons, *others]
    for pair in pairs:
        shown.append(("before", [] if pair.before is None else [pair.before]))
        shown.append(("after", [] if pair.after is None else [pair.after]))
    for watch in watches:
        shown.append(("before", list(watch.before.readings[-1:]) if watch.before else []))
        shown.append(("after", list(watch.after.readings[-1:]) if watch.after else []))
    return shown


def _note(note: Note) -> NoteRow:
    return NoteRow(at=utc_minute(note.at_utc), kind=note.kind.value, text=note.text)


def _taps(reading: Reading) -> TapTest:
    taps = table(reading.result, "taps")
    return TapTest(
        reading=reading.number,
        stage=reading.stage.value if reading.stage else "",
        says=words(taps, "says"),
        spots=tuple(rows(taps, "spots")),
    )
