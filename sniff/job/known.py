"""Which jobs there are: one small file for each in the user's data folder."""

import hashlib
import json
from pathlib import Path

from sniff.job.error import JobError
from sniff.job.folder import SHEET
from sniff.wholefile import TemporaryBeside


class KnownJobs:
    """The jobs that were started or worked at on this machine.

    Parameters
    ----------
    folder : Path
        Where that is kept; made when the first is added.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def add(self, job: Path) -> None:
        """Remember a job; nothing changes when it is known.

        Raises
        ------
        JobError
            When that cannot be written.
        """
        path = self._path(job)
        if path.exists():
            return
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise JobError(f"{self._folder}: cannot be made: {error.strerror or error}") from None
        with TemporaryBeside(path) as whole:
            whole.file.write(json.dumps({"job": str(job.resolve())}).encode())
            whole.move_to(path)

    def folders(self) -> list[Path]:
        """All of them, in the order of their paths, those that are gone too."""
        found = (_job_in(path) for path in self._folder.glob("*.json"))
        return sorted({job for job in found if job is not None})

    def forget_missing(self) -> list[Path]:
        """Forget those whose folder holds no job any more; returns them."""
        gone = [job for job in self.folders() if not (job / SHEET).is_file()]
        for job in gone:
            self._path(job).unlink(missing_ok=True)
        return gone

    def _path(self, job: Path) -> Path:
        name = hashlib.sha256(str(job.resolve()).encode("utf-8", "surrogateescape")).hexdigest()
        return self._folder / f"{name[:24]}.json"


def _job_in(path: Path) -> Path | None:
    try:
        return Path(json.loads(path.read_text(encoding="utf-8"))["job"])
    except (OSError, ValueError, KeyError, TypeError):
        return None  # what is damaged here is found again when its job is worked at
