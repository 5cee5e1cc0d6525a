"""The live strip of a watch: level, frequency, state, count, and the last minute as a row of cells.

On a terminal it stays in its place; into a pipe each drop-out is one line.
"""

from collections import deque
from collections.abc import Iterable, Sequence
from types import TracebackType

from rich.console import Console, Group
from rich.live import Live
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn
from rich.text import Text

from calib.correction import Correction
from sniff.report.text import console
from sniff.report.watch_text import kind_words
from sniff.units import format_dbfs, format_frequency, format_moment, format_seconds
from sniff.watch.nouns import Dropout, Instant, Mark, Row

CELLS = 60
"""Seconds that the row of cells shows."""

_PER_SECOND = 8


class LiveStrip:
    """Shows a live watch on standard error.

    Parameters
    ----------
    correction : Correction
        For the frequency shown.
    """

    def __init__(self, correction: Correction) -> None:
        self._correction = correction
        self._out = console(stderr=True)
        self._rows: deque[Row] = deque(maxlen=CELLS)
        self._live = Live(
            console=self._out, refresh_per_second=_PER_SECOND, transient=True, auto_refresh=False
        )

    def __enter__(self) -> "LiveStrip":
        if self._out.is_terminal:
            self._live.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._live.stop()

    def update(
        self,
        now: Instant,
        rows: Iterable[Row],
        dropouts: Iterable[Dropout],
        *,
        marks: Sequence[Mark] = (),
        words: str = "",
    ) -> None:
        """Show what is new."""
        self._rows.extend(rows)
        for dropout in dropouts:
            self._out.print(_dropout(dropout))
        if self._out.is_terminal:
            self._live.update(self._strip(now, marks, words), refresh=True)

    def _strip(self, now: Instant, marks: Sequence[Mark], words: str) -> Group:
        return Group(
            strip_head(now, self._correction),
            Text.assemble("last minute  ", *(cell(row) for row in self._rows)),
            Text(" " * 13 + mark_row(self._rows, marks), style="cyan"),
            Text(words, style="dim"),
        )


class PlainRun:
    """Shows a recording's watch: a bar on a terminal, nothing else."""

    def __init__(self, seconds: float | None) -> None:
        out: Console = console(stderr=True)
        columns = (
            TextColumn("watching"),
            BarColumn(),
            TextColumn("{task.fields[found]}"),
            TimeRemainingColumn(),
        )
        self._bar = Progress(*columns, console=out, transient=True, disable=not out.is_terminal)
        self._task: TaskID = self._bar.add_task("", total=seconds, found="")

    def __enter__(self) -> "PlainRun":
        self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.stop()

    def update(
        self,
        now: Instant,
        rows: Iterable[Row],
        dropouts: Iterable[Dropout],
        *,
        marks: Sequence[Mark] = (),
        words: str = "",
    ) -> None:
        """Move the bar."""
        done_s = now.observed_s + now.unobserved_s
        self._bar.update(self._task, completed=done_s, found=f"{now.dropouts} drop-outs")


def strip_head(now: Instant, correction: Correction) -> Text:
    """``83.6005 MHz  −39.0 dBFS  ● there  3 drop-outs  12.4 s``."""
    state, style = {
        None: ("◌ looked for", "yellow"),
        True: ("● there", "green"),
        False: ("○ gone", "bold red"),
    }[now.there]
    hz = now.indicated_hz
    where = "–" if hz is None else format_frequency(correction.apply(hz, 0.0).value_hz, 10.0)
    level = "–" if now.level_dbfs is None else format_dbfs(now.level_dbfs)
    count = "1 drop-out" if now.dropouts == 1 else f"{now.dropouts} drop-outs"
    lost = f"  {format_seconds(now.unobserved_s)} lost" if now.unobserved_s > 0 else ""
    return Text.assemble(
        f"{where:>15}  {level:>11}  ",
        (f"{state:<13}", style),
        f"{count}  {format_moment(now.observed_s)}{lost}",
    )


def cell(row: Row) -> tuple[str, str]:
    """One second: full, broken or empty; blank where nothing was observed."""
    there = row.present_fraction
    if there is None:
        return " ", ""
    if there >= 1.0 and not row.dropouts:
        return "█", "green"
    return ("▒", "yellow") if there > 0.0 else ("░", "red")


def mark_row(rows: Iterable[Row], marks: Sequence[Mark]) -> str:
    """A sign below each second in which something was marked."""
    return "".join(
        "▲" if any(row.start_s <= mark.at_s < row.start_s + 1.0 for mark in marks) else " "
        for row in rows
    )


def _dropout(dropout: Dropout) -> str:
    lasted = format_seconds(dropout.duration_s) + ("" if dropout.ended else " and on")
    return f"{format_moment(dropout.start_s)}  gone for {lasted}  {kind_words(dropout)}"
