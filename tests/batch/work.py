"""What workers are given to do; each runs in a process of its own, so it lies in a module."""

import os
import signal
import time
from pathlib import Path
from typing import Any


def square(number: int) -> int:
    return number * number


class Meet:
    """Waits until two workers are at it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __call__(self, _: object) -> int:
        (self.folder / str(os.getpid())).touch()
        give_up_at = time.monotonic() + 60
        while len(list(self.folder.iterdir())) < 2 and time.monotonic() < give_up_at:
            pass
        return os.getpid()


def who(number: int) -> tuple[int, int]:
    return number, os.getpid()


def refuse_to_be_sent(number: int) -> Any:
    return (lambda: number) if number == 3 else number


def die(_: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def heed_no_interrupt(number: int) -> int:
    os.kill(os.getpid(), signal.SIGINT)
    return number * number


class DieOnce:
    """Kills its own worker at one item, the first time."""

    def __init__(self, folder: Path, at: int) -> None:
        self.folder, self.at = folder, at

    def __call__(self, number: int) -> int:
        if number == self.at and not (self.folder / "died").exists():
            (self.folder / "died").touch()
            die(None)
        return square(number)


class DieAlways:
    """Kills each worker that is given this item, and leaves a mark each time."""

    def __init__(self, folder: Path, at: int) -> None:
        self.folder, self.at = folder, at

    def __call__(self, number: int) -> int:
        if number == self.at:
            (self.folder / str(os.getpid())).touch()
            die(None)
        return square(number)


def refuse(item: object, error: BaseException) -> Any:
    raise AssertionError(f"{item} was given up: {error!r}")
