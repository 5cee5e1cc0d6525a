"""What is wrong with a job's folder or notebook."""

from sniff.errors import BenchError


class JobError(BenchError):
    """A job that cannot be read, written or found: what is wrong, and what to do."""

    exit_code = 4
