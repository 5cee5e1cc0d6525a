"""Text: aligned tables, colour on a terminal only; results to stdout, cautions to stderr."""

from collections.abc import Iterable, Sequence
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from sniff.model import Caution

_WIDE = 240  # columns of a pipe or file, where a wrapped table would be torn


class _Plain(Console):
    """A console for a pipe or file: never wrapped, and without blanks at the ends of lines."""

    def __init__(self, *, stderr: bool) -> None:
        super().__init__(stderr=stderr, highlight=False, width=_WIDE)

    def print(self, *objects: Any, **style: Any) -> None:
        """Print without trailing blanks."""
        with self.capture() as captured:
            super().print(*objects, **style)
        self.file.write("\n".join(line.rstrip() for line in captured.get().split("\n")))


def console(*, stderr: bool = False) -> Console:
    """Where text goes: as wide as the terminal, with its colours, or plain into a pipe."""
    made = Console(stderr=stderr, highlight=False)
    return made if made.is_terminal else _Plain(stderr=stderr)


def table(headers: Sequence[str], rows: Iterable[Sequence[str | Text]], *, left: int = 1) -> Table:
    """A table without frame; the first `left` columns are flush left, the others flush right.

    A header that begins with ``<`` makes its column flush left too.
    """
    made = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for number, header in enumerate(headers):
        flush_left = number < left or header.startswith("<")
        # Only words may be folded: a number cut in two can be read as another number.
        made.add_column(
            header.removeprefix("<"),
            justify="left" if flush_left else "right",
            no_wrap=not header.startswith("<"),
        )
    for row in rows:
        made.add_row(*(cell if isinstance(cell, Text) else escape(cell) for cell in row))
    return made


def say_cautions(cautions: Iterable[Caution]) -> None:
    """One line each, on stderr; the same caution once."""
    out = console(stderr=True)
    for text in dict.fromkeys(caution.text for caution in cautions):
        out.print(Text.assemble(("Caution: ", "bold yellow"), text))
