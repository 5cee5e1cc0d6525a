"""Errors of the measuring side; each says what is wrong and what to do, in one line."""

from calib.errors import BenchError

__all__ = ["BenchError", "InputError", "SourceError", "UsageError"]


class UsageError(BenchError):
    """The command's words are off: a value out of range, options that do not go together."""

    exit_code = 2


class InputError(BenchError):
    """A text the user wrote (plan, scene, limits) does not say what it must."""

    exit_code = 4


class SourceError(BenchError):
    """A recording, dongle or other source cannot give what was asked of it."""

    exit_code = 4
