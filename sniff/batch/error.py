"""What stops a whole batch; what fails in one file is a row of it."""

from sniff.errors import BenchError


class BatchError(BenchError):
    """A batch that cannot begin or go on: its folder, its workers or its cluster."""

    exit_code = 4
