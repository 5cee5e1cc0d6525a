"""Where what is kept of the user's dongles lies: clocks and known levels."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

from platformdirs import user_data_path

_LENT: ContextVar[Path | None] = ContextVar("folder of what is kept of dongles", default=None)


def kept_folder() -> Path:
    """The user's own folder, or the one that was lent."""
    lent = _LENT.get()
    return user_data_path("sniff") if lent is None else lent


@contextmanager
def lent(folder: Path) -> Iterator[None]:
    """Take another folder for a while: a task on another machine knows the user's clocks by it."""
    token = _LENT.set(folder)
    try:
        yield
    finally:
        _LENT.reset(token)
