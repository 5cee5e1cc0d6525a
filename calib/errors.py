"""The root of every error that a face turns into one line."""


class BenchError(Exception):
    """Something the person at the bench can mend: what is wrong, with its value, and what to do."""

    exit_code = 4
