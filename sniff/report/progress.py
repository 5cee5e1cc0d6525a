"""Progress on a terminal: how far, and the time left."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from sniff.report.text import console


@contextmanager
def shown_progress(words: str, total: int, *, quiet: bool) -> Iterator[Callable[[], None]]:
    """A bar with the time left, on a terminal only; calling what it gives takes one step."""
    shown = console(stderr=True)
    if quiet or not shown.is_terminal or not total:
        yield lambda: None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as TimeLeft

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeLeft())
    with Progress(*columns, console=shown, transient=True) as bar:
        task = bar.add_task(words, total=total)
        yield lambda: bar.advance(task)
