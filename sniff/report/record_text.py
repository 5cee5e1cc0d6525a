"""A recording as text, and its progress on a terminal."""

from collections.abc import Iterable, Iterator, Sequence
from enum import Enum
from typing import Any, Protocol

from sniff.model import IQBlock
from sniff.report.text import console
from sniff.units import format_seconds

_HAPPENED = {"absent": "vanished", "present": "appeared", "level": "rose above --level"}
_STATES = {"present": "there", "level": "above --level"}
_WAITING = {"absent": "vanish", "present": "appear", "level": "rise above --level"}
_ENDS = {
    "max-size": "Stopped at --max-size.",
    "interrupted": "Stopped by Ctrl-C.",
    "source": "Cut short.",
}


class Recorded(Protocol):
    """What a recording came to."""

    @property
    def files(self) -> tuple[str, ...]: ...
    @property
    def samples(self) -> int: ...
    @property
    def seconds(self) -> float: ...
    @property
    def bytes(self) -> int: ...
    @property
    def sha512(self) -> str | None: ...
    @property
    def gaps(self) -> int: ...
    @property
    def lost_samples(self) -> int: ...
    @property
    def heard_s(self) -> float: ...
    @property
    def old_is_kept(self) -> bool: ...
    @property
    def stopped(self) -> Enum: ...
    @property
    def events(self) -> Sequence[dict[str, Any]]: ...


def print_recording(result: Recorded) -> None:
    """Print what was kept, and what happened."""
    out = console()
    for event in result.events:
        if event["at_start"]:
            out.print(f"The line was {_STATES[event['when']]} from the beginning.")
        else:
            out.print(f"The line {_HAPPENED[event['when']]} at {format_seconds(event['at_s'])}.")
    if not result.samples:
        kept = "; the old recording is kept" if result.old_is_kept else ""
        out.print(f"Nothing was recorded in {format_seconds(result.heard_s)}{kept}.")
        return
    if result.stopped.value in _ENDS:
        out.print(_ENDS[result.stopped.value])
    out.print(
        f"{format_seconds(result.seconds)}, {result.samples} samples, "
        f"{result.bytes / 1e6:.1f} MB, of {format_seconds(result.heard_s)} heard."
    )
    if result.gaps:
        out.print(f"{result.gaps} gaps, {result.lost_samples} samples in all, were not heard.")
    for path in result.files:
        out.print(path, markup=False, highlight=False)
    out.print(f"SHA-512 {result.sha512}")


def progress(
    blocks: Iterable[IQBlock], *, seconds: float | None, waiting_for: str | None
) -> Iterator[IQBlock]:
    """The same blocks, with a line on stderr that tells how far it is; on a terminal only."""
    shown = console(stderr=True)
    if not shown.is_terminal:
        yield from blocks
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    words = "recording"
    if waiting_for is not None:
        words = f"waiting for the line to {_WAITING[waiting_for]}"
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=shown, transient=True) as bar:
        task = bar.add_task(words, total=seconds)
        for block in blocks:
            yield block
            bar.advance(task, block.samples.size / block.rate_hz)
