"""Files readings for ever, and says each that is committed: to be killed by its test."""

import sys
from datetime import datetime, timezone
from pathlib import Path

from sniff.job.entries import FileKind, KeptFile, Note, NoteKind, Reading, Stage
from sniff.job.notebook import Notebook

STARTED = datetime(2026, 11, 25, 13, tzinfo=timezone.utc)


def main(path: Path, mark: str) -> None:
    count = 0
    with Notebook(path) as notebook:
        while True:
            count += 1
            file = KeptFile(
                kind=FileKind.RECORDING, path=f"recordings/{mark}{count}", sha256=mark, bytes=count
            )
            number = notebook.add_reading(
                Reading(
                    filed_utc=STARTED,
                    command="probe",
                    stage=Stage.ARRIVAL,
                    place=mark,
                    exit_code=0,
                    command_line="sniff probe",
                    folder="/",
                    software="0",
                    sheet="",
                    told='{"result": {"verdict": "fault"}, "filler": "' + "x" * 3000 + '"}',
                    files=(file,),
                )
            )
            print("reading", number, mark, count, flush=True)
            note = notebook.add_note(
                Note(at_utc=STARTED, kind=NoteKind.NOTE, stage=None, text=f"{mark} {count}")
            )
            print("note", note, mark, count, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
