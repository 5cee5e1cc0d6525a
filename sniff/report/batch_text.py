"""A batch as text: who failed, who is undecided, who stands out, what was not read, and the sum."""

from collections.abc import Sequence
from typing import Final

from rich.console import Console
from rich.text import Text

from sniff.batch.fleet import Fleet
from sniff.batch.quantities import Kind
from sniff.batch.summary import Case, Summary
from sniff.report.file_names import common_folder, shown_name, within
from sniff.report.text import console, table

SUMMARY: Final = "summary.json"
"""Beside the rows, and not cut where lists are long."""
_MOST_FAILED = 20
_MOST_OUTLIERS = 12
_MOST_OTHERS = 8
_STYLES = {"undecided": "bold yellow"}


def print_batch(summary: Summary) -> None:
    """Print what a batch came to; where a list is long its first rows, which are the worst."""
    out = console()
    files = [
        *(case.file for case in (*summary.failures, *summary.open_cases, *summary.unread)),
        *(outlier.file for outlier in summary.outliers),
    ]
    folder = common_folder(files) if len(set(files)) > 1 else ""
    where = f"; those named lie in {shown_name(folder)}" if folder else ""
    asked = f"sniff {summary.question}, asked of {_counted(summary.recordings)}"
    out.print(f"{asked}{where}.", markup=False)
    out.print()
    _print_cases(out, "Failed, worst first:", summary.failures, folder, _MOST_FAILED)
    _print_cases(out, "Undecided:", summary.open_cases, folder, _MOST_OTHERS)
    _print_outliers(out, summary, folder)
    _print_cases(out, "Not read:", summary.unread, folder, _MOST_OTHERS)
    if summary.fleets:
        _print_fleets(out, summary.fleets)
        out.print()
    out.print(_sum(summary))


def sum_words(summary: Summary) -> str:
    """``Of 30 recordings 2 failed, 1 undecided, 27 as expected``: what came of all, in one line."""
    parts = [
        (summary.failed, "failed"),
        (summary.undecided, "undecided"),
        (summary.not_read, "not read"),
        (summary.as_expected, "as expected"),
        (summary.not_judged, "measured, not judged"),
    ]
    told = [f"{count} {words}" for count, words in parts if count]
    if len(told) == 1:
        return f"{'All ' if summary.recordings > 1 else ''}{told[0]}"
    return f"Of {_counted(summary.recordings)} {', '.join(told)}"


def _print_cases(out: Console, heading: str, cases: Sequence[Case], folder: str, most: int) -> None:
    if not cases:
        return
    judged = any(case.verdict is not None for case in cases)
    out.print(heading)
    rows: list[tuple[str | Text, ...]] = [
        (_file(folder, case.file), *([_verdict(case)] if judged else []), case.why)
        for case in cases[:most]
    ]
    out.print(table(["<file", *(["<verdict"] if judged else []), "<because"], rows))
    if len(cases) > most:
        out.print(f"and {len(cases) - most} more; {SUMMARY} lists all")
    out.print()


def _verdict(case: Case) -> Text:
    words = case.verdict or ""
    return Text(words, style=_STYLES.get(words, "bold red"))


def _print_outliers(out: Console, summary: Summary, folder: str) -> None:
    found = summary.outliers
    if not found:
        return
    out.print("Unlike the others, whatever their verdict, farthest out first:")
    shown = found[:_MOST_OUTLIERS]
    rows = [(_file(folder, outlier.file), outlier.sentence) for outlier in shown]
    out.print(table(["<file", "<what stands out"], rows))
    if len(found) > len(shown):
        out.print(f"and {len(found) - len(shown)} more; {SUMMARY} lists all")
    for rule in dict.fromkeys(outlier.rule for outlier in shown):
        out.print(f"By {rule}.", markup=False)
    out.print()


def _file(folder: str, file: str) -> Text:
    """A name that is folded where it must be, but never cut: its end may be all that differs."""
    return Text(shown_name(within(folder, file)), overflow="fold")


def _print_fleets(out: Console, fleets: Sequence[Fleet]) -> None:
    """As a table; where the terminal is too narrow for it in sentences, since no number may be
    cut."""
    heads = ["figure", "recordings", "median", "scatter", "lowest", "highest"]
    cells = [_cells(fleet) for fleet in fleets]
    shown = table(heads, cells)
    if out.measure(shown, options=out.options.update(max_width=10_000)).maximum <= out.width:
        out.print(shown)
        return
    for name, count, middle, scatter, low, high in cells:
        of = f"{name} of {count}: median {middle}, scatter {scatter}"
        out.print(f"{of}, lowest {low}, highest {high}", markup=False)


def _cells(fleet: Fleet) -> tuple[str, ...]:
    kind = Kind(fleet.unit)
    return (
        fleet.name,
        str(fleet.count),
        kind.worded(fleet.median),
        "–" if fleet.spread is None else f"± {kind.apart(fleet.spread)}",
        f"{'below ' if fleet.low_is_limit else ''}{kind.worded(fleet.low)}",
        kind.worded(fleet.high),
    )


def _sum(summary: Summary) -> Text:
    style = (
        "bold red"
        if summary.failed
        else "bold yellow"
        if summary.undecided or summary.not_read
        else "bold green"
        if summary.as_expected
        else "bold"
    )
    return Text(f"{sum_words(summary)}.", style=style)


def _counted(recordings: int) -> str:
    return "1 recording" if recordings == 1 else f"{recordings} recordings"
